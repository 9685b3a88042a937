#include "daemon/song/bass_voice.h"

#include <algorithm>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/song/bass_line.h"
#include "daemon/song/consensus.h"
#include "daemon/song/slashes.h"

namespace undersong::song {
namespace {

constexpr Velocity kBassSoft{60};
constexpr Ticks kLate{120};  // a line that begins at most so late begins with the chord

WrittenNote held_bass(const WrittenChord& chord, Ticks at, Ticks until) {
  WrittenNote note;
  note.pitch = Pitch(kLowestBass + ascending(PitchClass(kLowestBass), chord.chord.bass));
  note.name = harmony::bass_name(chord.chord, chord.root);
  note.at = at;
  note.length = until - at;
  note.velocity = kBassSoft;
  return note;
}

bool in_bars(const std::vector<Ticks>& bars, Ticks bar, Ticks at) {
  return std::any_of(bars.begin(), bars.end(), [&](Ticks from) { return at >= from && at < from + bar; });
}

}  // namespace

BassLine agreed_bass(const std::vector<std::vector<WrittenNote>>& lines, Ticks from, Ticks to, Ticks bar) {
  BassLine out;
  Agreement found = agreement_of(lines);
  for (Ticks at = from; at < to; at += bar) {
    const auto here = [&](Ticks t) { return t >= at && t < at + bar; };
    const auto disputed = std::count_if(found.disputed.begin(), found.disputed.end(), here);
    std::vector<WrittenNote*> agreed;
    for (WrittenNote& note : found.notes)
      if (here(note.at)) agreed.push_back(&note);
    if (disputed > 0 && agreed.empty()) out.slashes.push_back(at);
    if (disputed <= static_cast<std::ptrdiff_t>(agreed.size())) continue;
    // Little is agreed on here, so that little is held: single short notes would not be what anybody played.
    for (std::size_t i = 0; i < agreed.size(); ++i)
      agreed[i]->length =
          (i + 1 < agreed.size() ? agreed[i + 1]->at : std::min(at + bar, to)) - agreed[i]->at;
  }
  out.notes = std::move(found.notes);
  return out;
}

std::vector<WrittenNote> bass_voice(std::span<const WrittenChord> chords, const BassLine& line,
                                    const Meter& meter, bool slashes) {
  const Ticks bar = meter.bar();
  std::vector<WrittenNote> out;
  // The written line, cut where slashes begin.
  for (WrittenNote note : line.notes) {
    for (const Ticks at : line.slashes)
      if (note.at < at) note.length = std::min(note.length, at - note.at);
    out.push_back(std::move(note));
  }
  const auto written = std::move(out);
  out.clear();
  std::size_t next = 0;
  for (const WrittenChord& chord : chords) {
    const Ticks end = chord.at + chord.length;
    if (chord.length <= Ticks(0)) continue;
    for (Ticks at = chord.at; at < end;) {
      if (in_bars(line.slashes, bar, at)) {
        const Ticks bar_end = *std::find_if(line.slashes.begin(), line.slashes.end(), [&](Ticks from) {
          return at >= from && at < from + bar;
        }) + bar;
        const Ticks until = std::min(end, bar_end);
        if (!slashes) out.push_back(held_bass(chord, at, until));
        if (slashes) {
          const auto beats = song::slashes(chords, at, until, meter, SlashLine::kBass);
          out.insert(out.end(), beats.begin(), beats.end());
        }
        at = until;
        continue;
      }
      while (next < written.size() && written[next].at < at) ++next;
      Ticks until = end;
      for (const Ticks from : line.slashes)
        if (from > at) until = std::min(until, from);
      const bool sounds = !out.empty() && out.back().at + out.back().length > at;
      const bool begins = next < written.size() && written[next].at <= at + kLate;
      if (!sounds && !begins) {
        const Ticks line_begins = next < written.size() ? written[next].at : until;
        out.push_back(held_bass(chord, at, std::min(until, line_begins)));
      }
      for (; next < written.size() && written[next].at < until; ++next) out.push_back(written[next]);
      at = until;
    }
  }
  for (std::size_t i = 0; i + 1 < out.size(); ++i)
    out[i].length = std::min(out[i].length, out[i + 1].at - out[i].at);
  std::erase_if(out, [](const WrittenNote& note) { return note.length <= Ticks(0); });
  return out;
}

}  // namespace undersong::song
