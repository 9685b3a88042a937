// Meetings: every time a sounding melody note stands over a chord in force, from when, for how long, and
// whether this note had met this harmony before in the take.
//
//   for (const Meeting& met : meetings.hear(analysis)) keep(met);   // after every call of the analysis
//
// A meeting begins when a chord comes in force under a melody note, or when a melody note joins over a chord
// in force; it ends when either ends. A note sounds while its key is down, and by the pedal until the next
// melody note: then it is sound, no longer line. A player who holds one note and tries twelve roots has
// twelve meetings.
//
// Names that stand for less than harmony::kPassing are names on the way to the next (a chord whose fingers do
// not land together, a bass that is awaited): they give their beginning to the next name, and a note that is
// over so soon is an ornament. So nothing shorter is a meeting.
//
// What has ended is told kDecided later, for the ear may still say that a chord began earlier than it seemed.
//
// Threads: none; one owner. Heap: none. Time is that of the moments, so a file and a live performance give
// the same. Source: common practice, no source.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>

#include "daemon/harmony/fixed_vector.h"
#include "daemon/listen/analysis.h"

namespace undersong::listen {

struct Meeting {
  Micros at{}, length{};
  Pitch pitch;
  harmony::NoteName name;
  harmony::Degree degree;  // of the note in the chord
  Reading chord;
  std::optional<harmony::Key> key;  // when the chord came in force
  // How often this note has met this harmony in the take: 1 the first time, more when it was returned to. A
  // harmony is a root and a family, in any octave of the note; it is returned to when another was in force in
  // between.
  std::uint32_t time = 1;
};

class Meetings {
 public:
  static constexpr Micros kDecided{2'000'000};

  // What has ended by now. Valid until the next call.
  std::span<const Meeting> hear(const Analysis& analysis);
  // The same for all that has not been told, whatever sounds being cut at `at`.
  std::span<const Meeting> end_take(Micros at);
  // What was met before is forgotten; what sounds on meets again from `at`.
  void begin_take(Micros at);

 private:
  static constexpr std::size_t kMost = 32;
  static constexpr Micros kRemembered{4'000'000};  // chords are, for notes that are found to be melody late

  struct Stroke {
    Micros onset{}, up{}, silent{};
    bool down = false, sounding = false;
  };
  struct Note {
    Pitch pitch;
    Micros onset{};
    std::optional<Micros> end;
    Micros told{};  // its meetings until then
  };
  struct Stay {  // a chord in force
    Micros at{};
    Reading chord;
    std::optional<harmony::Key> key;
    std::uint32_t harmony = 0;  // counts changes of root or family
  };
  struct Visits {
    std::uint32_t harmony = 0, count = 0;
  };
  void follow_keys(const NoteState& notes, Micros at);
  // `from`: it is melody from then; later than its onset when it only came to stand for one.
  void join(Pitch pitch, Micros onset, Micros from);
  void end_notes();
  void come_in_force(const HarmonyInForce& harmony, const std::optional<harmony::KeyReading>& key);
  void tell(Micros until, std::optional<Micros> cut);
  Meeting met(const Note& note, const Stay& stay, Micros from, Micros to);

  std::array<Stroke, 128> strokes_{}, strokes_before_{};
  FixedVector<Note, kMost> notes_;
  FixedVector<Stay, kMost> stays_;  // the last is in force
  Micros newest_join_ = Micros::min();
  Micros due_ = Micros::min();  // before, `tell` has nothing to tell
  PitchSet sounding_;
  std::uint32_t harmonies_ = 0;
  std::array<std::array<Visits, 12 * 8>, 12> visits_{};  // by pitch class of the note, then root and family
  FixedVector<Meeting, 256> told_;
};

}  // namespace undersong::listen
