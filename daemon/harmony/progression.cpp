#include "daemon/harmony/progression.h"

#include <algorithm>

namespace undersong::harmony {
namespace {

// The choices so far, as a chain of steps back.
struct Partial {
  double worth = 0;
  std::size_t option = 0;      // option of this span
  std::ptrdiff_t before = -1;  // index in the list of the span before
};

bool better(const Cycle& a, const Cycle& b) {
  return a.worth != b.worth ? a.worth > b.worth : a.choice < b.choice;
}

// Keeps the `count` best elements of a list.
template <class T, class Better>
void keep_best(std::vector<T>& list, std::size_t count, Better by) {
  if (list.size() > count) {
    std::nth_element(list.begin(), list.begin() + static_cast<std::ptrdiff_t>(count), list.end(), by);
    list.resize(count);
  }
}

std::vector<std::size_t> allowed(const Span& span) {
  if (span.pinned)
    return *span.pinned < span.options.size() ? std::vector<std::size_t>{*span.pinned}
                                              : std::vector<std::size_t>{};
  std::vector<std::size_t> all(span.options.size());
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = i;
  return all;
}

}  // namespace

std::vector<Cycle> best_cycles(std::span<const Span> spans, const Link& link, std::size_t count) {
  std::vector<Cycle> found;
  if (spans.empty() || count == 0) return found;
  std::vector<std::vector<std::size_t>> options;
  for (const Span& span : spans) {
    options.push_back(allowed(span));
    if (options.back().empty()) return found;
  }
  // Compute each link once, because they are used often.
  std::vector<std::vector<std::vector<double>>> links(spans.size());
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const std::size_t next = (i + 1) % spans.size();
    links[i].assign(spans[i].options.size(), std::vector<double>(spans[next].options.size()));
    for (std::size_t a : options[i])
      for (std::size_t b : options[next])
        links[i][a][b] = link(spans[i].options[a].chord, spans[next].options[b].chord);
  }
  const auto by_worth = [](const Partial& a, const Partial& b) { return a.worth > b.worth; };
  for (std::size_t first : options[0]) {
    // Fix the first chord, so that the link from the last one back to it is known. This makes the search
    // exact.
    std::vector<std::vector<Partial>> levels(spans.size());
    levels[0].push_back({spans[0].options[first].worth, first, -1});
    for (std::size_t i = 1; i < spans.size(); ++i)
      for (std::size_t b : options[i]) {
        std::vector<Partial> ends;
        for (std::size_t p = 0; p < levels[i - 1].size(); ++p) {
          const Partial& before = levels[i - 1][p];
          ends.push_back({before.worth + links[i - 1][before.option][b] + spans[i].options[b].worth, b,
                          static_cast<std::ptrdiff_t>(p)});
        }
        keep_best(ends, count, by_worth);
        levels[i].insert(levels[i].end(), ends.begin(), ends.end());
      }
    for (const Partial& last : levels.back()) {
      Cycle cycle;
      cycle.worth = last.worth + links.back()[last.option][first];
      cycle.choice.resize(spans.size());
      const Partial* at = &last;
      for (std::size_t i = spans.size(); i-- > 0;) {
        cycle.choice[i] = at->option;
        if (i > 0) at = &levels[i - 1][static_cast<std::size_t>(at->before)];
      }
      found.push_back(std::move(cycle));
    }
    keep_best(found, count, better);
  }
  std::sort(found.begin(), found.end(), better);
  return found;
}

std::vector<Cycle> different_cycles(std::span<const Cycle> cycles, std::span<const Span> spans,
                                    std::size_t apart, std::size_t count) {
  std::vector<Cycle> kept;
  for (const Cycle& cycle : cycles) {
    if (kept.size() == count) break;
    const bool differs = std::all_of(kept.begin(), kept.end(), [&](const Cycle& other) {
      std::size_t differences = 0;
      for (std::size_t i = 0; i < spans.size(); ++i) {
        const Chord &a = spans[i].options[cycle.choice[i]].chord,
                    &b = spans[i].options[other.choice[i]].chord;
        differences += a.root != b.root || a.quality != b.quality;
      }
      return differences >= apart;
    });
    if (differs) kept.push_back(cycle);
  }
  return kept;
}

}  // namespace undersong::harmony
