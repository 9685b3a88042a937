// Audition: plays one chord, all notes together or rolled, and releases every note it struck.
//
//   audition.play(chord, Strike{}, now, send);
//   if (auto due = audition.next_deadline(); due && *due <= now) audition.advance(now, send);
//
// Time is an argument. The owner sends the messages that come out and calls advance() when next_deadline() is
// reached. Playing another chord, or stopping, first releases what sounds, so no note is left hanging.
//
// Units: Micros of the caller's clock.
// Threads: one owner; `send` runs on the calling thread.
// Errors: none; all functions are total. Fixed memory, no allocation. Notes beyond kMostNotes are left out.
// Source: common practice, no source.
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
  Micros duration{1'500'000};  // from the last note of the chord to the release of all
  Micros roll{0};              // delay from each note to the next higher one
  std::uint8_t channel = 0;    // 0..15
};

class Audition {
 public:
  using Send = std::function<void(const Event&)>;  // called on the caller's thread, in time order
  static constexpr std::size_t kMostNotes = 16;

  // Plays `chord` from `now` on and sends what is due at once. The notes may come in any order; duplicates
  // count once; the lowest kMostNotes are played.
  void play(std::span<const Pitch> chord, const Strike& strike, Micros now, const Send& send);
  // Sends what is due by `now`. Each event carries the time at which it was due.
  void advance(Micros now, const Send& send);
  // Releases everything that sounds, at `now`.
  void stop(Micros now, const Send& send);
  std::optional<Micros> next_deadline() const;  // nullopt while silent
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
