// Audition: plays a chord as a person would, note by note if rolled, and lets go of every note it struck.
//
// Pure: time is data. The owner sends what comes out, and calls advance() again when next_deadline() has
// come. Playing another chord or stopping releases what sounds first, so no note is left hanging. Fixed
// memory, no heap. One owner.
#pragma once

#include <array>
#include <functional>
#include <optional>
#include <span>

#include "daemon/midi/event.h"

namespace undersong::midi {

// How loud we play before we know how loud the player does.
inline constexpr Velocity kQuietly{56};

struct Strike {
  Velocity velocity = kQuietly;
  Micros duration{1'500'000};  // from the last note of the chord to its release
  Micros roll{0};              // between one note and the next higher one
  std::uint8_t channel = 0;    // 0..15
};

class Audition {
 public:
  using Send = std::function<void(const Event&)>;  // called in order of time
  static constexpr std::size_t kMostNotes = 16;

  // Plays `chord` (any order; at most kMostNotes, doubles once) from `now` on. Sends what is due at once.
  void play(std::span<const Pitch> chord, const Strike& strike, Micros now, const Send& send);
  // Sends what is due by `now`; events carry the time at which they were due.
  void advance(Micros now, const Send& send);
  // Releases everything that sounds, now.
  void stop(Micros now, const Send& send);
  std::optional<Micros> next_deadline() const;  // nothing while silent
  bool playing() const { return count_ > 0; }

 private:
  struct Note {
    Pitch pitch;
    Micros on{};
    bool sounding = false;
  };
  std::array<Note, kMostNotes> notes_;  // lowest first
  std::size_t count_ = 0;
  Strike strike_;
  Micros release_{};
};

}  // namespace undersong::midi
