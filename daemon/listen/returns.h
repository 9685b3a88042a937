// Returns: the chords that the player came back to in this take, with how often and when.
//
//   returns.settled(chord, at);        // each time a chord has settled
//   for (const Return& each : returns.most()) ...
//
// A chord counts as itself only: C, Cmaj7 and C/E are three chords. It counts again after another chord. Up
// to kKnown chords are remembered; a further one takes the place of the one that was played least often, and
// among these the longest ago.
//
// Units: Micros of the event stream.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"

namespace undersong::listen {

struct Return {
  harmony::Chord chord;
  harmony::NoteName root_name;  // in the key in force
  std::uint16_t times = 0;      // how often it was played, 2 or more
  Micros last{};                // when it settled last
};

class Returns {
 public:
  static constexpr std::size_t kShown = 6, kKnown = 64;

  void settled(const harmony::Chord& chord, Micros at);
  void clear();
  // Those played most often first, and among these the newest first. The names are left as they are.
  FixedVector<Return, kShown> most() const;
  // Grows with each change of most().
  std::uint32_t number() const { return number_; }

 private:
  FixedVector<Return, kKnown> known_;
  std::optional<harmony::Chord> last_;
  std::uint32_t number_ = 0;
};

}  // namespace undersong::listen
