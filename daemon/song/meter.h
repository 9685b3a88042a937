// A metre: how many beats a bar has, and which note value a beat is on paper.
//
// In a compound metre (6/8, 9/8, 12/8) a beat is a dotted quarter note. In fives and sevens of short beats
// (5/8, 7/8) it is an eighth note, and the beats stand under beams in groups of two and three. Ticks count
// beats (ticks.h); what stands on paper and in MIDI files counts quarter notes, and `written` leads from one
// to the other.
//
// Units: Ticks; `written` gives 480 a quarter note.
// Threads: plain values and pure functions; use them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/feel.h"
#include "daemon/song/ticks.h"

namespace undersong::song {

enum class BeatValue : std::uint8_t { kQuarter, kDottedQuarter, kEighth };

// Which value beats have that are divided like this (harmony/feel.h), so many a bar.
BeatValue beat_value(int beats, int division, double seconds_a_beat);

// Quarter notes a beat, as a fraction.
constexpr std::int64_t quarters_over(BeatValue value) {
  return value == BeatValue::kDottedQuarter ? 3 : 1;
}
constexpr std::int64_t quarters_under(BeatValue value) {
  return value == BeatValue::kQuarter ? 1 : 2;
}
constexpr std::int64_t written(Ticks ticks, BeatValue value) {
  return ticks.count() * quarters_over(value) / quarters_under(value);
}
// Where chords change and notes are cut: on halves of a quarter note, thirds of a dotted one, whole eighths.
constexpr Ticks grid(BeatValue value) {
  return value == BeatValue::kQuarter ? Ticks(240) : value == BeatValue::kDottedQuarter ? Ticks(160) : kBeat;
}
// A number of beats, rounded to the grid.
Ticks on_grid(double beats, BeatValue value);
// "quarter", "dotted quarter", "eighth".
std::string_view text(BeatValue value);

struct Meter {
  int beats = 4;
  BeatValue value = BeatValue::kQuarter;
  // Of eighth notes: bit 2 is set if a group begins with the third beat. 0: threes come last, as in 2+2+3.
  std::uint16_t groups = 0;

  constexpr Ticks bar() const { return beats * kBeat; }
  // Length of the next bar where so much is left to write. One beat that would be left over joins the bar
  // before it: 5/4 reads better than 4/4 and 1/4.
  constexpr Ticks next_bar(Ticks left) const { return left <= bar() || left == bar() + kBeat ? left : bar(); }
  // Of a whole bar, or of one of this length.
  harmony::TimeSignature signature() const { return signature(bar()); }
  harmony::TimeSignature signature(Ticks length) const;
  // Where groups begin in a bar of this length, and its end. Of other values than eighths a beat is a group.
  std::vector<Ticks> edges(Ticks length) const;
  friend bool operator==(const Meter&, const Meter&) = default;
};

std::string text(harmony::TimeSignature signature);  // "6/8"

}  // namespace undersong::song
