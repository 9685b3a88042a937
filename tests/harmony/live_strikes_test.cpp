#include "daemon/harmony/live_strikes.h"

#include <gtest/gtest.h>

#include <vector>

namespace undersong::harmony {
namespace {

// Chords on four beats a bar, with a low note on the first, and single notes between the beats.
std::vector<StruckNotes> march(Micros beat, int beats) {
  std::vector<StruckNotes> out;
  for (int i = 0; i < beats; ++i) {
    const Micros at = Micros(1'000'000) + beat * i;
    out.push_back({at, i % 4 == 0 ? 36.f : 60.f, 72, i % 4 == 0 ? 85.f : 65.f, i % 4 == 0 ? 4.f : 3.f,
                   static_cast<std::uint16_t>(i / 4 % 2 == 0 ? 0x91 : 0x221)});
    out.push_back({at + beat / 2, 74, 74, 55, 1, 0x4});
  }
  return out;
}

TEST(LiveStrikes, TellsBeatsFromWhatLiesBetweenThem) {
  LiveStrikes judge;
  const auto strikes = march(Micros(600'000), 64);
  for (std::size_t i = 0; i < strikes.size(); ++i) {
    const Judgement judged = judge.hear(strikes[i]);
    if (i < 64) continue;
    if (i % 2 == 0) {
      EXPECT_GT(judged.beat, .5f) << i;
    } else {
      EXPECT_LT(judged.beat, .5f) << i;
    }
    if (i % 8 == 0) {
      EXPECT_GT(judged.downbeat, .5f) << i;
    } else {
      EXPECT_LT(judged.downbeat, .5f) << i;
    }
  }
}

TEST(LiveStrikes, ForgetsEverythingWhenAsked) {
  LiveStrikes once, again;
  for (const StruckNotes& strike : march(Micros(430'000), 80)) again.hear(strike);
  again.reset();
  for (const StruckNotes& strike : march(Micros(600'000), 80)) {
    const Judgement a = once.hear(strike), b = again.hear(strike);
    EXPECT_EQ(a.beat, b.beat);
    EXPECT_EQ(a.lengths, b.lengths);
    EXPECT_EQ(a.metres, b.metres);
  }
}

}  // namespace
}  // namespace undersong::harmony
