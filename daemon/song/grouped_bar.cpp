// Bars whose beats are dotted quarters (6/8) or eighths in groups (7/8).
#include <algorithm>

#include "daemon/song/note_values.h"

namespace undersong::song {
namespace {

constexpr std::int64_t kEighth = 240;

// Works in lengths on paper, counted from the bar line.
class GroupedBar {
 public:
  GroupedBar(Ticks from, Ticks length, const Meter& meter) : from_(from), length_(length), meter_(meter) {
    for (const Ticks edge : meter.edges(length)) edges_.push_back(written(edge, meter.value));
  }

  void write(const BarSpan& span, std::vector<Symbol>& out) const {
    const bool whole_rest = !span.note && span.begin == from_ && span.end == from_ + length_;
    const std::int64_t end = paper(span.end);
    for (std::int64_t at = paper(span.begin); at < end;) {
      const std::int64_t length = whole_rest ? end - at : next_length(at, end, span.note == nullptr);
      Symbol symbol;
      symbol.at = from_ + ticks(at);
      symbol.length = from_ + ticks(at + length) - symbol.at;
      symbol.written = length;
      symbol.note = span.note;
      symbol.whole_bar = whole_rest;
      if (const NoteValue* value = note_value(length)) symbol.type = value->type, symbol.dots = value->dots;
      if (span.note) {
        symbol.tied_before = symbol.at > span.note->at;
        symbol.tied_after = symbol.at + symbol.length < span.note->at + span.note->length;
      }
      out.push_back(symbol);
      at += length;
    }
  }

  std::int64_t group(Ticks at) const { return group_of(paper(at)); }

 private:
  std::int64_t paper(Ticks at) const { return written(at - from_, meter_.value); }
  Ticks ticks(std::int64_t paper) const {
    return Ticks(paper * quarters_under(meter_.value) / quarters_over(meter_.value));
  }
  std::int64_t group_of(std::int64_t at) const {
    return std::upper_bound(edges_.begin(), edges_.end() - 1, at) - edges_.begin() - 1;
  }

  // The length of the next symbol if all from `at` to `end` is still to be written.
  std::int64_t next_length(std::int64_t at, std::int64_t end, bool rest) const {
    const auto first = static_cast<std::size_t>(group_of(at));
    if (edges_[first] == at)
      if (const std::int64_t groups = whole_groups(first, end, rest); groups > 0) return groups;
    return within_group(at - edges_[first], std::min(end, edges_[first + 1]) - at, rest);
  }

  // The longest run of whole groups that one value can show, 0 if there is none.
  std::int64_t whole_groups(std::size_t first, std::int64_t end, bool rest) const {
    const bool compound = meter_.value == BeatValue::kDottedQuarter;
    std::int64_t best = 0;
    for (std::size_t last = first + 1; last < edges_.size() && edges_[last] <= end; ++last) {
      const std::int64_t length = edges_[last] - edges_[first];
      const std::size_t count = last - first;
      // Halves of a bar of four beats stay visible, and rests show every beat outside them.
      const bool halves = edges_.size() != 5 || first % 2 == 0;
      const bool shows = count == 1 || (rest ? compound && edges_.size() == 5 && first % 2 == 0 : halves);
      if (shows && note_value(length)) best = length;
    }
    return best;
  }

  // `inside`: from the beginning of the group. The longest value whose place lets the eighths be seen.
  static std::int64_t within_group(std::int64_t inside, std::int64_t left, bool rest) {
    for (const NoteValue& value : note_values()) {
      if (value.length > left) continue;
      const bool dotted = value.dots > 0;
      if (dotted && (rest || value.length != left) && value.length > kEighth) {
        // A dotted eighth before a sixteenth, on an eighth.
        if (rest || value.length != 3 * kEighth / 2 || inside % kEighth != 0) continue;
      }
      if (dotted && value.length < kEighth && value.length != left) continue;
      if (value.length == 2 * kEighth && inside % kEighth != 0) continue;
      if (value.length == 2 * kEighth && rest && inside != 0) continue;
      if (value.length == kEighth && inside % kEighth != 0 && (rest || value.length != left)) continue;
      return value.length;
    }
    return left;
  }

  const Ticks from_, length_;
  const Meter& meter_;
  std::vector<std::int64_t> edges_;  // of the groups, and the end
};

}  // namespace

std::vector<Symbol> write_grouped_bar(const std::vector<BarSpan>& spans, Ticks from, Ticks length,
                                      const Meter& meter) {
  const GroupedBar bar(from, length, meter);
  std::vector<Symbol> out;
  for (const BarSpan& span : spans) bar.write(span, out);
  mark_beams(out, [&](Ticks at) { return bar.group(at); });
  return out;
}

}  // namespace undersong::song
