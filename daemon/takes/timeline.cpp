#include "daemon/takes/timeline.h"

#include <algorithm>

#include "daemon/harmony/durations.h"

namespace undersong::takes {

std::vector<Line> settled_chords(const std::vector<Line>& chords) {
  std::vector<Line> out;
  for (Line line : chords) {
    while (!out.empty() && line.at - out.back().at < harmony::kPassing) {
      line.at = std::min(line.at, out.back().at);
      out.pop_back();
    }
    // Data hold the confidence too, so equal names are told by what stands before it.
    const auto name = [](const Line& l) { return l.data.substr(0, l.data.find("\"confidence\"")); };
    if (out.empty() || name(out.back()) != name(line)) out.push_back(std::move(line));
  }
  return out;
}

}  // namespace undersong::takes
