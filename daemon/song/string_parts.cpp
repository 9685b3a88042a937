#include "daemon/song/string_parts.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::song {
namespace {

using harmony::kStrings;

constexpr int kShortestPhrase = 2, kLongestPhrase = 8, kUsualPhrase = 4;  // bars
// The rest at the end of a phrase: an eighth note, or a quarter after a long one.
Ticks breath(BeatValue value, bool after_long) {
  if (value == BeatValue::kQuarter) return after_long ? Ticks(480) : Ticks(240);
  return grid(value);
}
constexpr Ticks kTooShortToShorten{480};
constexpr Ticks kLongForHalves = 2 * kBeat;  // shorter chords have no second half

// A chord, or half of one, as it is laid out.
struct Piece {
  std::size_t stretch = 0;
  const WrittenChord* chord = nullptr;
  Ticks at, until;
  bool second_half = false;
  std::optional<Pitch> tune{};  // the lowest melody note over it
};

std::optional<Pitch> lowest_note(std::span<const WrittenNote> tune, Ticks from, Ticks to) {
  std::optional<Pitch> out;
  for (const WrittenNote& note : tune) {
    if (note.at >= to) break;
    if (note.at + note.length > from && (!out || note.pitch < *out)) out = note.pitch;
  }
  return out;
}

int phrase_bars(int bars) {
  for (const int length : {kUsualPhrase, kLongestPhrase, 3, kShortestPhrase, 6, 5, 7})
    if (bars % length == 0 && bars >= length) return length;
  return kUsualPhrase;
}

// Where phrases begin, and the end of the last. A remainder of one bar belongs to the phrase before it.
std::vector<Ticks> phrase_edges(const PadStretch& stretch) {
  const auto bars = static_cast<int>((stretch.to - stretch.from) / stretch.bar);
  const int length = phrase_bars(bars);
  std::vector<Ticks> out{stretch.from};
  for (int bar = length; bar + kShortestPhrase <= bars; bar += length)
    out.push_back(stretch.from + bar * stretch.bar);
  out.push_back(stretch.to);
  return out;
}

// The loudness of a tune between two times, or of all of it.
std::optional<double> loudness(std::span<const WrittenNote> tune, Ticks from, Ticks to) {
  double sum = 0, count = 0;
  for (const WrittenNote& note : tune)
    if (note.at >= from && note.at < to) sum += note.velocity.value(), ++count;
  return count > 0 ? std::optional(sum / count) : std::nullopt;
}

// From pp to f, a degree softer than the tune.
constexpr std::array<const char*, 5> kDynamics{"pp", "p", "mp", "mf", "f"};
constexpr std::array<int, 5> kVelocities{38, 46, 56, 68, 80};
std::size_t dynamic_for(double velocity) {
  return velocity < 50 ? 0 : velocity < 72 ? 1 : velocity < 92 ? 2 : 3;
}

std::size_t dynamic_under(std::string_view tune) {
  for (std::size_t i = 0; i + 1 < kDynamics.size(); ++i)
    if (tune == kDynamics[i + 1]) return i;
  return tune == "ff" ? kDynamics.size() - 1 : 0;
}

class Writer {
 public:
  Writer(std::span<const PadStretch> stretches, harmony::PadStyle style)
      : stretches_(stretches), style_(style) {}

  PadRow write() {
    collect();
    std::vector<harmony::PadChord> chords;
    for (Piece& piece : pieces_) {
      piece.tune = lowest_note(stretches_[piece.stretch].tune, piece.at, piece.until);
      chords.push_back({piece.chord->chord, piece.tune, piece.second_half});
    }
    const harmony::StringPad pad = harmony::voice_strings(chords, style_);
    PadRow out;
    out.motion = pad.motion;
    out.parallels = pad.parallels;
    out.stretches.resize(stretches_.size());
    for (std::size_t s = 0; s < stretches_.size(); ++s) write_stretch(s, pad, out.stretches[s]);
    return out;
  }

 private:
  void collect() {
    for (std::size_t s = 0; s < stretches_.size(); ++s) {
      const PadStretch& stretch = stretches_[s];
      if (stretch.silent) continue;
      for (const WrittenChord& chord : stretch.chords) {
        const Ticks at = std::max(chord.at, stretch.from),
                    until = std::min(chord.at + chord.length, stretch.to);
        if (until <= at) continue;
        const Ticks middle = style_ == harmony::PadStyle::kMoving ? middle_of(stretch, at, until) : until;
        pieces_.push_back({s, &chord, at, middle, false});
        if (middle < until) pieces_.push_back({s, &chord, middle, until, true});
      }
    }
  }

  // Where the second half of a long chord begins; its end if it has none.
  static Ticks middle_of(const PadStretch& stretch, Ticks at, Ticks until) {
    if (stretch.meter.value != BeatValue::kEighth)
      return until - at >= kLongForHalves ? at + ((until - at) / (2 * kBeat)) * kBeat : until;
    Ticks best = until;  // the beginning of a group
    const auto off = [&](Ticks t) { return std::abs((2 * t - at - until).count()); };
    const Ticks bar = stretch.meter.bar();
    for (Ticks begin = at - at % bar; begin < until; begin += bar)
      for (const Ticks edge : stretch.meter.edges(bar))
        if (begin + edge > at && begin + edge < until && off(begin + edge) < off(best)) best = begin + edge;
    return best;
  }

  void write_stretch(std::size_t s, const harmony::StringPad& pad, PadVoices& out) const {
    const PadStretch& stretch = stretches_[s];
    if (stretch.silent || stretch.to <= stretch.from) return;
    const auto edges = phrase_edges(stretch);
    std::optional<std::size_t> before;
    for (std::size_t p = 0; p + 1 < edges.size(); ++p) {
      const auto loud = loudness(stretch.tune, edges[p], edges[p + 1]);
      const std::size_t dynamic = !stretch.dynamic.empty() ? dynamic_under(stretch.dynamic)
                                  : loud                   ? dynamic_for(*loud)
                                                           : before.value_or(1);
      if (before != dynamic) {
        if (before) {
          const Ticks half = edges[p] - ((edges[p] - edges[p - 1]) / (2 * kBeat)) * kBeat;
          if (half < edges[p] - kBeat) {
            out.directions.push_back({half, "", dynamic > *before ? Wedge::kLouder : Wedge::kSofter});
            out.directions.push_back({edges[p] - kBeat, "", Wedge::kEnd});
          }
        }
        out.directions.push_back({edges[p], kDynamics[dynamic], Wedge::kEnd});
      }
      before = dynamic;
      for (std::size_t voice = 0; voice < kStrings; ++voice)
        write_phrase(s, voice, edges[p], edges[p + 1], Velocity(kVelocities[dynamic]), pad, out.notes[voice]);
    }
  }

  void write_phrase(std::size_t s, std::size_t voice, Ticks from, Ticks to, Velocity velocity,
                    const harmony::StringPad& pad, std::vector<WrittenNote>& notes) const {
    const std::size_t first = notes.size();
    for (std::size_t i = 0; i < pieces_.size(); ++i) {
      const Piece& piece = pieces_[i];
      if (piece.stretch != s || piece.until <= from || piece.at >= to) continue;
      const Pitch pitch = pad.chords[i][voice];
      if (piece.tune && pitch >= *piece.tune) continue;  // the tune is too low for this voice, which rests
      const Ticks at = std::max(piece.at, from), until = std::min(piece.until, to);
      if (notes.size() > first && notes.back().pitch == pitch &&
          notes.back().at + notes.back().length == at &&
          (style_ != harmony::PadStyle::kChorale || piece.second_half)) {
        notes.back().length += until - at;
        continue;
      }
      WrittenNote note;
      note.pitch = pitch;
      note.name =
          harmony::plain_name(harmony::name_in(piece.chord->chord, piece.chord->root, pitch.pitch_class()));
      note.at = at;
      note.length = until - at;
      note.velocity = velocity;
      notes.push_back(note);
    }
    if (notes.size() == first) return;
    for (std::size_t i = first; i + 1 < notes.size(); ++i)
      notes[i].slurred =
          style_ != harmony::PadStyle::kChorale && notes[i].at + notes[i].length == notes[i + 1].at;
    WrittenNote& last = notes.back();
    if (stretches_[s].held && to == stretches_[s].to) return;
    if (last.at + last.length == to && last.length >= kTooShortToShorten)
      last.length -= breath(stretches_[s].meter.value, last.length > 2 * kBeat);
  }

  std::span<const PadStretch> stretches_;
  const harmony::PadStyle style_;
  std::vector<Piece> pieces_;
};

}  // namespace

PadRow pad_row(std::span<const PadStretch> stretches, harmony::PadStyle style) {
  return Writer(stretches, style).write();
}

StringParts string_parts(const Form& form, harmony::PadStyle style) {
  // For each part its own chords up to where endings begin, then the rest of them, then its endings.
  std::vector<PadStretch> stretches;
  for (const Part& part : form.parts) {
    const Meter meter = meter_of(form, part);
    const Ticks from = part.endings.empty() ? part.length : part.endings.front().from;
    const auto add = [&](const auto& chords, const auto& tune, Ticks begin, Ticks end) {
      stretches.push_back(
          {chords, tune, begin, end, meter.bar(), meter, !part.layers.pad, part.dynamic, part.fermata});
    };
    add(part.chords, part.melody, Ticks(0), from);
    add(part.chords, part.melody, from, part.length);
    for (const Ending& ending : part.endings) add(ending.chords, ending.melody, from, from + ending.length);
  }
  const PadRow row = pad_row(stretches, style);
  StringParts out;
  out.motion = row.motion;
  out.parallels = row.parallels;
  for (std::size_t voice = 0; voice < kStrings; ++voice) {
    Form& mine = out.voices[voice] = form;
    auto from = row.stretches.begin();
    for (Part& part : mine.parts) {
      part.melody = from->notes[voice];
      part.directions = from->directions;
      part.dynamic.clear();
      ++from;
      part.melody.insert(part.melody.end(), from->notes[voice].begin(), from->notes[voice].end());
      part.directions.insert(part.directions.end(), from->directions.begin(), from->directions.end());
      ++from;
      for (Ending& ending : part.endings) {
        ending.melody = from->notes[voice];
        ending.directions = from->directions;
        ++from;
      }
    }
  }
  return out;
}

}  // namespace undersong::song
