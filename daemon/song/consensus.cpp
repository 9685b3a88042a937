#include "daemon/song/consensus.h"

#include <algorithm>
#include <map>

namespace undersong::song {
namespace {

constexpr Ticks kSlack{120};

// Notes of different passes in one position.
struct Position {
  Ticks at;                                                       // of the note that opened it
  std::vector<std::pair<std::size_t, const WrittenNote*>> notes;  // pass, note
};

// The most frequent value; the first of equals in the order of the notes.
template <class Get>
auto usual(const std::vector<const WrittenNote*>& notes, Get get) {
  auto best = get(*notes.front());
  std::ptrdiff_t most = 0;
  for (const WrittenNote* note : notes) {
    const auto count = std::count_if(notes.begin(), notes.end(),
                                     [&](const WrittenNote* n) { return get(*n) == get(*note); });
    if (count > most) most = count, best = get(*note);
  }
  return best;
}

std::vector<Position> positions_of(const std::vector<std::vector<WrittenNote>>& melodies) {
  std::vector<std::pair<std::size_t, const WrittenNote*>> all;
  for (std::size_t i = 0; i < melodies.size(); ++i)
    for (const WrittenNote& note : melodies[i]) all.emplace_back(i, &note);
  // Where most notes lie, a position begins; the others join the nearest.
  std::map<Ticks, std::size_t> counts;
  for (const auto& [pass, note] : all) ++counts[note->at];
  std::vector<std::pair<Ticks, std::size_t>> ranked(counts.begin(), counts.end());
  std::stable_sort(ranked.begin(), ranked.end(),
                   [](const auto& a, const auto& b) { return a.second > b.second; });
  std::map<Ticks, Position> out;
  const auto near = [&](Ticks at) {
    auto best = out.end();
    for (auto it = out.lower_bound(at - kSlack); it != out.end() && it->first <= at + kSlack; ++it)
      if (best == out.end() || std::abs((it->first - at).count()) < std::abs((best->first - at).count()))
        best = it;
    return best;
  };
  for (const auto& [at, count] : ranked)
    if (2 * count > melodies.size() || near(at) == out.end()) out[at].at = at;
  for (const auto& one : all) near(one.second->at)->second.notes.push_back(one);
  std::vector<Position> list;
  for (auto& [at, position] : out) list.push_back(std::move(position));
  return list;
}

// One note from those of several passes with the same pitch, or pitch class, in one position.
WrittenNote merged(const std::vector<const WrittenNote*>& notes) {
  WrittenNote made = *notes.front();
  made.pitch = usual(notes, [](const WrittenNote& n) { return n.pitch; });
  made.at = usual(notes, [](const WrittenNote& n) { return n.at; });
  made.length = usual(notes, [](const WrittenNote& n) { return n.length; });
  std::vector<int> loud;
  for (const WrittenNote* note : notes) loud.push_back(note->velocity.value());
  std::nth_element(loud.begin(), loud.begin() + static_cast<std::ptrdiff_t>(loud.size() / 2), loud.end());
  made.velocity = Velocity(loud[loud.size() / 2]);
  return made;
}

}  // namespace

Agreement agreement_of(const std::vector<std::vector<WrittenNote>>& lines) {
  Agreement out;
  for (const Position& position : positions_of(lines)) {
    std::map<int, std::vector<const WrittenNote*>> pitches;  // by pitch class
    std::map<int, std::vector<bool>> passes;
    std::vector<bool> any(lines.size(), false);
    for (const auto& [pass, note] : position.notes) {
      const int name = note->pitch.pitch_class().value();
      auto& had = passes.try_emplace(name, lines.size(), false).first->second;
      if (!had[pass]) pitches[name].push_back(note);
      had[pass] = any[pass] = true;
    }
    const auto best = std::max_element(pitches.begin(), pitches.end(), [](const auto& a, const auto& b) {
      return a.second.size() < b.second.size();
    });
    if (2 * best->second.size() > lines.size()) {
      WrittenNote made = merged(best->second);
      if (out.notes.empty() || out.notes.back().at < made.at) out.notes.push_back(std::move(made));
    } else if (2 * std::count(any.begin(), any.end(), true) >= static_cast<std::ptrdiff_t>(lines.size())) {
      out.disputed.push_back(position.at);
    }
  }
  for (std::size_t i = 0; i + 1 < out.notes.size(); ++i)
    out.notes[i].length = std::min(out.notes[i].length, out.notes[i + 1].at - out.notes[i].at);
  return out;
}

std::vector<WrittenNote> consensus(const std::vector<std::vector<WrittenNote>>& melodies,
                                   std::size_t doubts) {
  if (melodies.size() < 3) return melodies.empty() ? std::vector<WrittenNote>{} : melodies[doubts];
  std::vector<WrittenNote> out;
  for (const Position& position : positions_of(melodies)) {
    std::map<Pitch, std::vector<const WrittenNote*>> pitches;
    std::vector<bool> voted(melodies.size(), false);
    for (const auto& [pass, note] : position.notes) pitches[note->pitch].push_back(note), voted[pass] = true;
    if (2 * static_cast<std::size_t>(std::count(voted.begin(), voted.end(), true)) <= melodies.size())
      continue;
    const std::vector<const WrittenNote*>* best = nullptr;
    for (const auto& [pitch, notes] : pitches)
      if (!best || notes.size() > best->size()) best = &notes;
    // Of equals, what the pass has that agrees best with the others.
    for (const auto& [pass, note] : position.notes)
      if (pass == doubts && pitches[note->pitch].size() == best->size()) best = &pitches[note->pitch];
    const WrittenNote made = merged(*best);
    if (!out.empty() && out.back().at >= made.at) continue;
    out.push_back(made);
  }
  for (std::size_t i = 0; i + 1 < out.size(); ++i)
    out[i].length = std::min(out[i].length, out[i + 1].at - out[i].at);
  return out;
}

}  // namespace undersong::song
