// Headline: decides which chord name is shown, from the keys under the hands and from what the ear makes of
// the music.
//
//   ear.note_on(t, p, v);
//   headline.struck(t, p, ear);
//   if (headline.hear(t, ear, key)) show(*headline.chord());
//
// Two ways of playing are distinguished. While whole chords are struck, one after another, the name is that
// of the keys: its bass is the lowest key, it promises no third, altered fifth, seventh or tension that does
// not sound, and the music only chooses among the names that fit. In a texture of broken chords and moving
// lines the keys of one moment are not the harmony, so the name is the ear's. Playing counts as whole chords
// once nothing else was struck for kWholeFor, or for kAfterSlip if there was only a single other gesture. A
// chord held still for kStill is also trusted where it contradicts the ear's name, and after kStillLong in
// any case.
//
// A chord is whole if its keys come together or in two parts (the bass or one hand first), or if the bass
// steps beneath held keys. The tune changes nothing in this decision: single notes, a note that moves on top
// of a held chord, a key that doubles a tone of one.
//
// A bass struck alone belongs to the chord after it, as in a march or a waltz, even if it is let go before
// the rest is struck.
//
// Where a tune moves over such a bass and its chords, the chord is named without the tune, and keeps its name
// over the alternate bass.
//
// A whole chord is named with its last key, or slightly later if the ear disagrees, because more keys may
// come. A single further key, released keys and a name that the ear takes over wait longer, so that a brushed
// key, or fingers that leave one by one, rename nothing. A chord that is let go while its name waits is named
// then, by all of its keys.
//
// Units: Micros of one stream, the same as the ear's; time is an argument.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: common practice, no source; the times were chosen by us on playing that the ear did not learn from.
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

  // Reports a key press. REQUIRES: the ear has heard it.
  void struck(Micros t, Pitch p, const Ear& ear);
  // Reports that a key or pedal was released, or a pedal pressed.
  void let_go() { changed_ = true; }
  // Decides what is due at `t`. True if the chord that is shown changed. REQUIRES: the ear has heard
  // everything up to `t`.
  bool hear(Micros t, const Ear& ear, const std::optional<Key>& key);
  std::optional<Micros> next_deadline() const;

  // The chord that is shown; nullopt before the first note.
  const std::optional<ShownChord>& chord() const { return shown_; }
  // Other names for the same notes, best first; the chord that is shown is the first of them. They come from
  // the keys or from the ear, whichever named the chord, and change only together with it.
  const ChordReadings& readings() const { return readings_; }

 private:
  struct Held {  // the keys that are held, lowest first
    std::array<Pitch, 128> keys;
    std::array<Micros, 128> on;
    std::size_t count = 0;
    PitchClassSet set;
    Micros newest{};
    Micros stroke{};          // when the newest stroke started
    PitchClassSet struck;     // tones struck by it
    PitchClassSet over_bass;  // if the lowest of these keys is a bass that was let go: the tones over it
    bool under_tune = false;  // the highest is a tune that moves over a bass and its chords
    PitchClassSet tones(bool without_highest) const;
  };
  Held held(const Ear& ear) const;
  struct Bass {  // a bass that was struck before the rest of its chord
    Pitch key;
    Micros on{};
    std::optional<PitchClass> before;  // the bass before it
    std::optional<Micros> off;
    PitchClassSet under;  // the tones of the chords over it
  };
  // True if the bass was let go and still belongs to a chord of the newest gesture with these keys.
  bool is_bass_of(Pitch lowest, PitchClassSet upper, const Ear& ear) const;
  // The lowest key, if it was struck by the newest gesture and nothing is held over it but its octaves and a
  // tune.
  std::optional<Pitch> bass_alone(const Ear& ear) const;
  // True if any chord of the newest gesture belongs to the bass.
  bool is_near(const Ear& ear) const;
  // True if the newest gesture is a bass of the chord that is shown, its own or the alternate one.
  bool repeats_bass() const;
  // True if a tune is played between the bass and its chords, or between chords over that bass.
  bool is_between_beats() const;
  // True if a tune was heard shortly before the newest gesture, and not as a part of it.
  bool tune_is_heard() const;
  // True if the highest of the keys is a tune that moves over the bass and its chords.
  bool has_moving_tune(const Held& held) const;
  // True if the keys, without a tune, are those of the chord that is shown over a bass struck before: the
  // alternate bass, or another if the ear thinks so too.
  bool goes_on(const Held& held, const Ear& ear) const;
  // Just after a new chord was struck, keys of the one before may still be down: leaves them out. True if
  // there were any.
  bool leave_out_old(Held& held) const;
  bool believes(Micros t, const Held& held);
  // True if the name that is shown still fits the keys under the hands.
  bool lies_under(const Held& held) const;
  void name_keys(Micros t, const Ear& ear, const std::optional<Key>& key, const Held& held);
  void show(Micros t, const ShownChord& next, const ChordReadings& readings, Micros wait);
  void take_over(const ShownChord& next, const ChordReadings& readings);

  std::optional<ShownChord> shown_, pending_;
  ChordReadings readings_, pending_readings_;
  // The name of the newest gesture's keys while it waits to be shown.
  std::optional<ShownChord> whole_;
  ChordReadings whole_readings_;
  Micros whole_until_{};
  bool named_ = false;           // the keys of the newest gesture have a name
  Micros due_{};                 // when pending_ is shown
  std::optional<Micros> look_;   // when to decide again
  bool changed_ = false;         // something changed since the last decision
  std::optional<Chord> learnt_;  // the ear's name at the last decision
  // The newest gesture: key presses at most kOneGesture apart.
  enum class Gesture : std::uint8_t { kWhole, kTune, kOther };  // kTune: also while the kind is not yet known
  Gesture gesture_ = Gesture::kOther;
  PitchClassSet gesture_tones_;
  int gesture_keys_ = 0;
  Pitch gesture_top_{0};
  Micros gesture_at_{};
  struct {
    Gesture kind = Gesture::kOther;
    Micros at{};
    int keys = 0, tones = 0;
  } before_;                       // the gesture before the newest
  std::optional<Pitch> bass_now_;  // the newest gesture is such a bass
  std::optional<Bass> bass_;
  std::optional<Pitch> tune_;  // the last note that was struck alone, or alone over a bass
  Micros tune_at_{};
  // other_at_: when something other than a whole chord was last played.
  Micros last_on_{-3'600'000'000}, other_at_{-3'600'000'000};
  Micros doubted_until_{-3'600'000'000};
};

}  // namespace undersong::harmony
