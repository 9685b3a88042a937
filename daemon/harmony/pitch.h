// Strong types for pitch, loudness and time, so that a bare int never stands for one of them.
//
//   const Pitch middle_c(60);
//   middle_c.pitch_class();   // PitchClass(0)
//
// All are trivially copyable, passed by value, and constexpr.
//
// Units: see each type.
// Threads: plain values; any thread.
// Errors: none; all functions are total: a value out of range is folded or limited.
// Source: MIDI 1.0 Detailed Specification (MMA, 1996) for key numbers and velocities.
#pragma once

#include <chrono>
#include <compare>
#include <cstdint>

namespace undersong {

// Time in microseconds from the start of the stream that it belongs to (a run of the daemon, a file).
// Monotonic.
using Micros = std::chrono::microseconds;

constexpr double seconds(Micros time) {
  return std::chrono::duration<double>(time).count();
}

// One of the twelve pitch classes, 0 = C. Any integer is folded into the octave, so construction is total.
class PitchClass {
 public:
  constexpr PitchClass() = default;
  constexpr explicit PitchClass(int semitones)
      : value_(static_cast<std::uint8_t>(((semitones % 12) + 12) % 12)) {}
  constexpr int value() const { return value_; }
  friend constexpr auto operator<=>(PitchClass, PitchClass) = default;

 private:
  std::uint8_t value_ = 0;
};

// Semitones upwards from `from` to `to`, 0..11.
constexpr int ascending(PitchClass from, PitchClass to) {
  return (to.value() - from.value() + 12) % 12;
}
constexpr PitchClass transpose(PitchClass pc, int semitones) {
  return PitchClass(pc.value() + semitones);
}

// A MIDI key number, 0..127; 60 is middle C (C4). Other values become the nearer end.
class Pitch {
 public:
  constexpr Pitch() = default;
  constexpr explicit Pitch(int key)
      : value_(static_cast<std::uint8_t>(key < 0     ? 0
                                         : key > 127 ? 127
                                                     : key)) {}
  constexpr int value() const { return value_; }
  constexpr PitchClass pitch_class() const { return PitchClass(value_); }
  friend constexpr auto operator<=>(Pitch, Pitch) = default;

 private:
  std::uint8_t value_ = 60;
};

// A MIDI velocity, 0..127. A note-on with velocity 0 is a note-off and never reaches the harmony.
class Velocity {
 public:
  constexpr Velocity() = default;
  constexpr explicit Velocity(int v) : value_(static_cast<std::uint8_t>(v < 0 ? 0 : v > 127 ? 127 : v)) {}
  constexpr int value() const { return value_; }
  friend constexpr auto operator<=>(Velocity, Velocity) = default;

 private:
  std::uint8_t value_ = 64;
};

}  // namespace undersong
