#include "daemon/song/note_values.h"

#include <algorithm>

namespace undersong::song {
namespace {

int flags(const Symbol& symbol) {
  if (!symbol.note) return 0;
  return symbol.type == "eighth" ? 1 : symbol.type == "16th" ? 2 : symbol.type == "32nd" ? 3 : 0;
}

}  // namespace

const std::vector<NoteValue>& note_values() {
  static const std::vector<NoteValue> values{
      {2880, "whole", 1},  {1920, "whole", 0}, {1440, "half", 1},  {960, "half", 0}, {720, "quarter", 1},
      {480, "quarter", 0}, {360, "eighth", 1}, {240, "eighth", 0}, {180, "16th", 1}, {120, "16th", 0},
      {90, "32nd", 1},     {60, "32nd", 0},    {30, "64th", 0},    {15, "128th", 0}};
  return values;
}

const NoteValue* note_value(std::int64_t length) {
  const auto& all = note_values();
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const NoteValue& value) { return value.length == length; });
  return found == all.end() ? nullptr : &*found;
}

void mark_beams(std::vector<Symbol>& symbols, const std::function<std::int64_t(Ticks)>& group) {
  for (std::size_t i = 0; i < symbols.size();) {
    std::size_t to = i + 1;
    if (flags(symbols[i]) > 0)
      while (to < symbols.size() && flags(symbols[to]) > 0 && group(symbols[to].at) == group(symbols[i].at))
        ++to;
    if (to - i > 1)
      for (int level = 1; level <= 3; ++level)
        for (std::size_t k = i; k < to; ++k) {
          if (flags(symbols[k]) < level) continue;
          const bool before = k > i && flags(symbols[k - 1]) >= level,
                     after = k + 1 < to && flags(symbols[k + 1]) >= level;
          symbols[k].beams[level - 1] = before && after ? Mark::kContinue
                                        : before        ? Mark::kEnd
                                        : after         ? Mark::kBegin
                                        : k > i         ? Mark::kBackwardHook
                                                        : Mark::kForwardHook;
        }
    i = to;
  }
}

}  // namespace undersong::song
