#include "daemon/takes/heard_take.h"

#include <algorithm>
#include <map>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "daemon/takes/corrected_chords.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/timeline.h"

namespace undersong::takes {
namespace {

// The root without double accidentals, because chords far apart in the take are compared.
harmony::NoteName plain(harmony::NoteName name) {
  int fifths = name.fifths();
  while (fifths < -6) fifths += 12;
  while (fifths > 6) fifths -= 12;
  return harmony::NoteName(fifths);
}

std::vector<HeardNote> bass_strikes(const std::vector<PlayedNote>& notes) {
  constexpr Micros kRoll{200'000}, kHandOver{40'000};
  std::vector<HeardNote> out;
  for (std::size_t i = 0; i < notes.size(); ++i) {
    const PlayedNote& note = notes[i];
    if (note.pitch >= Pitch(60)) continue;
    bool lowest = true;
    for (std::size_t k = i; lowest && k-- > 0 && note.at - notes[k].at < Micros(12'000'000);) {
      const Micros left = notes[k].at + notes[k].length - note.at;
      // A lower note that ends just as this one begins does not count.
      if (notes[k].pitch < note.pitch && (left > kHandOver || note.at - notes[k].at < kRoll)) lowest = false;
    }
    for (std::size_t k = i + 1; lowest && k < notes.size() && notes[k].at - note.at < kChordTogether; ++k)
      if (notes[k].pitch < note.pitch) lowest = false;
    if (lowest) out.push_back({note.at, note.pitch});
  }
  return out;
}

bool strikes_once_a_chord(const std::vector<HeardChord>& chords, const std::vector<HeardNote>& bass,
                          Micros end) {
  std::vector<int> counts;
  std::size_t b = 0;
  for (std::size_t i = 0; i < chords.size();) {
    std::size_t j = i + 1;
    while (j < chords.size() && chords[j].chord.root == chords[i].chord.root) ++j;
    const Micros until = j < chords.size() ? chords[j].at - kChordTogether : end;
    int count = 0;
    while (b < bass.size() && bass[b].at < until) count += bass[b++].at >= chords[i].at - kChordTogether;
    counts.push_back(count);
    i = j;
  }
  if (counts.empty()) return false;
  std::nth_element(counts.begin(), counts.begin() + static_cast<std::ptrdiff_t>(counts.size() / 2),
                   counts.end());
  return counts[counts.size() / 2] <= 1;
}

struct Piece {
  Micros begin{}, end{};
  int bass = -1;  // pitch class of the bass note struck here, or -1
  std::map<int, Micros> roots;
};

std::vector<ChordSpan> spans_of(const HeardTake& take, Micros end) {
  const auto& chords = take.chords;
  std::vector<ChordSpan> out;
  if (chords.empty()) return out;
  // The places where a new statement may begin.
  std::vector<std::pair<Micros, int>> at;  // when; pitch class of the bass struck there, or -1
  const bool once = strikes_once_a_chord(chords, take.bass, end);
  for (const HeardNote& strike : take.bass)
    if (once && strike.at >= chords.front().at - kChordTogether)
      at.emplace_back(strike.at, strike.pitch.pitch_class().value());
  for (std::size_t i = 0; i < chords.size(); ++i) {
    if (i > 0 && chords[i].chord.root == chords[i - 1].chord.root) continue;
    const auto near = std::find_if(at.begin(), at.end(), [&](const auto& a) {
      return std::chrono::abs(a.first - chords[i].at) <= kChordTogether;
    });
    if (near == at.end()) at.emplace_back(chords[i].at, -1);
  }
  std::sort(at.begin(), at.end());
  std::vector<Piece> pieces;
  std::size_t c = 0;
  for (std::size_t i = 0; i < at.size(); ++i) {
    Piece piece;
    piece.begin = at[i].first;
    piece.end = i + 1 < at.size() ? at[i + 1].first : end;
    piece.bass = at[i].second;
    if (piece.end <= piece.begin) continue;
    while (c + 1 < chords.size() && chords[c + 1].at <= piece.begin + kChordTogether) ++c;
    for (std::size_t k = c; k < chords.size() && chords[k].at < piece.end; ++k) {
      const Micros from = k == c ? piece.begin : std::max(piece.begin, chords[k].at);
      const Micros to = std::min(piece.end, k + 1 < chords.size() ? chords[k + 1].at : end);
      if (to > from) piece.roots[chords[k].chord.root.value()] += to - from;
    }
    pieces.push_back(std::move(piece));
  }
  const auto main_root = [](const Piece& p) {
    int root = -1;
    Micros longest{-1};
    for (const auto& [r, length] : p.roots)
      if (length > longest) longest = length, root = r;
    return root;
  };
  // A piece on the same root continues the one before, unless its bass note is struck again. A short name
  // without a bass note of its own continues the one before, too.
  std::vector<Piece> joined;
  for (Piece& piece : pieces) {
    const bool brief = piece.end - piece.begin < Micros(600'000);
    const bool same = !joined.empty() && main_root(piece) == main_root(joined.back());
    const bool anew = piece.bass >= 0 && !joined.empty() && piece.bass == joined.back().bass;
    const bool follows = !joined.empty() && ((same && !anew) || (piece.bass < 0 && once && brief));
    if (follows) {
      joined.back().end = piece.end;
      for (const auto& [r, length] : piece.roots) joined.back().roots[r] += length;
    } else {
      joined.push_back(std::move(piece));
    }
  }
  for (const Piece& piece : joined) {
    const int root = main_root(piece);
    if (root < 0) continue;
    // Choose the name that lasted longest on this root.
    std::vector<std::pair<const HeardChord*, Micros>> names;
    auto k = std::upper_bound(chords.begin(), chords.end(), piece.begin + kChordTogether,
                              [](Micros t, const HeardChord& h) { return t < h.at; });
    if (k != chords.begin()) --k;
    for (; k != chords.end() && k->at < piece.end; ++k) {
      if (k->chord.root.value() != root) continue;
      const Micros to = std::min(piece.end, k + 1 != chords.end() ? (k + 1)->at : end),
                   from = std::max(piece.begin, k->at);
      const auto known =
          std::find_if(names.begin(), names.end(), [&](const auto& n) { return n.first->chord == k->chord; });
      if (known != names.end())
        known->second += to - from;
      else
        names.emplace_back(&*k, to - from);
    }
    if (names.empty()) continue;
    const auto best = std::max_element(names.begin(), names.end(),
                                       [](const auto& a, const auto& b) { return a.second < b.second; });
    const auto told =
        std::find_if(names.begin(), names.end(), [](const auto& name) { return name.first->said; });
    const HeardChord& name = told != names.end() ? *told->first : *best->first;
    out.push_back({piece.begin, piece.end, name.chord, plain(name.root), name.said});
  }
  return out;
}

}  // namespace

HeardTake hear(const std::vector<midi::Event>& events, std::span<const Line> keys, std::span<const Line> said,
               const std::function<void(double share)>& reached) {
  constexpr std::size_t kTellEvery = 500;  // events
  HeardTake take;
  if (events.empty()) return take;
  auto played = played_notes(events);
  take.notes = std::move(played.notes);
  take.pedal = std::move(played.pedal);
  listen::Settings settings;
  settings.names_only = true;
  settings.by_ear = true;
  listen::Analysis analysis(settings);
  std::vector<Line> lines;
  const auto each = [&](const listen::Analysis& changed) {
    const auto& moment = changed.moment();
    if (changed.findings().harmony) {
      Line line;
      line.at = moment.harmony->since;
      line.kind = LineKind::kChord;
      line.data = harmony::harte(moment.harmony->reading.chord, moment.harmony->reading.root_name);
      lines.push_back(std::move(line));
    }
    for (const auto& note : changed.findings().melody) take.melody.push_back({note.since, note.pitch});
    if (changed.findings().key) take.key = moment.key->key, take.key_pinned = moment.key->pinned;
  };
  std::size_t next_key = 0;
  const auto pin_until = [&](Micros at) {
    for (; next_key < keys.size() && keys[next_key].at <= at; ++next_key) {
      listen::drive(analysis, keys[next_key].at, each);
      if (analysis.pin_key(keys[next_key].at, pinned_key(keys[next_key]))) each(std::as_const(analysis));
    }
  };
  for (std::size_t i = 0; i < events.size(); ++i) {
    pin_until(events[i].at);
    listen::drive(analysis, events[i], each);
    if (reached && i % kTellEvery == 0) reached(static_cast<double>(i) / static_cast<double>(events.size()));
  }
  pin_until(Micros::max());
  listen::drive(analysis, events.back().at + Micros(5'000'000), each);
  for (const Line& line : settled_chords(lines))
    if (const auto parsed = harmony::parse_harte(line.data))
      take.chords.push_back({line.at, parsed->chord, parsed->root});
  take_corrections(take.chords, said, [](HeardChord& chord, const harmony::ParsedChord& parsed) {
    chord = {chord.at, parsed.chord, parsed.root, true};
  });
  std::stable_sort(take.melody.begin(), take.melody.end(),
                   [](const HeardNote& a, const HeardNote& b) { return a.at < b.at; });
  Micros end{};
  for (const PlayedNote& note : take.notes) end = std::max(end, note.at + note.length);
  take.bass = bass_strikes(take.notes);
  take.spans = spans_of(take, end);
  return take;
}

}  // namespace undersong::takes
