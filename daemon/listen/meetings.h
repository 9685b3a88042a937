// Meetings: every stretch of time in which a sounding melody note meets a chord in force: when it began, how
// long it lasted, and how often this note has met this harmony in the take.
//
//   for (const Meeting& met : meetings.hear(analysis)) keep(met);   // after every call of the analysis
//
// A meeting begins when a chord comes into force under a melody note, or when a melody note starts over a
// chord in force. It ends when either ends. A note sounds while its key is down; after that the pedal holds
// it until the next melody note, when it stops being part of the line. A player who holds one note and tries
// twelve roots has twelve meetings.
//
// A chord name that stands for less than harmony::kPassing is on the way to the next one (fingers that do not
// land together, a bass that comes late); its time is added to the next name. A note that is over so soon is
// an ornament. So no meeting is shorter than kPassing.
//
// A meeting that has ended is reported kDecided later, because the ear may still say that a chord began
// earlier than it seemed.
//
// Units: Micros of the moments' stream, so a file and a live performance give the same result. Threads: one
// owner. Errors: none; all functions are total. Source: common practice, no source. Memory: no allocation.
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
  harmony::Degree degree;  // degree of the note in the chord
  Reading chord;
  std::optional<harmony::Key> key;  // the key when the chord came into force
  // How often this note has met this harmony in the take, 1 for the first time. A harmony is a root and a
  // chord family, for the note in any octave. It counts again when another harmony was in force in between.
  std::uint32_t time = 1;
};

class Meetings {
 public:
  static constexpr Micros kDecided{2'000'000};

  // The meetings that can be reported now. Valid until the next call of any function.
  std::span<const Meeting> hear(const Analysis& analysis);
  // The same for all meetings not yet reported; those that still go on are cut at `at`.
  std::span<const Meeting> end_take(Micros at);
  // Forgets the meetings of the take before. Notes and chords that go on start new meetings at `at`.
  void begin_take(Micros at);

 private:
  static constexpr std::size_t kMost = 32;
  // How long chords are kept, for notes that are recognised as melody late.
  static constexpr Micros kRemembered{4'000'000};

  struct Stroke {
    Micros onset{}, up{}, silent{};
    bool down = false, sounding = false;
  };
  struct Note {
    Pitch pitch;
    Micros onset{};
    std::optional<Micros> end;
    Micros told{};  // its meetings up to here have been reported
  };
  struct Stay {  // a chord while it is in force
    Micros at{};
    Reading chord;
    std::optional<harmony::Key> key;
    std::uint32_t harmony = 0;  // number of the harmony; grows when root or family changes
  };
  struct Visits {
    std::uint32_t harmony = 0, count = 0;
  };
  void follow_keys(const NoteState& notes, Micros at);
  // Adds a melody note. `from`: when it became melody; later than `onset` if it only took the place of a
  // melody note.
  void join(Pitch pitch, Micros onset, Micros from);
  void end_notes();
  void come_in_force(const HarmonyInForce& harmony, const std::optional<harmony::KeyReading>& key);
  void tell(Micros until, std::optional<Micros> cut);
  Meeting met(const Note& note, const Stay& stay, Micros from, Micros to);

  std::array<Stroke, 128> strokes_{}, strokes_before_{};
  FixedVector<Note, kMost> notes_;
  FixedVector<Stay, kMost> stays_;  // the last one is in force
  Micros newest_join_ = Micros::min();
  Micros due_ = Micros::min();  // `tell` has nothing to report before this time
  PitchSet sounding_;
  std::uint32_t harmonies_ = 0;
  // Indexed by pitch class of the note, then by root and family.
  std::array<std::array<Visits, 12 * 8>, 12> visits_{};
  FixedVector<Meeting, 256> told_;
};

}  // namespace undersong::listen
