// Written time in ticks, 480 per beat. Which note value a beat is on paper, the metre says (meter.h). Ticks
// are a type of their own, so that written time is never mixed up with played time.
//
// Units: 480 is divisible by 2, 3, 4, 5, 6 and 8, so every grid of the quantiser falls on whole ticks.
// Threads: plain values; use them from any thread.
// Errors: none; dividing by zero ticks is undefined, as for integers.
// Source: common practice, no source.
#pragma once

#include <compare>
#include <cstdint>

namespace undersong::song {

class Ticks {
 public:
  constexpr Ticks() = default;
  constexpr explicit Ticks(std::int64_t count) : count_(count) {}
  constexpr std::int64_t count() const { return count_; }
  constexpr double beats() const { return static_cast<double>(count_) / 480; }
  constexpr Ticks& operator+=(Ticks other) {
    count_ += other.count_;
    return *this;
  }
  constexpr Ticks& operator-=(Ticks other) {
    count_ -= other.count_;
    return *this;
  }
  friend constexpr Ticks operator+(Ticks a, Ticks b) { return Ticks(a.count_ + b.count_); }
  friend constexpr Ticks operator-(Ticks a, Ticks b) { return Ticks(a.count_ - b.count_); }
  friend constexpr Ticks operator*(std::int64_t n, Ticks t) { return Ticks(n * t.count_); }
  friend constexpr std::int64_t operator/(Ticks a, Ticks b) { return a.count_ / b.count_; }
  friend constexpr Ticks operator%(Ticks a, Ticks b) { return Ticks(a.count_ % b.count_); }
  friend constexpr auto operator<=>(Ticks, Ticks) = default;

 private:
  std::int64_t count_ = 0;
};

inline constexpr Ticks kBeat{480};

}  // namespace undersong::song
