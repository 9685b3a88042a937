#include "daemon/takes/take_content.h"

#include <algorithm>
#include <map>

#include "daemon/takes/named_loops.h"

namespace undersong::takes {
namespace {

using Round = std::vector<std::uint16_t>;

// The same for a loop wherever one begins to count it.
Round turned(std::span<const std::uint16_t> round) {
  Round best(round.begin(), round.end()), now = best;
  for (std::size_t i = 1; i < round.size(); ++i) {
    std::rotate(now.begin(), now.begin() + 1, now.end());
    best = std::min(best, now);
  }
  return best;
}

bool repeats_itself(std::span<const std::uint16_t> round) {
  for (std::size_t part = 1; part <= round.size() / 2; ++part)
    if (round.size() % part == 0 &&
        std::equal(round.begin() + static_cast<std::ptrdiff_t>(part), round.end(), round.begin()))
      return true;
  return false;
}

}  // namespace

std::vector<ContentFound> named_loops(std::span<const std::uint16_t> chords) {
  chords = chords.first(std::min(chords.size(), kMostNamedChords));
  std::vector<ContentFound> all;
  for (std::size_t length = 2; length <= kLongestRound; ++length) {
    struct Gone {
      std::size_t begin = 0, longest = 0;
      std::vector<std::size_t> rounds;
    };
    std::map<Round, Gone> rounds;
    for (std::size_t i = 0; i + length < chords.size();) {
      std::size_t same = 0;
      while (i + same + length < chords.size() && chords[i + same] == chords[i + same + length]) ++same;
      const auto round = chords.subspan(i, length);
      if (same >= length && !repeats_itself(round)) {
        Gone& gone = rounds[turned(round)];
        if (same > gone.longest) gone.begin = i, gone.longest = same;
        const std::size_t more = (same + length) / length;
        for (std::size_t k = 0; k < more; ++k) gone.rounds.push_back(i + k * length);
      }
      i += same + 1;
    }
    for (auto& [round, gone] : rounds)
      all.push_back({gone.begin, length, static_cast<int>(gone.rounds.size()), std::move(gone.rounds)});
  }
  const auto covered = [](const ContentFound& each) { return each.length * each.rounds.size(); };
  std::stable_sort(all.begin(), all.end(),
                   [&](const ContentFound& a, const ContentFound& b) { return covered(a) > covered(b); });
  std::vector<ContentFound> out;
  std::vector<bool> taken(chords.size(), false);
  for (ContentFound& each : all) {
    if (out.size() == kMostNamedLoops) break;
    std::size_t shared = 0;
    for (const std::size_t round : each.rounds)
      for (std::size_t i = round; i < round + each.length; ++i) shared += taken[i];
    if (2 * shared > covered(each)) continue;
    for (const std::size_t round : each.rounds)
      std::fill_n(taken.begin() + static_cast<std::ptrdiff_t>(round), each.length, true);
    out.push_back(std::move(each));
  }
  return out;
}

ContentFound take_content(std::span<const std::uint16_t> chords) {
  auto all = named_loops(chords.first(std::min(chords.size(), kContentChords)));
  if (!all.empty()) return std::move(all.front());
  return {0, std::min(chords.size(), kFirstChords), 1, {}};
}

}  // namespace undersong::takes
