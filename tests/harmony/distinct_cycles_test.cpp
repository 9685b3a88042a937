#include "daemon/harmony/distinct_cycles.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace undersong::harmony {
namespace {

CycleProblem random_problem(std::mt19937& random, std::size_t spans, std::size_t most_options) {
  std::uniform_real_distribution<double> worth(-3, 3);
  CycleProblem problem;
  problem.spans.resize(spans);
  for (auto& span : problem.spans) {
    span.resize(1 + random() % most_options);
    for (auto& option : span) option = {worth(random), static_cast<std::uint16_t>(random() % 4)};
  }
  problem.links.resize(spans);
  for (std::size_t i = 0; i < spans; ++i) {
    problem.links[i].assign(problem.spans[i].size(),
                            std::vector<double>(problem.spans[(i + 1) % spans].size()));
    for (auto& row : problem.links[i])
      for (double& link : row) link = worth(random);
  }
  return problem;
}

std::size_t differences(const CycleProblem& problem, const Kinds& kinds,
                        const std::vector<std::size_t>& choice) {
  std::size_t out = 0;
  for (std::size_t i = 0; i < choice.size(); ++i) out += kinds[i] != problem.spans[i][choice[i]].kind;
  return out;
}

// The best cycle that differs from all of `kept`, found by trying every cycle.
std::optional<Cycle> by_brute_force(const CycleProblem& problem, const std::vector<Kinds>& kept,
                                    std::size_t apart) {
  std::optional<Cycle> best;
  std::vector<std::size_t> choice(problem.spans.size(), 0);
  for (;;) {
    const bool apart_enough = std::all_of(
        kept.begin(), kept.end(), [&](const Kinds& k) { return differences(problem, k, choice) >= apart; });
    if (const double worth = cycle_worth(problem, choice); apart_enough && (!best || worth > best->worth))
      best = Cycle{choice, worth};
    std::size_t i = 0;
    while (i < choice.size() && ++choice[i] == problem.spans[i].size()) choice[i++] = 0;
    if (i == choice.size()) return best;
  }
}

TEST(DistinctCycles, EachIsTheBestApartFromThoseBeforeItByBruteForce) {
  std::mt19937 random(3);
  std::size_t compared = 0, none = 0;
  for (int round = 0; round < 1500; ++round) {
    const std::size_t n = 1 + random() % 6;
    const CycleProblem problem = random_problem(random, n, n > 4 ? 5 : 7);
    std::vector<Kinds> kept;
    for (std::size_t given = random() % 3; given > 0; --given) {
      Kinds kinds(n);
      for (auto& kind : kinds) kind = static_cast<std::uint16_t>(random() % 4);
      kept.push_back(kinds);
    }
    const std::size_t apart = random() % (n + 1), count = 1 + random() % 6;
    const auto found = distinct_cycles(problem, kept, apart, count);
    ASSERT_TRUE(found.exact);
    for (std::size_t i = 0; i < count; ++i) {
      const auto best = by_brute_force(problem, kept, apart);
      ASSERT_EQ(best.has_value(), i < found.cycles.size());
      if (!best) {
        ++none;
        break;
      }
      ASSERT_NEAR(found.cycles[i].worth, best->worth, 1e-9);
      ASSERT_NEAR(found.cycles[i].worth, cycle_worth(problem, found.cycles[i].choice), 1e-9);
      ++compared;
      Kinds kinds;
      for (std::size_t s = 0; s < n; ++s) kinds.push_back(problem.spans[s][found.cycles[i].choice[s]].kind);
      for (const Kinds& other : kept) EXPECT_GE(differences(problem, other, found.cycles[i].choice), apart);
      kept.push_back(kinds);
    }
  }
  EXPECT_GT(compared, 2500u);
  EXPECT_GT(none, 100u);
  RecordProperty("compared", static_cast<int>(compared));
}

TEST(DistinctCycles, OfSeveralProblemsEachIsTheBestInAllOfThemByBruteForce) {
  std::mt19937 random(7);
  std::size_t compared = 0, others = 0;
  for (int round = 0; round < 400; ++round) {
    const std::size_t n = 1 + random() % 5;
    std::vector<CycleProblem> problems;
    for (std::size_t p = 2 + random() % 3; p > 0; --p) problems.push_back(random_problem(random, n, 5));
    if (round % 10 == 0) problems.back().spans.back().clear();
    std::vector<Kinds> kept;
    if (random() % 2) {
      Kinds kinds(n);
      for (auto& kind : kinds) kind = static_cast<std::uint16_t>(random() % 4);
      kept.push_back(kinds);
    }
    const std::size_t apart = random() % (n + 1), count = 1 + random() % 6;
    const auto found = distinct_cycles(problems, kept, apart, count);
    ASSERT_TRUE(found.exact);
    ASSERT_EQ(found.problem.size(), found.cycles.size());
    for (std::size_t i = 0; i < count; ++i) {
      std::optional<Cycle> best;
      for (const CycleProblem& problem : problems) {
        if (std::any_of(problem.spans.begin(), problem.spans.end(), [](const auto& s) { return s.empty(); }))
          continue;
        if (auto here = by_brute_force(problem, kept, apart); here && (!best || here->worth > best->worth))
          best = std::move(here);
      }
      ASSERT_EQ(best.has_value(), i < found.cycles.size());
      if (!best) break;
      const CycleProblem& problem = problems[found.problem[i]];
      ASSERT_NEAR(found.cycles[i].worth, best->worth, 1e-9);
      ASSERT_NEAR(found.cycles[i].worth, cycle_worth(problem, found.cycles[i].choice), 1e-9);
      ++compared;
      others += i > 0 && found.problem[i] != found.problem[i - 1];
      Kinds kinds;
      for (std::size_t s = 0; s < n; ++s) kinds.push_back(problem.spans[s][found.cycles[i].choice[s]].kind);
      for (const Kinds& other : kept) EXPECT_GE(differences(problem, other, found.cycles[i].choice), apart);
      kept.push_back(kinds);
    }
  }
  EXPECT_GT(compared, 600u);
  EXPECT_GT(others, 100u);
}

TEST(DistinctCycles, ASpanWithoutOptionsGivesNothing) {
  CycleProblem problem;
  EXPECT_TRUE(distinct_cycles(problem, {}, 0, 3).cycles.empty());
  problem.spans = {{{1, 0}}, {}};
  problem.links = {{{}}, {}};
  EXPECT_TRUE(distinct_cycles(problem, {}, 0, 3).cycles.empty());
}

}  // namespace
}  // namespace undersong::harmony
