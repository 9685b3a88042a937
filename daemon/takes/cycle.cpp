// Over 400 lines: candidates, alignment and worth share the costs of the steps.
#include "daemon/takes/cycle.h"
#include "daemon/takes/median.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <map>
#include <string>
#include <unordered_map>

namespace undersong::takes {
namespace {

// What each step of the alignment is worth. A chord that fits is worth 1, a chord outside the loop 0.
constexpr double kInstead = -.6, kAnother = -.9, kLeftOut = -.9;
constexpr double kOtherFamily = -.25;  // the root fits but the family does not, such as minor for major
constexpr double kNoPulse = -.6;       // a chord without a pulse, in a take that has one elsewhere
// Another root whose notes are the same, such as Fmaj7 for Dm9 without its bass: from this likeness on it
// begins to count, and from that on it counts nearly as much as the root.
constexpr double kSimilar = .72, kSameCell = .95, kSameSound = 1.35;
constexpr double kSameWithoutBass = .84;
// Extra cost of entering a cycle, and of entering or leaving in mid-cycle.
constexpr double kEnter = -.5, kAtMiddle = -1;
constexpr double kTranspose = -2.5;
constexpr double kPerChord = 1.0;  // cost of describing one chord of the cycle
constexpr double kCopied = 1.3;    // cost of describing a run that occurred earlier in the cycle
constexpr double kKnownReplacement =
    1.4;  // a replacement that occurs repeatedly in one place earns this much each time
constexpr double kFurther = .4;   // share of that for further places
constexpr double kUnbased = .35;  // weight of a root that is not struck in the bass
constexpr std::size_t kLongestCycle = 24, kWindows = 4;
constexpr std::size_t kMany = 800;  // segments; in a longer take fewer cycles are tried
constexpr double kNever = -1e9;

double log_length(double seconds) {
  return std::log(std::max(.05, seconds));
}

// How much a segment misses a length; both are logarithms.
double late(double length, double usual) {
  return std::clamp((std::abs(length - usual) - .08) * 2.2, 0., 2.);
}

double fit(const Segment& item, const Cycle& cycle, std::size_t place, int up) {
  const double free = item.free ? kNoPulse : 0;
  if (item.root == (cycle.roots[place] + up) % 12)
    return 1 + (item.family == cycle.families[place] ? 0 : kOtherFamily) + free;
  const double alike = likeness(item.profile, cycle.profiles[place], up);
  return kInstead + kSameSound * std::clamp((alike - kSimilar) / (kSameCell - kSimilar), 0., 1.) + free;
}

// The cheapest way to describe the chords of a cycle: each by itself, or a run of two or more as a copy of an
// earlier one.
double description(const Cycle& cycle) {
  const std::size_t k = cycle.size();
  std::vector<double> cost(k + 1, 1e9);
  cost[0] = 0;
  for (std::size_t i = 0; i < k; ++i) {
    cost[i + 1] = std::min(cost[i + 1], cost[i] + kPerChord);
    for (std::size_t from = 0; from < i; ++from)
      for (std::size_t n = 0; i + n < k && from + n < i && cycle.roots[from + n] == cycle.roots[i + n]; ++n)
        if (n >= 1) cost[i + n + 1] = std::min(cost[i + n + 1], cost[i] + kCopied);
  }
  return cost[k];
}

template <class T>
void rotated(std::vector<T>& all, std::size_t by) {
  std::rotate(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(by), all.end());
}

}  // namespace

void Cycle::rotate(std::size_t by) {
  rotated(roots, by), rotated(families, by), rotated(lengths, by), rotated(profiles, by);
}

void Cycle::shorten(std::size_t to) {
  roots.resize(to), families.resize(to), lengths.resize(to), profiles.resize(to);
}

void Cycle::erase(std::size_t place) {
  const auto at = static_cast<std::ptrdiff_t>(place);
  roots.erase(roots.begin() + at), families.erase(families.begin() + at);
  lengths.erase(lengths.begin() + at), profiles.erase(profiles.begin() + at);
}

Aligned align(const std::vector<Segment>& take, const std::vector<Cycle>& cycles, bool transpositions,
              const std::vector<bool>& usable) {
  struct State {
    int cycle, key, place;
    std::size_t base, count;  // first state of this cycle and key; places of the cycle
    // Logarithms of the length of this place, and with one or two places before it.
    std::array<double, 3> lengths;
    std::array<std::size_t, 3> from;  // the state before, if none, one or two places are left out
    std::size_t skips;
  };
  std::vector<State> states;
  for (std::size_t c = 0; c < cycles.size(); ++c)
    for (int t = 0; t < (transpositions ? 12 : 1); ++t)
      for (std::size_t p = 0, base = states.size(), k = cycles[c].size(); p < k; ++p) {
        State state{static_cast<int>(c),        t, static_cast<int>(p), base, k, {}, {},
                    std::min<std::size_t>(3, k)};
        double length = cycles[c].lengths[p];
        for (std::size_t skip = 0; skip < state.skips; ++skip) {
          const std::size_t before = (p + 2 * k - 1 - skip) % k;
          state.lengths[skip] = log_length(length);
          state.from[skip] = base + before;
          length += cycles[c].lengths[before];
        }
        states.push_back(state);
      }
  const std::size_t n = take.size();
  std::vector<double> now(states.size(), kNever), next = now;
  double outside = 0;
  struct Back {
    std::int16_t from = -1;  // -1: outside
    AlignStep step = AlignStep::kOutside;
    bool enters = false, round = false;
    float value = 0;
  };
  std::vector<Back> back(n * states.size());
  std::vector<std::int16_t> out_back(n, -1);  // the state before segment i, if segment i is outside
  const auto leave = [&](const State& s) {
    return static_cast<std::size_t>(s.place) + 1 == s.count ? 0. : kAtMiddle;
  };
  for (std::size_t i = 0; i < n; ++i) {
    // The best state before this segment from which to be outside.
    double out = outside;
    std::int16_t out_from = -1;
    for (std::size_t s = 0; s < states.size(); ++s)
      if (now[s] + leave(states[s]) > out)
        out = now[s] + leave(states[s]), out_from = static_cast<std::int16_t>(s);
    out_back[i] = out_from;
    outside = out;
    if (!usable.empty() && !usable[i]) {
      std::fill(now.begin(), now.end(), kNever);
      continue;
    }
    const double length = take[i].length(), log = log_length(length);
    for (std::size_t s = 0; s < states.size(); ++s) {
      const State& state = states[s];
      const Cycle& cycle = cycles[static_cast<std::size_t>(state.cycle)];
      const auto p = static_cast<std::size_t>(state.place);
      const double right = fit(take[i], cycle, p, state.key);
      const bool fits = right > 0 && (take[i].root == (cycle.roots[p] + state.key) % 12 || right > .4);
      const AlignStep step = fits ? AlignStep::kFits : AlignStep::kOther;
      const double half = fits ? 1 : .5;
      const double here = right - half * late(log, state.lengths[0]);
      double best =
          out + kEnter + (p == 0 ? 0. : 1.2 * kAtMiddle) + (state.key == 0 ? 0. : kTranspose) + here;
      Back b{out_from, step, true, true, static_cast<float>(right)};
      const auto offer = [&](std::size_t from, double value, AlignStep how, bool round) {
        if (value > best)
          best = value, b = {static_cast<std::int16_t>(from), how, false, round, static_cast<float>(right)};
      };
      for (std::size_t skip = 0; skip < state.skips; ++skip) {
        // A segment that lasts as long as the places it passes over has covered them.
        const double over = right - half * late(log, state.lengths[skip]);
        const double value = std::max(static_cast<double>(skip) * kLeftOut + here,
                                      static_cast<double>(skip) * .8 * kLeftOut + over);
        const std::size_t from = state.from[skip];
        offer(from, now[from] + value, step, from - state.base >= p);
      }
      const double more = std::min(1., length / cycle.lengths[p]);
      offer(s, now[s] + kAnother * (.4 + .6 * more) * (fits ? .5 : 1), AlignStep::kMore, false);
      next[s] = best;
      back[i * states.size() + s] = b;
    }
    std::swap(now, next);
  }
  Aligned result;
  result.spans.resize(n);
  std::int16_t state = -1;
  result.score = outside;
  for (std::size_t s = 0; s < states.size(); ++s)
    if (now[s] + leave(states[s]) > result.score)
      result.score = now[s] + leave(states[s]), state = static_cast<std::int16_t>(s);
  for (std::size_t i = n; i-- > 0;) {
    auto& at = result.spans[i];
    if (state < 0) {
      state = out_back[i];
      continue;
    }
    const auto s = static_cast<std::size_t>(state);
    const Back& b = back[i * states.size() + s];
    at = {b.step, states[s].cycle, states[s].place, states[s].key, b.enters, b.round, b.value};
    state = b.from;
  }
  return result;
}

std::size_t first_place(const std::vector<Segment>& take, const std::vector<Cycle>& cycles,
                        std::size_t which) {
  std::size_t best = 0;
  double most = kNever;
  auto rotated = cycles;
  for (std::size_t by = 0; by < cycles[which].size(); ++by) {
    const double value = align(take, rotated, false).score;
    if (value > most + 1e-9) most = value, best = by;
    rotated[which].rotate(1);
  }
  return best;
}

double worth(const std::vector<Segment>& take, const std::vector<Cycle>& cycles, const Aligned& aligned) {
  double value = aligned.score;
  for (const Cycle& cycle : cycles) value -= description(cycle);
  std::map<std::array<int, 3>, int> others;
  for (std::size_t i = 0; i < take.size(); ++i) {
    const auto& at = aligned.spans[i];
    if (at.step == AlignStep::kOther && !at.enters)
      ++others[{at.cycle, at.place, (take[i].root - at.transposed + 12) % 12}];
  }
  // Where several places are replaced, the cycle is rather longer.
  std::map<int, std::vector<double>> credits;  // of each cycle
  for (const auto& [what, count] : others)
    if (count >= 2) credits[what[0]].push_back(std::max(0., kKnownReplacement * count - kPerChord));
  for (auto& [cycle, all] : credits) {
    std::sort(all.rbegin(), all.rend());
    for (std::size_t i = 0; i < all.size(); ++i) value += i == 0 ? all[i] : kFurther * all[i];
  }
  return value;
}

namespace {

// The cycle of `length` segments that begins at each of these.
Cycle cycle_at(const std::vector<Segment>& take, const std::vector<std::size_t>& begins, std::size_t length) {
  Cycle cycle;
  for (std::size_t j = 0; j < length; ++j) {
    std::vector<double> lengths;
    std::map<harmony::Family, int> families;
    std::array<double, 12> roots{};
    Profile profile;
    for (const std::size_t i : begins) {
      const Segment& item = take[i + j];
      lengths.push_back(item.length());
      roots[static_cast<std::size_t>(item.root)] += item.based ? 1 : kUnbased;
      profile += item.profile;
    }
    profile.normalise();
    const auto root = static_cast<int>(std::max_element(roots.begin(), roots.end()) - roots.begin());
    for (const std::size_t i : begins)
      if (take[i + j].root == root) ++families[take[i + j].family];
    cycle.profiles.push_back(profile);
    cycle.families.push_back(
        std::max_element(families.begin(), families.end(), [](const auto& a, const auto& b) {
          return a.second < b.second;
        })->first);
    cycle.roots.push_back(root);
    cycle.lengths.push_back(std::max(.05, median(lengths)));
  }
  return cycle;
}

}  // namespace

std::vector<Cycle> candidates(const std::vector<Segment>& take, const std::vector<bool>& usable,
                              std::size_t most) {
  struct Seen {
    std::size_t length = 0;
    std::vector<std::size_t> at;
  };
  std::unordered_map<std::string, Seen> seen;
  const std::size_t n = take.size();
  std::vector<std::size_t> reach(n + 1, 0);  // number of usable segments from here on
  for (std::size_t i = n; i-- > 0;) reach[i] = usable[i] ? reach[i + 1] + 1 : 0;
  for (std::size_t k = 1; k <= kLongestCycle && 2 * k <= n; ++k)
    for (std::size_t i = 0; i + k <= n; ++i) {
      if (reach[i] < k) continue;
      std::string key;
      for (std::size_t j = 0; j < k; ++j) key += static_cast<char>('A' + take[i + j].root);
      auto& entry = seen[key];
      entry.length = k;
      if (entry.at.empty() || i >= entry.at.back() + k) entry.at.push_back(i);
    }
  std::vector<std::pair<std::string, const Seen*>> ranked;
  for (const auto& [key, entry] : seen) {
    // A run that only repeats a shorter run is not a candidate of its own.
    bool again = false;
    for (std::size_t d = 1; d < entry.length && !again; ++d)
      again = entry.length % d == 0 && key.substr(d) + key.substr(0, d) == key;
    if (entry.at.size() >= 2 && !again) ranked.emplace_back(key, &entry);
  }
  std::sort(ranked.begin(), ranked.end(), [](const auto& a, const auto& b) {
    const auto value = [](const Seen& s) { return s.length * (s.at.size() - 1); };
    const auto x = value(*a.second), y = value(*b.second);
    return x != y ? x > y : a.first < b.first;
  });
  if (n > kMany) most /= 2;
  const std::size_t kept_windows = n > kMany ? kWindows / 2 : kWindows;
  if (ranked.size() > most) ranked.resize(most);
  std::vector<Cycle> out;
  for (const auto& [key, entry] : ranked) out.push_back(cycle_at(take, entry->at, entry->length));
  // Runs that come again with a few differences.
  struct Window {
    double value;
    std::size_t at, length;
  };
  std::vector<Window> windows;
  std::vector<double> logs;
  for (const Segment& segment : take) logs.push_back(log_length(segment.length()));
  for (std::size_t k = 2; k <= kLongestCycle && 2 * k <= n; ++k) {
    std::vector<double> sum(n - k + 1, 0);  // of how well each segment agrees with that k later
    for (std::size_t i = 0; i + k < n; ++i) {
      const Segment &a = take[i], &b = take[i + k];
      const double alike =
          a.root == b.root
              ? 1
              : -.6 + 1.2 * std::clamp((likeness(a.profile, b.profile) - kSimilar) / (kSameCell - kSimilar),
                                       0., 1.);
      sum[i + 1] = sum[i] + alike - .5 * late(logs[i], logs[i + k]);
    }
    std::vector<Window> here;
    for (std::size_t i = 0; i + 2 * k <= n; ++i)
      if (reach[i] >= 2 * k) here.push_back({sum[i + k] - sum[i], i, k});
    std::stable_sort(here.begin(), here.end(),
                     [](const Window& a, const Window& b) { return a.value > b.value; });
    // One for each rotation would be enough; the best few usually are different rotations.
    std::vector<Window> kept;
    for (const Window& window : here) {
      if (kept.size() >= kept_windows) break;
      if (window.value < .5 * static_cast<double>(k)) break;
      if (std::none_of(kept.begin(), kept.end(),
                       [&](const Window& other) { return (window.at + 50 * k - other.at) % k == 0; }))
        kept.push_back(window);
    }
    windows.insert(windows.end(), kept.begin(), kept.end());
  }
  for (const Window& window : windows)
    out.push_back(cycle_at(take, {window.at, window.at + window.length}, window.length));
  return out;
}

void settle(std::vector<Cycle>& cycles, const std::vector<Segment>& take, const Aligned& aligned) {
  for (std::size_t c = 0; c < cycles.size(); ++c) {
    Cycle& cycle = cycles[c];
    for (std::size_t p = 0; p < cycle.size(); ++p) {
      std::array<double, 12> roots{};
      std::array<int, 12> counts{}, first{};
      std::vector<double> lengths;
      Profile profile;
      const auto here = [&](std::size_t i) {
        const auto& at = aligned.spans[i];
        return at.cycle == static_cast<int>(c) && at.place == static_cast<int>(p) &&
               (at.step == AlignStep::kFits || at.step == AlignStep::kOther);
      };
      const auto root_at = [&](std::size_t i) {
        return static_cast<std::size_t>((take[i].root - aligned.spans[i].transposed + 12) % 12);
      };
      for (std::size_t i = 0; i < take.size(); ++i) {
        if (!here(i)) continue;
        lengths.push_back(take[i].length());
        const std::size_t root = root_at(i);
        if (counts[root]++ == 0) first[root] = static_cast<int>(i);
        // A root that is struck in the bass says more than one that is only guessed from the rest.
        roots[root] += take[i].based ? 1 : kUnbased;
        if (aligned.spans[i].step == AlignStep::kFits && aligned.spans[i].transposed == 0)
          profile += take[i].profile;
      }
      if (lengths.empty()) continue;
      cycle.lengths[p] = std::max(.05, median(lengths));
      profile.normalise();
      if (likeness(profile, profile) > .5) cycle.profiles[p] = profile;
      // The earlier one, if two are equally frequent.
      std::size_t best = static_cast<std::size_t>(cycle.roots[p]);
      for (std::size_t r = 0; r < 12; ++r)
        if (counts[r] > 0 &&
            (roots[r] > roots[best] + 1e-9 || (roots[r] > roots[best] - 1e-9 && first[r] < first[best])))
          best = r;
      // Of two endings that are equally frequent, the one that leads back by a fifth is the cycle's.
      if (p + 1 == cycle.size() && p > 0) {
        const auto leads = static_cast<std::size_t>((cycle.roots[0] + 7) % 12);
        if (leads != best && counts[leads] > 0 && counts[leads] == counts[best]) best = leads;
      }
      if (counts[best] < 2) continue;
      std::map<harmony::Family, int> families;
      for (std::size_t i = 0; i < take.size(); ++i)
        if (here(i) && root_at(i) == best) ++families[take[i].family];
      cycle.roots[p] = static_cast<int>(best);
      cycle.families[p] =
          std::max_element(families.begin(), families.end(), [](const auto& a, const auto& b) {
            return a.second < b.second;
          })->first;
    }
  }
}

std::optional<std::size_t> block(const Cycle& cycle) {
  const std::size_t k = cycle.size();
  const auto low = [](const Profile& profile) {
    return std::any_of(profile.bass.begin(), profile.bass.end(), [](float b) { return b > .01f; });
  };
  // Dm7 without its bass is F6.
  const auto same = [&](std::size_t a, std::size_t b) {
    const Profile &x = cycle.profiles[a], &y = cycle.profiles[b];
    return cycle.roots[a] == cycle.roots[b] ||
           likeness(x, y) > (low(x) && low(y) ? kSameCell : kSameWithoutBass);
  };
  for (std::size_t d = 3; 2 * d <= k; ++d) {
    if (k % d != 0) continue;
    std::size_t places = 0, differ = 0;
    for (std::size_t p = 0; p < d; ++p) {
      std::size_t most = 0;
      for (std::size_t i = p; i < k; i += d) {
        std::size_t count = 0;
        for (std::size_t j = p; j < k; j += d) count += same(i, j);
        most = std::max(most, count);
      }
      places += most < k / d;
      differ += k / d - most;
    }
    if (places <= 1 && 2 * differ <= k / d) return d;
  }
  return std::nullopt;
}

}  // namespace undersong::takes
