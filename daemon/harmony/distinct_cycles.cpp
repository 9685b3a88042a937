#include "daemon/harmony/distinct_cycles.h"

#include <algorithm>
#include <array>
#include <limits>
#include <optional>
#include <queue>

namespace undersong::harmony {
namespace {

constexpr double kImpossible = -std::numeric_limits<double>::infinity();
constexpr double kEqual = 1e-9;

// The worth of the options with the rewards for being different, and the best way from each option back to
// the first one.
class Relaxed {
 public:
  Relaxed(const CycleProblem& problem, std::span<const Kinds> kept) : problem_(problem), kept_(kept) {
    const std::size_t n = problem.spans.size();
    worth_.resize(n);
    way_.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      worth_[i].resize(problem.spans[i].size());
      way_[i].resize(problem.spans[i].size());
    }
  }

  void reward(const std::vector<double>& rewards) {
    for (std::size_t i = 0; i < worth_.size(); ++i)
      for (std::size_t a = 0; a < worth_[i].size(); ++a) {
        const CycleOption& option = problem_.spans[i][a];
        worth_[i][a] = option.worth;
        for (std::size_t j = 0; j < kept_.size(); ++j)
          if (kept_[j][i] != option.kind) worth_[i][a] += rewards[j];
      }
  }

  double worth(std::size_t span, std::size_t option) const { return worth_[span][option]; }
  // The most that the links and options after this option can add, closing at the `first` of the last ways()
  // call.
  double way(std::size_t span, std::size_t option) const { return way_[span][option]; }

  void ways(std::size_t first) {
    const std::size_t n = worth_.size();
    for (std::size_t a = 0; a < worth_[n - 1].size(); ++a) way_[n - 1][a] = problem_.links[n - 1][a][first];
    for (std::size_t i = n - 1; i-- > 0;)
      for (std::size_t a = 0; a < worth_[i].size(); ++a) {
        const auto& link = problem_.links[i][a];
        double best = kImpossible;
        for (std::size_t b = 0; b < worth_[i + 1].size(); ++b)
          best = std::max(best, link[b] + worth_[i + 1][b] + way_[i + 1][b]);
        way_[i][a] = best;
      }
  }
  double best(std::size_t first) const { return worth_[0][first] + way_[0][first]; }

  // The best cycle through `first`, after ways(first).
  std::vector<std::size_t> trace(std::size_t first) const {
    std::vector<std::size_t> choice{first};
    for (std::size_t i = 0; i + 1 < worth_.size(); ++i) {
      std::size_t next = 0;
      double best = kImpossible;
      for (std::size_t b = 0; b < worth_[i + 1].size(); ++b) {
        const double value = problem_.links[i][choice.back()][b] + worth_[i + 1][b] + way_[i + 1][b];
        if (value > best) best = value, next = b;
      }
      choice.push_back(next);
    }
    return choice;
  }

 private:
  const CycleProblem& problem_;
  std::span<const Kinds> kept_;
  std::vector<std::vector<double>> worth_, way_;
};

struct FoundCycle {
  std::vector<std::size_t> choice;
  double worth = kImpossible;
};

class CycleSearch {
 public:
  CycleSearch(const CycleProblem& problem, std::span<const Kinds> kept, std::size_t apart)
      : problem_(problem), kept_(kept), apart_(apart), relaxed_(problem, kept), rewards_(kept.size(), 0.0) {}

  // nullopt when no cycle differs enough.
  std::optional<FoundCycle> next(bool& exact) {
    settle_rewards();
    if (!prove()) exact = false;
    if (best_.choice.empty()) return std::nullopt;
    return best_;
  }

 private:
  std::vector<std::size_t> differences(const std::vector<std::size_t>& choice) const {
    std::vector<std::size_t> out(kept_.size(), 0);
    for (std::size_t j = 0; j < kept_.size(); ++j)
      for (std::size_t i = 0; i < choice.size(); ++i)
        out[j] += kept_[j][i] != problem_.spans[i][choice[i]].kind;
    return out;
  }
  double owed() const {
    double sum = 0;
    for (double reward : rewards_) sum += reward * static_cast<double>(apart_);
    return sum;
  }

  // Subgradient steps: rewards rise for the cycles that the relaxed best cycle is too similar to, and fall
  // for the others.
  void settle_rewards() {
    double least = std::numeric_limits<double>::infinity();
    std::vector<double> best_rewards = rewards_;
    double step = 1;
    for (int round = 0; round < (kept_.empty() ? 1 : 60); ++round, step *= 0.94) {
      relaxed_.reward(rewards_);
      std::size_t first = 0;
      double value = kImpossible;
      for (std::size_t a = 0; a < problem_.spans[0].size(); ++a) {
        relaxed_.ways(a);
        if (relaxed_.best(a) > value) value = relaxed_.best(a), first = a;
      }
      if (value - owed() < least) least = value - owed(), best_rewards = rewards_;
      relaxed_.ways(first);
      const auto choice = relaxed_.trace(first);
      const auto differ = differences(choice);
      if (std::all_of(differ.begin(), differ.end(), [&](std::size_t d) { return d >= apart_; }))
        consider(choice);
      bool moved = false;
      for (std::size_t j = 0; j < kept_.size(); ++j) {
        const double before = rewards_[j];
        rewards_[j] =
            std::max(0.0, before + step * (static_cast<double>(apart_) - static_cast<double>(differ[j])));
        moved |= rewards_[j] != before;
      }
      if (!moved) break;
    }
    rewards_ = best_rewards;
    relaxed_.reward(rewards_);
  }

  void consider(const std::vector<std::size_t>& choice) {
    const double worth = cycle_worth(problem_, choice);
    if (worth > best_.worth) best_ = {choice, worth};
  }

  struct Node {
    double bound;            // upper bound on the worth of a cycle that begins this way
    double rewarded;         // worth of the choice so far, with rewards
    std::size_t at, before;  // option; index of the previous node in nodes
    std::size_t span;
    std::array<std::uint8_t, kMostDistinct> differ;
  };

  // Best-first search from every first option. False when it gave up.
  bool prove() {
    const std::size_t n = problem_.spans.size(), most = kept_.size();
    std::vector<std::pair<double, std::size_t>> firsts;
    for (std::size_t a = 0; a < problem_.spans[0].size(); ++a) {
      relaxed_.ways(a);
      firsts.emplace_back(relaxed_.best(a) - owed(), a);
    }
    std::sort(firsts.begin(), firsts.end(), [](const auto& x, const auto& y) {
      return x.first != y.first ? x.first > y.first : x.second < y.second;
    });
    std::size_t steps = 0;
    for (const auto& [bound, first] : firsts) {
      if (!(bound > best_.worth + kEqual)) break;
      relaxed_.ways(first);
      std::vector<Node> nodes;
      const auto worse = [&](std::size_t a, std::size_t b) { return nodes[a].bound < nodes[b].bound; };
      std::priority_queue<std::size_t, std::vector<std::size_t>, decltype(worse)> open(worse);
      const auto add = [&](const Node* parent, std::size_t parent_at, std::size_t span, std::size_t option,
                           double link) {
        Node node{};
        node.rewarded = (parent ? parent->rewarded : 0) + link + relaxed_.worth(span, option);
        node.bound = node.rewarded + relaxed_.way(span, option) - owed();
        if (!(node.bound > best_.worth + kEqual)) return;
        if (parent) node.differ = parent->differ;
        const std::size_t left = n - 1 - span;
        for (std::size_t j = 0; j < most; ++j) {
          node.differ[j] = static_cast<std::uint8_t>(node.differ[j] +
                                                     (kept_[j][span] != problem_.spans[span][option].kind));
          if (node.differ[j] + left < apart_) return;
        }
        node.at = option, node.before = parent_at, node.span = span;
        nodes.push_back(node);
        open.push(nodes.size() - 1);
      };
      add(nullptr, 0, 0, first, 0);
      while (!open.empty()) {
        const std::size_t top = open.top();
        open.pop();
        const Node node = nodes[top];
        if (!(node.bound > best_.worth + kEqual)) break;  // the remaining nodes are no better
        if (++steps > kMostSteps) return false;
        if (node.span == n - 1) {
          std::vector<std::size_t> choice(n);
          for (std::size_t i = n, k = top; i-- > 0; k = nodes[k].before) choice[i] = nodes[k].at;
          consider(choice);
          continue;
        }
        for (std::size_t b = 0; b < problem_.spans[node.span + 1].size(); ++b)
          add(&node, top, node.span + 1, b, problem_.links[node.span][node.at][b]);
      }
    }
    return true;
  }

  const CycleProblem& problem_;
  std::span<const Kinds> kept_;
  std::size_t apart_;
  Relaxed relaxed_;
  std::vector<double> rewards_;
  FoundCycle best_;
};

}  // namespace

double cycle_worth(const CycleProblem& problem, std::span<const std::size_t> choice) {
  double sum = 0;
  for (std::size_t i = 0; i < choice.size(); ++i)
    sum += problem.spans[i][choice[i]].worth + problem.links[i][choice[i]][choice[(i + 1) % choice.size()]];
  return sum;
}

DistinctCycles distinct_cycles(const CycleProblem& problem, std::span<const Kinds> given, std::size_t apart,
                               std::size_t count) {
  return distinct_cycles(std::span(&problem, 1), given, apart, count);
}

DistinctCycles distinct_cycles(std::span<const CycleProblem> problems, std::span<const Kinds> given,
                               std::size_t apart, std::size_t count) {
  DistinctCycles out;
  // The best cycle of each problem. It stays the best as long as it differs enough from the cycles found in
  // the other problems.
  struct Best {
    bool known = false;
    std::optional<FoundCycle> found;
    Kinds kinds;
  };
  std::vector<Best> bests(problems.size());
  std::vector<Kinds> kept(given.begin(), given.end());
  while (out.cycles.size() < count && kept.size() < kMostDistinct) {
    std::size_t first = problems.size();
    for (std::size_t p = 0; p < problems.size(); ++p) {
      const CycleProblem& problem = problems[p];
      Best& best = bests[p];
      if (!best.known) {
        best = {true, std::nullopt, {}};
        const bool empty = problem.spans.empty() || std::any_of(problem.spans.begin(), problem.spans.end(),
                                                                [](const auto& s) { return s.empty(); });
        if (!empty) best.found = CycleSearch(problem, kept, apart).next(out.exact);
        for (std::size_t i = 0; best.found && i < best.found->choice.size(); ++i)
          best.kinds.push_back(problem.spans[i][best.found->choice[i]].kind);
      }
      if (best.found && (first == problems.size() || best.found->worth > bests[first].found->worth))
        first = p;
    }
    if (first == problems.size()) break;
    out.cycles.push_back({bests[first].found->choice, bests[first].found->worth});
    out.problem.push_back(first);
    kept.push_back(bests[first].kinds);
    for (Best& best : bests) {
      if (!best.found) continue;
      std::size_t differ = 0;
      for (std::size_t i = 0; i < best.kinds.size(); ++i) differ += best.kinds[i] != kept.back()[i];
      if (differ < apart || &best == &bests[first]) best.known = false;
    }
  }
  return out;
}

}  // namespace undersong::harmony
