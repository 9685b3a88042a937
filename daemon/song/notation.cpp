#include "daemon/song/notation.h"

#include <algorithm>

#include "daemon/song/note_values.h"

namespace undersong::song {
namespace {

class BarWriter {
 public:
  BarWriter(Ticks from, Ticks length, std::vector<BarSpan> spans)
      : from_(from), to_(from + length), spans_(std::move(spans)) {
    tuplets_.assign(static_cast<std::size_t>((length.count() + 479) / 480), 0);
    for (const BarSpan& span : spans_) {
      see(span.begin);
      see(span.end);
    }
  }

  std::vector<Symbol> write() {
    for (const BarSpan& span : spans_) write(span);
    mark_tuplets();
    mark_beams(out_, [&](Ticks at) { return static_cast<std::int64_t>(beat(at)); });
    return std::move(out_);
  }

 private:
  std::int64_t within(Ticks at) const { return (at - from_).count() % 480; }
  std::size_t beat(Ticks at) const { return static_cast<std::size_t>((at - from_).count() / 480); }

  void see(Ticks at) {
    if (at >= to_ || within(at) % 60 == 0) return;
    int& parts = tuplets_[beat(at)];
    parts = within(at) % 160 == 0 ? std::max(parts, 3) : 6;
  }

  void write(const BarSpan& span) {
    for (Ticks at = span.begin; at < span.end;) {
      const Ticks length =
          next_length(at, span.end, span.note == nullptr, span.begin == from_ && span.end == to_);
      Symbol symbol;
      symbol.at = at;
      symbol.length = length;
      symbol.written = length.count();
      symbol.note = span.note;
      symbol.whole_bar = !span.note && span.begin == from_ && span.end == to_;
      std::int64_t nominal = length.count();
      if (const int parts = symbol.whole_bar ? 0 : tuplets_[beat(at)]; parts != 0) {
        nominal = nominal * 3 / 2;
        symbol.actual = parts;
        symbol.normal = parts == 3 ? 2 : 4;
      }
      if (const NoteValue* value = note_value(nominal)) symbol.type = value->type, symbol.dots = value->dots;
      if (span.note) {
        symbol.tied_before = at > span.note->at;
        symbol.tied_after = at + length < span.note->at + span.note->length;
      }
      out_.push_back(symbol);
      at += length;
    }
  }

  // The length of the next symbol, if the span from `at` to `end` is still to be written.
  Ticks next_length(Ticks at, Ticks end, bool rest, bool whole_bar) const {
    if (rest && whole_bar) return end - at;
    const std::size_t first = beat(at);
    const Ticks beat_end = from_ + static_cast<std::int64_t>(first + 1) * kBeat;
    if (tuplets_[first] != 0) {
      const std::int64_t left = (std::min(end, beat_end) - at).count();
      for (const std::int64_t size : {320, 240, 160, 80})
        if (size <= left) return Ticks(size);
      return Ticks(left);
    }
    Ticks plain_end = end;  // no further than the next tuplet
    for (std::size_t b = first; b < tuplets_.size(); ++b)
      if (tuplets_[b] != 0) {
        plain_end = std::min(plain_end, from_ + static_cast<std::int64_t>(b) * kBeat);
        break;
      }
    const std::int64_t left = (plain_end - at).count(), inside = within(at),
                       bar_beats = (to_ - from_).count() / 480;
    const bool middle_of_four = bar_beats == 4;
    if (inside == 0) {
      const auto b = static_cast<std::int64_t>(first);
      const bool on_half = !middle_of_four || b % 2 == 0;
      if (left >= 1920 && b == 0) return Ticks(1920);
      if (left >= 1440 && !rest && (b == 0 || (middle_of_four && b == 1 && left == 1440))) return Ticks(1440);
      if (left >= 960 && (rest ? on_half && middle_of_four : on_half || left == 960)) return Ticks(960);
      if (left == 720 && !rest && on_half) return Ticks(720);
      if (left >= 480) return kBeat;
    } else {
      const std::int64_t to_beat = 480 - inside;
      if (left > to_beat) {
        const bool crosses_middle = middle_of_four && first == 1;
        if (!rest && inside == 240 && left == 480 && !crosses_middle) return kBeat;
        return piece(inside, to_beat);
      }
    }
    return piece(inside, left);
  }

  // The longest note value that fits into `left` ticks within one beat.
  static Ticks piece(std::int64_t inside, std::int64_t left) {
    for (const NoteValue& value : note_values())
      if (value.length <= left && value.length < 480 && (value.dots == 0 || value.length == left) &&
          (value.length != 240 || inside % 120 == 0))
        return Ticks(value.length);
    return Ticks(left);
  }

  void mark_tuplets() {
    for (std::size_t i = 0; i < out_.size(); ++i) {
      if (out_[i].actual == 1) continue;
      if (i == 0 || beat(out_[i - 1].at) != beat(out_[i].at))
        out_[i].tuplet = Mark::kBegin;
      else if (i + 1 == out_.size() || beat(out_[i + 1].at) != beat(out_[i].at))
        out_[i].tuplet = Mark::kEnd;
    }
  }

  Ticks from_, to_;
  std::vector<BarSpan> spans_;
  std::vector<int> tuplets_;  // for each beat: 0 (none), 3 or 6 parts
  std::vector<Symbol> out_;
};

}  // namespace

std::vector<Symbol> write_bar(std::span<const WrittenNote> notes, Ticks from, Ticks length,
                              const Meter& meter, std::span<const Ticks> cuts) {
  std::vector<BarSpan> spans;
  const auto rest = [&](Ticks begin, Ticks end) {
    for (const Ticks cut : cuts)
      if (cut > begin && cut < end) {
        spans.push_back({begin, cut, nullptr});
        begin = cut;
      }
    spans.push_back({begin, end, nullptr});
  };
  Ticks at = from;
  const Ticks to = from + length;
  auto it = std::lower_bound(notes.begin(), notes.end(), from,
                             [](const WrittenNote& n, Ticks t) { return n.at + n.length <= t; });
  for (; it != notes.end() && it->at < to; ++it) {
    const Ticks begin = std::max(at, it->at), end = std::min(to, it->at + it->length);
    if (end <= begin) continue;
    if (begin > at) rest(at, begin);
    Ticks piece = begin;
    for (const Ticks cut : cuts)
      if (cut > piece && cut < end && (cut - from) % grid(meter.value) == Ticks(0)) {
        spans.push_back({piece, cut, &*it});
        piece = cut;
      }
    spans.push_back({piece, end, &*it});
    at = end;
  }
  if (at < to) rest(at, to);
  if (meter.value != BeatValue::kQuarter) return write_grouped_bar(spans, from, length, meter);
  return BarWriter(from, length, std::move(spans)).write();
}

}  // namespace undersong::song
