#include "daemon/takes/take_content.h"

#include <algorithm>
#include <map>

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

ContentFound take_content(std::span<const std::uint16_t> chords) {
  chords = chords.first(std::min(chords.size(), kContentChords));
  ContentFound best{0, std::min(chords.size(), kFirstChords), 1};
  std::size_t most = 0;
  for (std::size_t length = 2; length <= kLongestRound; ++length) {
    struct Gone {
      std::size_t begin = 0, longest = 0;
      int times = 0;
    };
    std::map<Round, Gone> rounds;
    for (std::size_t i = 0; i + length < chords.size();) {
      std::size_t same = 0;
      while (i + same + length < chords.size() && chords[i + same] == chords[i + same + length]) ++same;
      const auto round = chords.subspan(i, length);
      if (same >= length && !repeats_itself(round)) {
        Gone& gone = rounds[turned(round)];
        if (same > gone.longest) gone.begin = i, gone.longest = same;
        gone.times += static_cast<int>((same + length) / length);
      }
      i += same + 1;
    }
    for (const auto& [round, gone] : rounds) {
      const std::size_t covered = length * static_cast<std::size_t>(gone.times);
      if (covered <= most) continue;
      most = covered;
      best = {gone.begin, length, gone.times};
    }
  }
  return best;
}

}  // namespace undersong::takes
