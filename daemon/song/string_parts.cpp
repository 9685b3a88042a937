#include "daemon/song/string_parts.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::song {
namespace {

using harmony::kStrings;

constexpr int kShortestPhrase = 2, kLongestPhrase = 8, kUsualPhrase = 4;  // bars
// The rest at the end of a phrase: an eighth note, or a quarter after a long one.
Ticks bow_breath(BeatValue value, bool after_long) {
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
  Writer(std::span<const PadStretch> stretches, const StringsWish& wish)
      : stretches_(stretches), style_(wish.style), divisi_(wish.divisi) {}

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
    if (divisi_)
      for (const std::size_t voice : kDividing) divide(voice, pad, out);
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
      last.length -= bow_breath(stretches_[s].meter.value, last.length > 2 * kBeat);
  }

  // Gives a voice a second line below its own where its chords have a tone that nobody plays.
  void divide(std::size_t voice, const harmony::StringPad& pad, PadRow& row) const {
    std::optional<Pitch> before;
    bool divided = false;
    for (std::size_t s = 0; s < row.stretches.size(); ++s) {
      PadVoices& voices = row.stretches[s];
      for (WrittenNote& note : voices.notes[voice]) {
        const auto second = second_line(s, voice, note, pad, voices, before);
        if (second.has_value() != divided) {
          divided = second.has_value();
          voices.words[voice].push_back({note.at, "", Wedge::kEnd, divided ? "div." : "unis."});
        }
        before = second;
        if (!second) continue;
        note.above.push_back({note.pitch, note.name});
        note.pitch = *second;
        note.name = name_over(s, note, *second);
      }
    }
  }

  harmony::NoteName name_over(std::size_t s, const WrittenNote& note, Pitch pitch) const {
    const auto piece = std::find_if(pieces_.begin(), pieces_.end(), [&](const Piece& each) {
      return each.stretch == s && each.until > note.at && each.at < note.at + note.length;
    });
    return harmony::plain_name(
        harmony::name_in(piece->chord->chord, piece->chord->root, pitch.pitch_class()));
  }

  // What could be played below a note: a tone of every chord under it that no voice has, between the voice
  // below and this one, near to what came before.
  std::optional<Pitch> second_line(std::size_t s, std::size_t voice, const WrittenNote& note,
                                   const harmony::StringPad& pad, const PadVoices& voices,
                                   std::optional<Pitch> before) const {
    constexpr int kNearest = 2, kFurthest = 9;
    harmony::PitchClassSet tones(0xFFF), played(0);
    Pitch floor = harmony::kStringRanges[voice].lowest;
    for (std::size_t i = 0; i < pieces_.size(); ++i) {
      const Piece& piece = pieces_[i];
      if (piece.stretch != s || piece.until <= note.at || piece.at >= note.at + note.length) continue;
      const harmony::Chord& chord = piece.chord->chord;
      tones = tones & harmony::row(chord.quality).tones.transposed(chord.root.value());
      for (const Pitch pitch : pad.chords[i]) played.insert(pitch.pitch_class());
      floor = std::max(floor, Pitch(pad.chords[i][voice - 1].value() + 1));
    }
    for (std::size_t other = 0; other < harmony::kStrings; ++other)  // second lines that are there already
      for (const WrittenNote& each : voices.notes[other])
        if (!each.above.empty() && each.at < note.at + note.length && each.at + each.length > note.at)
          played.insert(each.pitch.pitch_class());
    std::optional<Pitch> best;
    const auto away = [&](Pitch pitch) {
      return before ? std::abs(pitch.value() - before->value()) : note.pitch.value() - pitch.value();
    };
    for (int key = note.pitch.value() - kNearest; key >= note.pitch.value() - kFurthest; --key) {
      const Pitch pitch(key);
      if (pitch < floor || !tones.contains(pitch.pitch_class()) || played.contains(pitch.pitch_class()))
        continue;
      if (!best || away(pitch) < away(*best)) best = pitch;
    }
    return best;
  }

  static constexpr std::array<std::size_t, 2> kDividing{3, 1};  // violins I, violas
  std::span<const PadStretch> stretches_;
  const harmony::PadStyle style_;
  const bool divisi_;
  std::vector<Piece> pieces_;
};

}  // namespace

PadRow pad_row(std::span<const PadStretch> stretches, const StringsWish& wish) {
  return Writer(stretches, wish).write();
}

StringParts string_parts(const Form& form, const StringsWish& wish) {
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
  const PadRow row = pad_row(stretches, wish);
  const auto said = [](const PadVoices& voices, std::size_t voice) {
    std::vector<Direction> all = voices.directions;
    all.insert(all.end(), voices.words[voice].begin(), voices.words[voice].end());
    std::stable_sort(all.begin(), all.end(),
                     [](const Direction& a, const Direction& b) { return a.at < b.at; });
    return all;
  };
  StringParts out;
  out.motion = row.motion;
  out.parallels = row.parallels;
  for (std::size_t voice = 0; voice < kStrings; ++voice) {
    Form& mine = out.voices[voice] = form;
    auto from = row.stretches.begin();
    for (Part& part : mine.parts) {
      part.melody = from->notes[voice];
      part.directions = said(*from, voice);
      part.dynamic.clear();
      ++from;
      part.melody.insert(part.melody.end(), from->notes[voice].begin(), from->notes[voice].end());
      const auto more = said(*from, voice);
      part.directions.insert(part.directions.end(), more.begin(), more.end());
      ++from;
      for (Ending& ending : part.endings) {
        ending.melody = from->notes[voice];
        ending.directions = said(*from, voice);
        ++from;
      }
    }
  }
  return out;
}

}  // namespace undersong::song
