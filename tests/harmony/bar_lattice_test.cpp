#include "daemon/harmony/bar_lattice.h"

#include <gtest/gtest.h>

#include <cmath>

namespace undersong::harmony {
namespace {

Judgement judged(bool one) {
  Judgement out;
  out.beat = .95f;
  out.downbeat = one ? .8f : .08f;
  out.metres.fill(std::log(1.f / kMetres.size()));
  return out;
}

TEST(BarLattice, BarsOfEveryMetreAreFound) {
  for (const int metre : kMetres) {
    BarLattice bars;
    for (int i = 0; i < 12 * metre; ++i) {
      const Judgement strike = judged(i % metre == 0);
      bars.beat(bar_evidence(&strike), i == 0);
    }
    const auto [found, place] = BarLattice::state(bars.best());
    EXPECT_EQ(kMetres[found], metre);
    EXPECT_EQ(place, metre - 1) << metre;
    EXPECT_GT(bars.score(), 0) << metre;
  }
}

TEST(BarLattice, ABeatThatNothingStrikesIsRatherNoDownbeat) {
  const BarEvidence none = bar_evidence(nullptr);
  EXPECT_LT(none.down, none.other);
}

TEST(BarLattice, TheMetreMayChange) {
  BarLattice bars;
  for (const int metre : {4, 3})
    for (int i = 0; i < 10 * metre; ++i) {
      const Judgement strike = judged(i % metre == 0);
      bars.beat(bar_evidence(&strike), false);
    }
  EXPECT_EQ(kMetres[BarLattice::state(bars.best()).metre], 3);
}

}  // namespace
}  // namespace undersong::harmony
