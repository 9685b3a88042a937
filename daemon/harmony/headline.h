// The headline: the chord that is shown, decided from the keys under the hands and from what the ear makes of
// the music.
//
//   if (ear.note_on(t, p, v), headline.struck(t, p, ear), headline.hear(t, ear, key)) show(headline.chord());
//
// Two ways of playing are told apart. While whole chords are struck, one after another, the name is that of
// the keys: its bass is the lowest key, it promises no third, altered fifth, seventh or tension that doesn't
// sound, and the music only chooses among the names that fit. In a texture of broken chords and moving lines
// the keys of one moment are not the harmony; there the name is the ear's. Playing counts as whole chords
// once nothing else was struck for kWholeFor, or for kAfterSlip where it was a single gesture. A chord that
// is held still for kStill is believed too where it contradicts the ear's name, and after kStillLong in any
// case.
//
// Whole is a chord whose keys come together or in two parts, the bass or one hand first, and one to which the
// bass steps beneath held keys. Neither whole nor otherwise, so that it changes nothing, is the tune: notes
// alone, a note that moves on top of a held chord, a key that doubles a tone of one.
//
// A whole chord is named with its last key, or a moment later where the ear thinks otherwise, for more keys
// may come. One key more, keys that were let go and a name that is lost to the ear wait longer, so that a
// brushed key or fingers that leave one by one rename nothing.
//
// Times: Micros of one stream, those of the ear; time is data. Threads: one owner. No allocation. Total.
// Source: common practice, no source; the times were chosen by us, on playing that the ear did not learn
// from.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/ear.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::harmony {

struct ShownChord {
  Chord chord;
  float confidence = 0;  // 0..1
  Micros since{};        // the start of the notes that made it
  friend bool operator==(const ShownChord&, const ShownChord&) = default;
};

class Headline {
 public:
  static constexpr Micros kWholeFor{6'000'000};
  static constexpr Micros kAfterSlip{2'000'000};
  static constexpr Micros kStill{1000000}, kStillLong{1'500'000};

  // A key was struck, and the ear has heard it.
  void struck(Micros t, Pitch p, const Ear& ear);
  // A key or a pedal was let go or a pedal was pressed.
  void let_go() { changed_ = true; }
  // Decides what is due at `t`. True when the chord that is shown has changed. REQUIRES: the ear has heard
  // all up to `t`.
  bool hear(Micros t, const Ear& ear, const std::optional<Key>& key);
  std::optional<Micros> next_deadline() const;

  // Nothing before the first note.
  const std::optional<ShownChord>& chord() const { return shown_; }
  // What the same notes could be called as well, best first, the chord that is shown among them and first: of
  // the keys or of the ear, whichever named it. They change with it and never before.
  const ChordReadings& readings() const { return readings_; }

 private:
  struct Held {  // the keys that are down, lowest first
    std::array<Pitch, 128> keys;
    std::array<Micros, 128> on;
    std::size_t count = 0;
    PitchClassSet set;
    Micros newest{};
    Micros stroke{};       // when the newest stroke began
    PitchClassSet struck;  // by it
  };
  Held held(const Ear& ear) const;
  // While a new chord has just been struck, keys of the one before may still be down. True when such were
  // left out.
  static bool leave_out_old(Held& held);
  bool believes(Micros t, const Held& held);
  // Does the name still lie under the hands?
  bool lies_under(const Held& held) const;
  void name_keys(Micros t, const Ear& ear, const std::optional<Key>& key, const Held& held);
  void show(Micros t, const ShownChord& next, const ChordReadings& readings, Micros wait);
  void take_over(const ShownChord& next, const ChordReadings& readings);

  std::optional<ShownChord> shown_, pending_;
  ChordReadings readings_, pending_readings_;
  Micros due_{};                 // of pending_
  std::optional<Micros> look_;   // decide again then
  bool changed_ = false;         // since the last decision
  std::optional<Chord> learnt_;  // the ear's name at the last decision
  // The newest gesture: key presses at most kTogether apart.
  enum class Gesture : std::uint8_t { kWhole, kTune, kOther };  // kTune: also while it isn't clear yet
  Gesture gesture_ = Gesture::kOther;
  PitchClassSet gesture_tones_;
  int gesture_keys_ = 0;
  Micros gesture_at_{};
  Micros last_on_{-3'600'000'000},
      other_at_{-3'600'000'000};  // other_at_: when something else than a whole chord was last played
  Micros doubted_until_{-3'600'000'000};
};

}  // namespace undersong::harmony
