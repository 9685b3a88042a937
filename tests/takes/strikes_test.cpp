#include "daemon/takes/strikes.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <cmath>

namespace undersong::takes {
namespace {

// A waltz: a bass note on one, chords on two and three, and a tune in half beats between them.
std::vector<PlayedNote> waltz(double beat, int louder = 0, int higher = 0) {
  std::vector<PlayedNote> notes;
  for (int i = 0; i < 96; ++i) {
    const double t = 1 + i * beat;
    const int root = i / 3 * 5 % 12 + higher;
    const auto velocity = [&](int v) { return Velocity(static_cast<std::uint8_t>(v + louder)); };
    if (i % 3 == 0)
      notes.push_back({at(t), at(beat * .9), Pitch(38 + root), velocity(70)});
    else
      for (const int third : {0, 4, 7})
        notes.push_back({at(t), at(beat * .5), Pitch(55 + root + third), velocity(55)});
    notes.push_back({at(t + .004), at(beat * .45), Pitch(74 + root % 5 + i % 3), velocity(68)});
    notes.push_back({at(t + beat / 2), at(beat * .45), Pitch(76 + root % 5 - i % 2), velocity(60)});
  }
  return notes;
}

struct Means {
  double on = 0, off = 0, one = 0, other = 0;
};
Means means(const std::vector<PlayedNote>& notes, double beat) {
  Means m;
  int on = 0, off = 0, one = 0, other = 0;
  for (const Strike& s : strikes(notes, {})) {
    const double place = (std::chrono::duration<double>(s.at).count() - 1) / beat;
    const bool is = std::abs(place - std::round(place)) < .1;
    (is ? m.on : m.off) += static_cast<double>(s.beat), ++(is ? on : off);
    if (!is) continue;
    const bool first = std::lround(place) % 3 == 0;
    (first ? m.one : m.other) += static_cast<double>(s.downbeat), ++(first ? one : other);
  }
  return {m.on / on, m.off / off, m.one / one, m.other / other};
}

TEST(Strikes, NotesStruckTogetherAreOne) {
  const auto notes = waltz(.5);
  EXPECT_EQ(strikes(notes, {}).size(), 2u * 96);
  EXPECT_TRUE(strikes({}, {}).empty());
}

TEST(Strikes, ThoseOnBeatsAreToldFromThoseBetweenAndFirstOnesFromOthers) {
  for (const double beat : {.38, .5, .7}) {
    const Means m = means(waltz(beat), beat);
    EXPECT_GT(m.on, m.off + .3) << beat;
    EXPECT_GT(m.one, m.other + .3) << beat;
  }
}

TEST(Strikes, LoudnessDoesNotMatterAndAnyRegisterIsJudged) {
  const Means usual = means(waltz(.5), .5), louder = means(waltz(.5, 30), .5),
              higher = means(waltz(.5, 0, 3), .5);
  EXPECT_NEAR(louder.on, usual.on, .02);
  EXPECT_NEAR(louder.one, usual.one, .02);
  EXPECT_GT(higher.on, higher.off + .4);
  EXPECT_GT(higher.one, higher.other + .3);
}

TEST(Strikes, AreJudgedWhateverTheNotesAre) {
  std::vector<PlayedNote> notes;
  for (int i = 0; i < 40; ++i)
    notes.push_back({at(i < 20 ? 0 : 500'000), Micros(0), Pitch(i % 2 == 0 ? 0 : 127), Velocity(1)});
  for (const Strike& s : strikes(notes, {at(0)})) {
    EXPECT_TRUE(s.beat >= 0 && s.beat <= 1);
    EXPECT_TRUE(s.downbeat >= 0 && s.downbeat <= 1);
  }
}

}  // namespace
}  // namespace undersong::takes
