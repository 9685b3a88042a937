#include "daemon/song/meter.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace undersong::song {

BeatValue beat_value(int beats, int division, double seconds_a_beat) {
  if (division == 3) return BeatValue::kDottedQuarter;
  return harmony::time_signature(beats, division, seconds_a_beat).lower == 8 ? BeatValue::kEighth
                                                                             : BeatValue::kQuarter;
}

Ticks on_grid(double beats, BeatValue value) {
  const Ticks step = grid(value);
  return std::llround(beats * static_cast<double>(kBeat / step)) * step;
}

std::string_view text(BeatValue value) {
  switch (value) {
    case BeatValue::kQuarter: break;
    case BeatValue::kDottedQuarter: return "dotted quarter";
    case BeatValue::kEighth: return "eighth";
  }
  return "quarter";
}

harmony::TimeSignature Meter::signature(Ticks length) const {
  const auto whole = static_cast<int>((length.count() + 479) / 480);
  if (value == BeatValue::kQuarter) return {whole, 4};
  return {value == BeatValue::kEighth ? whole : static_cast<int>((length.count() + 159) / 160), 8};
}

std::vector<Ticks> Meter::edges(Ticks length) const {
  std::vector<Ticks> out;
  const auto last = static_cast<int>((length.count() + 479) / 480);
  for (int beat = 0; beat < last; ++beat) {
    // Twos, and one beat left over joins the last of them.
    const bool begins = value != BeatValue::kEighth ? true
                        : beat == 0                 ? true
                        : groups != 0               ? (groups >> beat & 1) != 0
                                                    : beat % 2 == 0 && beat + 1 < last;
    if (begins) out.push_back(beat * kBeat);
  }
  out.push_back(length);
  return out;
}

std::string text(harmony::TimeSignature signature) {
  return fmt::format("{}/{}", signature.upper, signature.lower);
}

}  // namespace undersong::song
