#include "daemon/song/feel.h"

#include <cmath>
#include <set>

namespace undersong::song {
namespace {

constexpr Ticks kThird{160}, kTwoThirds{320}, kHalf{240};
constexpr double kLeastSwing = 1.25;  // less is heard as uneven, not as swing

}  // namespace

bool swings(double swing) {
  return swing >= kLeastSwing;
}

double as_two_to_one(double beats, double swing) {
  if (!swings(swing)) return beats;
  const double beat = std::floor(beats), place = beats - beat, second = swing / (1 + swing);
  return beat + (place < second ? place * 2 / 3 / second : 2. / 3 + (place - second) / 3 / (1 - second));
}

void straighten(Part& part) {
  if (part.free || (part.own_meter && part.own_meter->value != BeatValue::kQuarter)) return;
  straighten(part.melody);
  straighten(part.bass.notes);
  for (Ending& ending : part.endings) straighten(ending.melody), straighten(ending.bass.notes);
  part.feel = Feel::kSwing;
}

void straighten(std::vector<WrittenNote>& notes) {
  std::set<Ticks> triplets;  // beats in which something begins or ends on the second third
  const auto see = [&](Ticks at) {
    if (at % kBeat == kThird) triplets.insert(at - at % kBeat);
  };
  for (const WrittenNote& note : notes) see(note.at), see(note.at + note.length);
  const auto even = [&](Ticks at) {
    const Ticks beat = at - at % kBeat;
    return at % kBeat == kTwoThirds && !triplets.contains(beat) ? beat + kHalf : at;
  };
  for (WrittenNote& note : notes) {
    const Ticks end = even(note.at + note.length);
    note.at = even(note.at);
    note.length = end - note.at;
  }
}

Ticks swung(Ticks at, Feel feel) {
  const std::int64_t inside = (at % kBeat).count();
  if (feel == Feel::kStraight || inside % 120 != 0) return at;  // thirds, and what is finer, stay
  const std::int64_t moved = inside <= 240 ? inside * 4 / 3 : 320 + (inside - 240) * 2 / 3;
  return at - at % kBeat + Ticks(moved);
}

}  // namespace undersong::song
