#include "daemon/harmony/beat_lattice.h"

#include <gtest/gtest.h>

#include <array>

namespace undersong::harmony {
namespace {

// Half a minute of beats of half a second, a chord of three on each, of which one is a judged strike.
template <class Add>
BeatLattice played(Add add) {
  BeatLattice lattice;
  BeatLengths lengths{};
  for (int frame = 0; frame < 3000; ++frame) {
    lattice.step();
    if (frame % 50 != 0) continue;
    std::array<BeatOnset, 4> chord{};
    for (BeatOnset& onset : chord) onset.at = kBeatFrame * frame;
    chord[0].bass = 1, chord[1].weight = .4f, chord[2].bass = .3f;
    chord[3].beat = .9f, chord[3].lengths = &lengths, chord[3].lasts = .5f;
    add(lattice, chord);
  }
  return lattice;
}

TEST(BeatLattice, NotesAtOnceCountAsOneByOne) {
  BeatLattice together = played([](BeatLattice& lattice, const auto& chord) { lattice.note(chord); });
  BeatLattice singly = played([](BeatLattice& lattice, const auto& chord) {
    for (const BeatOnset& onset : chord) lattice.note(onset);
  });
  const auto a = together.best(), b = singly.best();
  ASSERT_TRUE(a && b);
  EXPECT_EQ(a->interval, 50);
  EXPECT_EQ(a->beat, b->beat);
  EXPECT_EQ(a->interval, b->interval);
  EXPECT_NEAR(a->score, b->score, .01);
}

}  // namespace
}  // namespace undersong::harmony
