#include "daemon/song/strain.h"

#include <algorithm>
#include <cmath>

#include "daemon/song/feel.h"
#include "daemon/song/quantise.h"
#include "daemon/takes/median.h"

namespace undersong::song {
namespace {

constexpr double kNearlyFull = .8;        // a loop this many beats off whole bars still counts as whole bars
constexpr Micros kEarlyInStrain{60'000};  // a note at most this early belongs to the chord that follows

bool there(const takes::LoopPass::Place& place) {
  return place.end > place.begin;
}

std::int64_t notes_between(const std::vector<takes::PlayedNote>& melody, Micros begin, Micros end) {
  const auto before = [](const takes::PlayedNote& n, Micros t) { return n.at < t; };
  return std::lower_bound(melody.begin(), melody.end(), end - kEarlyInStrain, before) -
         std::lower_bound(melody.begin(), melody.end(), begin - kEarlyInStrain, before);
}

std::vector<PlayedInBeats> melody_in_beats(const std::vector<takes::PlayedNote>& melody, const BeatMap& map,
                                           double swing, Micros begin, Micros end, double from) {
  std::vector<PlayedInBeats> out;
  const auto place = [&](Micros t) { return as_two_to_one(map.beats_at(t), swing); };
  auto it = std::lower_bound(melody.begin(), melody.end(), begin - kEarlyInStrain,
                             [](const takes::PlayedNote& n, Micros t) { return n.at < t; });
  for (; it != melody.end() && it->at < end - kEarlyInStrain; ++it) {
    const double at = place(it->at) - from;
    if (!out.empty() && at <= out.back().at) continue;
    out.push_back({at, place(std::min(it->at + it->length, end)) - from, it->pitch, it->velocity});
  }
  return out;
}

// The bass of the same stretch, on the same beats. A note near a chord change belongs to it, as it is the one
// that made the chord be heard.
std::vector<WrittenNote> bass_of(const Heard& heard, const BeatMap& map, Micros begin, Micros end,
                                 double from, const Strain& strain, double seconds_a_beat) {
  if (!heard.bass) return {};
  // Less than the next place on paper.
  const Ticks near(heard.bars.beat == BeatValue::kDottedQuarter ? 120 : 160);
  auto out = quantise(melody_in_beats(*heard.bass, map, heard.bars.swing, begin, end, from), strain.length,
                      seconds_a_beat, heard.bars.beat);
  for (const WrittenChord& chord : strain.chords) {
    auto nearest = out.end();
    for (auto note = out.begin(); note != out.end(); ++note)
      if (note->at >= chord.at - near && note->at <= chord.at + near &&
          (nearest == out.end() ||
           std::abs((note->at - chord.at).count()) < std::abs((nearest->at - chord.at).count())))
        nearest = note;
    if (nearest == out.end() || nearest->at == chord.at) continue;
    const Ticks until = nearest->at + nearest->length;
    if (until <= chord.at) continue;
    if (nearest != out.begin()) {  // the note before lasts until this one, or as long as it did
      WrittenNote& before = *(nearest - 1);
      const bool joined = before.at + before.length == nearest->at;
      if (before.at >= chord.at) continue;
      if (joined || before.at + before.length > chord.at) before.length = chord.at - before.at;
    }
    nearest->at = chord.at;
    nearest->length = until - chord.at;
  }
  return out;
}

// The length of the bars for one chord where there is no pulse: at least a sixteenth for each note.
Ticks room(std::int64_t notes) {
  return std::max<std::int64_t>(1, (notes + 15) / 16) * 4 * kBeat;
}

// Removes chords that do not advance or only repeat the one before. Each lasts until the next.
void settle_chords(std::vector<WrittenChord>& chords, Ticks length) {
  std::vector<WrittenChord> out;
  for (const WrittenChord& chord : chords) {
    if (chord.at >= length) continue;
    if (!out.empty() && out.back().at >= chord.at) out.pop_back();
    if (!out.empty() && out.back().chord == chord.chord) continue;
    out.push_back(chord);
  }
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i].length = (i + 1 < out.size() ? out[i + 1].at : length) - out[i].at;
  chords = std::move(out);
}

Strain free_stretch(const Heard& heard, std::size_t first, std::size_t last) {
  Strain out;
  out.free = true;
  for (std::size_t i = first; i < last; ++i) {
    const takes::ChordSpan& span = heard.take.spans[i];
    const Ticks length = room(notes_between(heard.melody, span.begin, span.end));
    const BeatMap map({{span.begin, out.length}, {span.end, out.length + length}});
    auto notes =
        place_freely(melody_in_beats(heard.melody, map, 1, span.begin, span.end, out.length.beats()), length);
    for (WrittenNote& note : notes) note.at += out.length;
    out.melody.insert(out.melody.end(), notes.begin(), notes.end());
    out.chords.push_back({span.chord, span.root, out.length, length});
    out.length += length;
  }
  return out;
}

Strain stretch_on_beats(const Heard& heard, std::size_t first, std::size_t last, bool fill_front) {
  Strain out;
  const auto& spans = heard.take.spans;
  const BeatMap& map = heard.bars.map;
  auto from = std::llround(map.beats_at(spans[first].begin)),
       to = std::max(from + 1, std::llround(map.beats_at(spans[last - 1].end)));
  if (const auto over = (to - from) % heard.bars.meter; over != 0)
    (fill_front ? from : to) += (fill_front ? -1 : 1) * (heard.bars.meter - over);
  out.length = (to - from) * kBeat;
  for (std::size_t i = first; i < last; ++i) {
    const Ticks at = on_grid(map.beats_at(spans[i].begin) - static_cast<double>(from), heard.bars.beat);
    out.chords.push_back({spans[i].chord, spans[i].root, std::max(Ticks(0), at), {}});
  }
  settle_chords(out.chords, out.length);
  out.melody = quantise(melody_in_beats(heard.melody, map, heard.bars.swing, spans[first].begin,
                                        spans[last - 1].end, static_cast<double>(from)),
                        out.length, heard.bars.seconds_a_beat, heard.bars.beat);
  out.bass = bass_of(heard, map, spans[first].begin, spans[last - 1].end, static_cast<double>(from), out,
                     heard.bars.seconds_a_beat);
  return out;
}

// Uses the beats of the pass where all of them were heard; elsewhere it is straight from chord to chord.
BeatMap map_of(const takes::LoopPass& pass, const Cycle& cycle, const BeatMap& take) {
  std::vector<Anchor> anchors;
  for (std::size_t p = 0; p < pass.places.size(); ++p) {
    const auto& place = pass.places[p];
    if (!there(place)) continue;
    const Ticks begin = cycle.starts[p],
                end = p + 1 < cycle.starts.size() ? cycle.starts[p + 1] : cycle.length;
    anchors.push_back({place.begin, begin});
    if (!cycle.free && begin % kBeat == Ticks(0)) {
      const Micros beat =
          Micros(std::llround(1e6 * seconds(place.end - place.begin) / std::max(.5, (end - begin).beats())));
      std::vector<Micros> inner;
      const auto& beats = take.anchors();
      auto it = std::upper_bound(beats.begin(), beats.end(), place.begin + beat / 3,
                                 [](Micros t, const Anchor& a) { return t < a.at; });
      for (; it != beats.end() && it->at < place.end - beat / 3; ++it) inner.push_back(it->at);
      if (static_cast<std::int64_t>(inner.size()) == ((end - begin).count() + 479) / 480 - 1)
        for (std::size_t i = 0; i < inner.size(); ++i)
          anchors.push_back({inner[i], begin + static_cast<std::int64_t>(i + 1) * kBeat});
    }
    if (p + 1 == cycle.starts.size()) anchors.push_back({place.end, end});
  }
  return BeatMap(std::move(anchors));
}

}  // namespace

Cycle cycle_of(const takes::Loop& loop, const Bars& bars, const std::vector<takes::PlayedNote>& melody) {
  Cycle out;
  const std::size_t k = loop.chords.size();
  out.free = !bars.pulse;
  if (out.free) {
    for (std::size_t p = 0; p < k; ++p) {
      std::int64_t most = 0;
      for (const auto& pass : loop.passes)
        most = std::max(most, notes_between(melody, pass.places[p].begin, pass.places[p].end));
      out.starts.push_back(out.length);
      out.length += room(most);
    }
    return out;
  }
  std::vector<double> cumulated{0};
  for (std::size_t p = 0; p < k; ++p) {
    std::vector<double> lengths;
    for (const auto& pass : loop.passes)
      if (there(pass.places[p]) && !pass.places[p].more && !pass.cut)
        lengths.push_back(bars.map.beats_at(pass.places[p].end) - bars.map.beats_at(pass.places[p].begin));
    const double usual = loop.chords[p].beats > 0 ? loop.chords[p].beats
                                                  : seconds(loop.chords[p].length) / bars.seconds_a_beat;
    cumulated.push_back(cumulated.back() + std::max(.5, lengths.empty() ? usual : takes::median(lengths)));
  }
  const double all = cumulated.back(), full = bars.meter * std::max(1., std::round(all / bars.meter));
  const double length = std::abs(full - all) <= kNearlyFull ? full : std::max(1., std::round(all));
  for (std::size_t p = 0; p <= k; ++p) {
    const double at = cumulated[p] * length / all, whole = std::round(at);
    Ticks tick(480 * std::llround(whole));
    if (std::abs(at - whole) > (bars.beat == BeatValue::kDottedQuarter ? .2 : .3))
      tick = on_grid(at, bars.beat);
    if (p > 0 && tick <= (p == k ? out.starts.back() : out.starts[p - 1]))
      tick = out.starts[p - 1] + grid(bars.beat);
    if (p < k)
      out.starts.push_back(tick);
    else
      out.length = Ticks(480 * ((tick.count() + 479) / 480));
  }
  return out;
}

namespace {

// The bar line at or before `at`, or `later` bars further on. A pickup bar is skipped, because it belongs to
// what comes before.
Ticks bar_line(const Bars& bars, Micros at, std::size_t later) {
  std::size_t bar = bars.bar_at(Ticks(480 * std::llround(bars.map.beats_at(at)))) + later;
  if (bar == 0 && bars.bars.size() > 1 && bars.bars[0].beats < bars.meter) bar = 1;
  return bar < bars.bars.size() ? bars.bars[bar].at : bars.end();
}

// True if somebody said where bars begin, and `at` is not such a place.
bool begins_within_bar(const Bars& bars, Micros at) {
  return bars.pulse && bars.barred &&
         Ticks(480 * std::llround(bars.map.beats_at(at))) != bar_line(bars, at, 0);
}

}  // namespace

Strain write_pass(const Heard& heard, const takes::Loop& loop, const takes::LoopPass& pass,
                  const Cycle& cycle) {
  Strain out;
  const bool whole = !pass.cut && std::all_of(pass.places.begin(), pass.places.end(), [](const auto& place) {
    return there(place) && place.more == 0;
  });
  if (begins_within_bar(heard.bars, pass.begin)) {
    // Only the last pass includes its last bar; in other passes that bar belongs to the next pass.
    const Ticks from = bar_line(heard.bars, pass.begin, 0),
                to = bar_line(heard.bars, pass.end, &pass == &loop.passes.back() ? 1 : 0);
    if (to > from) {
      out = write_bars(heard, from, to);
      out.whole = whole;
      out.transposed = pass.transposed;
      return out;
    }
  }
  if (!whole) {
    const auto& spans = heard.take.spans;
    const auto at = [](const takes::ChordSpan& s, Micros t) { return s.begin < t; };
    const auto first = static_cast<std::size_t>(std::lower_bound(spans.begin(), spans.end(), pass.begin, at) -
                                                spans.begin());
    const auto last =
        static_cast<std::size_t>(std::lower_bound(spans.begin(), spans.end(), pass.end, at) - spans.begin());
    if (last > first) out = write_stretch(heard, first, last, false);
    out.begin = pass.begin;
    out.end = pass.end;
    out.transposed = pass.transposed;
    return out;
  }
  out.whole = true;
  out.transposed = pass.transposed;
  out.free = cycle.free;
  out.length = cycle.length;
  out.begin = pass.begin;
  out.end = pass.end;
  for (std::size_t p = 0; p < cycle.starts.size(); ++p) {
    const auto& other = pass.places[p].instead;
    WrittenChord chord{other ? other->chord : loop.chords[p].chord,
                       other ? other->root : loop.chords[p].root,
                       cycle.starts[p],
                       {}};
    if (!other && pass.transposed != 0) {
      chord.chord.root = transpose(chord.chord.root, pass.transposed);
      chord.chord.bass = transpose(chord.chord.bass, pass.transposed);
      chord.root = harmony::spell_within(chord.chord.root, -5);
    }
    out.chords.push_back(chord);
  }
  settle_chords(out.chords, out.length);
  const BeatMap map = map_of(pass, cycle, heard.bars.map);
  if (!cycle.free) {
    const double beat = seconds(pass.end - pass.begin) / cycle.length.beats();
    out.melody = quantise(melody_in_beats(heard.melody, map, heard.bars.swing, pass.begin, pass.end, 0),
                          cycle.length, beat, heard.bars.beat);
    out.bass = bass_of(heard, map, pass.begin, pass.end, 0, out, beat);
    return out;
  }
  for (std::size_t p = 0; p < cycle.starts.size(); ++p) {
    const Ticks begin = cycle.starts[p],
                length = (p + 1 < cycle.starts.size() ? cycle.starts[p + 1] : cycle.length) - begin;
    auto notes = place_freely(
        melody_in_beats(heard.melody, map, 1, pass.places[p].begin, pass.places[p].end, begin.beats()),
        length);
    for (WrittenNote& note : notes) note.at += begin;
    out.melody.insert(out.melody.end(), notes.begin(), notes.end());
  }
  return out;
}

Strain write_bars(const Heard& heard, Ticks from, Ticks to) {
  Strain out;
  const BeatMap& map = heard.bars.map;
  out.length = to - from;
  out.begin = map.time_at(from);
  out.end = map.time_at(to);
  for (const takes::ChordSpan& span : heard.take.spans) {
    const Ticks at = on_grid(map.beats_at(span.begin), heard.bars.beat),
                until = on_grid(map.beats_at(span.end), heard.bars.beat);
    if (until > from && at < to)
      out.chords.push_back({span.chord, span.root, std::max(at - from, Ticks(0)), {}});
  }
  settle_chords(out.chords, out.length);
  out.melody =
      quantise(melody_in_beats(heard.melody, map, heard.bars.swing, out.begin, out.end, from.beats()),
               out.length, heard.bars.seconds_a_beat, heard.bars.beat);
  out.bass = bass_of(heard, map, out.begin, out.end, from.beats(), out, heard.bars.seconds_a_beat);
  return out;
}

Strain write_stretch(const Heard& heard, std::size_t first, std::size_t last, bool fill_front) {
  const Micros begin = heard.take.spans[first].begin, end = heard.take.spans[last - 1].end;
  bool free = !heard.bars.pulse;
  if (!free) {  // most of its bars must have beats
    double heard_bars = 0, bars = 0;
    // By the nearest beats: what begins just before a bar line belongs behind it.
    const auto beat = [&](Micros at) { return Ticks(480 * std::llround(heard.bars.map.beats_at(at))); };
    const auto from = heard.bars.bar_at(beat(begin)),
               to = std::max(from, heard.bars.bar_at(beat(end) - Ticks(1)));
    for (std::size_t b = from; b <= to; ++b) bars += 1, heard_bars += !heard.bars.free[b];
    free = heard_bars < .7 * bars;
  }
  Strain out = free ? free_stretch(heard, first, last) : stretch_on_beats(heard, first, last, fill_front);
  out.begin = begin;
  out.end = end;
  return out;
}

}  // namespace undersong::song
