// Finds beats and bars in invented takes that are played with great freedom of tempo.
#include <cmath>

#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "tests/figures/invented_take.h"

namespace undersong::figures {
namespace {

// The F-measure with a window of 70 ms, without the first five seconds. Source: Davies, Degara & Plumbley
// (2009).
void count(const boost::json::array& known, const std::vector<double>& found, Counted& into) {
  constexpr double kWindow = .07, kFirst = 5;
  std::vector<double> left;
  std::copy_if(found.begin(), found.end(), std::back_inserter(left), [](double t) { return t >= kFirst; });
  into.found += static_cast<double>(left.size());
  for (const auto& value : known) {
    const double t = value.to_number<double>();
    if (t < kFirst) continue;
    into.known += 1;
    const auto hit =
        std::find_if(left.begin(), left.end(), [&](double each) { return std::abs(each - t) <= kWindow; });
    if (hit == left.end()) continue;
    into.right += 1;
    left.erase(hit);
  }
}

TEST(BeatFigures, BeatsAndBarsOfFreePlaying) {
  const auto takes = invented_takes("rubato");
  ASSERT_EQ(takes.size(), 12U);
  Counted beats, downbeats;
  for (const InventedTake& take : takes) {
    const takes::HeardTake heard = takes::hear(take.events);
    std::vector<Micros> changes;
    for (const auto& span : heard.spans) changes.push_back(span.begin);
    std::vector<double> found, found_bars;
    for (const takes::Beat& beat : takes::find_beats(heard.notes, changes).beats) {
      found.push_back(seconds(beat.at));
      if (beat.downbeat) found_bars.push_back(seconds(beat.at));
    }
    count(take.truth.at("beats").as_array(), found, beats);
    count(take.truth.at("downbeats").as_array(), found_bars, downbeats);
  }
  ASSERT_GT(beats.known, 500);
  // Measured: .9557 and .8489.
  expect_figure("beats, F", beats.f(), .945);
  expect_figure("bars, F", downbeats.f(), .84);
}

}  // namespace
}  // namespace undersong::figures
