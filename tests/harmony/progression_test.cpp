#include "daemon/harmony/progression.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

class Random {
 public:
  explicit Random(unsigned seed) : state_(seed) {}
  unsigned below(unsigned n) {
    state_ = state_ * 1664525u + 1013904223u;
    return (state_ >> 8) % n;
  }

 private:
  unsigned state_;
};

std::vector<Span> random_spans(Random& random, std::size_t length) {
  std::vector<Span> spans(length);
  for (Span& span : spans) {
    const unsigned options = 1 + random.below(5);
    for (unsigned i = 0; i < options; ++i)
      span.options.push_back({{PitchClass(static_cast<int>(random.below(12))),
                               Quality(static_cast<int>(random.below(8))), PitchClass(0)},
                              static_cast<double>(random.below(1000)) / 100});
    if (random.below(4) == 0) span.pinned = random.below(options);
  }
  return spans;
}

double link(const Chord& a, const Chord& b) {
  return std::sin(a.root.value() * 3.1 + b.root.value() * 1.7 + a.quality.row() * 0.9 +
                  b.quality.row() * 2.3) *
         4;
}

double worth(const std::vector<Span>& spans, const std::vector<std::size_t>& choice) {
  double sum = 0;
  for (std::size_t i = 0; i < spans.size(); ++i)
    sum += spans[i].options[choice[i]].worth +
           link(spans[i].options[choice[i]].chord,
                spans[(i + 1) % spans.size()].options[choice[(i + 1) % spans.size()]].chord);
  return sum;
}

TEST(Progression, TheBestCyclesAreThoseOfBruteForce) {
  Random random(5);
  for (int round = 0; round < 400; ++round) {
    const auto spans = random_spans(random, 1 + random.below(5));
    std::vector<double> all;
    std::vector<std::size_t> choice(spans.size(), 0);
    for (;;) {
      const bool pinned = std::all_of(spans.begin(), spans.end(), [&](const Span& span) {
        return !span.pinned || choice[static_cast<std::size_t>(&span - spans.data())] == *span.pinned;
      });
      if (pinned) all.push_back(worth(spans, choice));
      std::size_t i = 0;
      while (i < spans.size() && ++choice[i] == spans[i].options.size()) choice[i++] = 0;
      if (i == spans.size()) break;
    }
    std::sort(all.rbegin(), all.rend());
    const std::size_t wanted = 1 + random.below(12);
    const auto found = best_cycles(spans, link, wanted);
    ASSERT_EQ(found.size(), std::min(wanted, all.size()));
    for (std::size_t i = 0; i < found.size(); ++i) {
      EXPECT_NEAR(found[i].worth, all[i], 1e-9);
      EXPECT_NEAR(found[i].worth, worth(spans, found[i].choice), 1e-9);
      for (std::size_t s = 0; s < spans.size(); ++s) {
        if (spans[s].pinned) {
          EXPECT_EQ(found[i].choice[s], *spans[s].pinned);
        }
      }
    }
  }
}

TEST(Progression, CyclesKeptDifferFromEachOther) {
  Random random(9);
  std::vector<Span> spans(4);
  for (Span& span : spans)
    for (int i = 0; i < 6; ++i)
      span.options.push_back(
          {{PitchClass(i), Quality(0), PitchClass(i)}, static_cast<double>(random.below(100))});
  const auto all = best_cycles(spans, link, 300);
  const auto kept = different_cycles(all, spans, 2, 8);
  ASSERT_EQ(kept.size(), 8u);
  EXPECT_EQ(kept[0], all[0]);
  for (std::size_t a = 0; a < kept.size(); ++a)
    for (std::size_t b = a + 1; b < kept.size(); ++b) {
      int differences = 0;
      for (std::size_t i = 0; i < spans.size(); ++i) differences += kept[a].choice[i] != kept[b].choice[i];
      EXPECT_GE(differences, 2);
    }
}

TEST(Progression, AnImpossiblePinOrAnEmptySpanGivesNothing) {
  std::vector<Span> spans(2);
  spans[0].options.push_back({});
  EXPECT_TRUE(best_cycles(spans, link, 3).empty());
  spans[1].options.push_back({});
  EXPECT_EQ(best_cycles(spans, link, 3).size(), 1u);
  spans[1].pinned = 4;
  EXPECT_TRUE(best_cycles(spans, link, 3).empty());
  EXPECT_TRUE(best_cycles({}, link, 3).empty());
}

}  // namespace
}  // namespace undersong::harmony
