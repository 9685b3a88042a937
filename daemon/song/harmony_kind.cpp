#include "daemon/song/harmony_kind.h"

#include <algorithm>
#include <optional>

namespace undersong::song {
namespace {

using harmony::Degree;

struct Kind {
  std::string_view name, degrees;
};
// If several kinds need equally few changes, the first one is used.
constexpr Kind kKinds[] = {
    {"dominant", "1 3 5 b7"},
    {"major-seventh", "1 3 5 7"},
    {"minor-seventh", "1 b3 5 b7"},
    {"half-diminished", "1 b3 b5 b7"},
    {"diminished-seventh", "1 b3 b5 bb7"},
    {"augmented-seventh", "1 3 #5 b7"},
    {"major-minor", "1 b3 5 7"},
    {"major", "1 3 5"},
    {"minor", "1 b3 5"},
    {"augmented", "1 3 #5"},
    {"diminished", "1 b3 b5"},
    {"suspended-fourth", "1 4 5"},
    {"suspended-second", "1 2 5"},
    {"major-sixth", "1 3 5 6"},
    {"minor-sixth", "1 b3 5 6"},
    {"dominant-ninth", "1 3 5 b7 9"},
    {"major-ninth", "1 3 5 7 9"},
    {"minor-ninth", "1 b3 5 b7 9"},
    {"power", "1 5"},
    {"dominant-11th", "1 3 5 b7 9 11"},
    {"major-11th", "1 3 5 7 9 11"},
    {"minor-11th", "1 b3 5 b7 9 11"},
    {"dominant-13th", "1 3 5 b7 9 11 13"},
    {"major-13th", "1 3 5 7 9 11 13"},
    {"minor-13th", "1 b3 5 b7 9 11 13"},
};

std::vector<Degree> parse(std::string_view list) {
  std::vector<Degree> out;
  while (!list.empty()) {
    const auto space = list.find(' ');
    out.push_back(*harmony::parse_degree(list.substr(0, space)));
    list = space == std::string_view::npos ? std::string_view{} : list.substr(space + 1);
  }
  return out;
}

// Players leave out the eleventh of a thirteenth chord without being told to; programs that print every
// change would write "13no11".
bool goes_without_saying(std::string_view kind, const DegreeChange& change) {
  return kind.ends_with("13th") && change.type == "subtract" && change.value == 11;
}

// How many changes a musician would notice. With other changes of an eleventh chord, or of the third of a
// thirteenth, another kind reads better.
std::optional<std::size_t> price(std::string_view kind, const std::vector<DegreeChange>& needed) {
  if (kind.ends_with("11th") && !needed.empty()) return std::nullopt;
  if (!kind.ends_with("13th")) return needed.size();
  std::size_t count = 0;
  for (const DegreeChange& change : needed) {
    if (change.value == 3 || change.value == 4) return std::nullopt;
    count += !goes_without_saying(kind, change);
  }
  return count;
}

std::vector<DegreeChange> changes(std::vector<Degree> from, std::vector<Degree> to) {
  // Degrees in both lists need no change.
  for (auto it = from.begin(); it != from.end();) {
    const auto same = std::find(to.begin(), to.end(), *it);
    if (same == to.end()) {
      ++it;
      continue;
    }
    to.erase(same);
    it = from.erase(it);
  }
  std::vector<DegreeChange> out;
  for (auto it = from.begin(); it != from.end();) {
    const auto other =
        std::find_if(to.begin(), to.end(), [&](Degree d) { return d.number == it->number && d.number >= 5; });
    if (other == to.end()) {
      out.push_back({"subtract", it->number, 0});
    } else {
      out.push_back({"alter", it->number, other->alter - it->alter});
      to.erase(other);
    }
    it = from.erase(it);
  }
  for (const Degree degree : to)
    out.push_back({"add", degree.number, degree.alter + (degree.number == 7 ? 1 : 0)});
  return out;
}

}  // namespace

HarmonyKind harmony_kind(const harmony::QualityRow& row) {
  const std::vector<Degree> wanted(row.degrees.begin(), row.degrees.end());
  HarmonyKind best;
  std::optional<std::size_t> least;
  for (const Kind& kind : kKinds) {
    auto needed = changes(parse(kind.degrees), wanted);
    const auto cost = price(kind.name, needed);
    if (!cost || (least && *cost >= *least)) continue;
    least = cost;
    best = {kind.name, std::move(needed)};
  }
  std::erase_if(best.degrees, [&](const DegreeChange& c) { return goes_without_saying(best.kind, c); });
  return best;
}

}  // namespace undersong::song
