#include "daemon/takes/bass_line.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace undersong::takes {
namespace {

constexpr Micros kEarlyBass{90'000};
constexpr int kHighest = 52;           // a higher note is no bass here
constexpr double kShortestBass = .28;  // of the place; a shorter bass note is only passing
constexpr double kTolerance = .12;     // of the place; the same moment in different passes
constexpr Micros kBrief{450'000};

struct Move {
  double at = 0;  // 0..1 of the place
  int from = 0, to = 0;
};

// The bass of one pass through a place, if it moves exactly once there.
std::optional<Move> move_in(const HeardTake& take, const LoopPass::Place& place, int transposed) {
  auto it = std::lower_bound(take.bass.begin(), take.bass.end(), place.begin - kEarlyBass,
                             [](const HeardNote& n, Micros t) { return n.at < t; });
  std::vector<std::pair<Micros, int>> line;
  for (; it != take.bass.end() && it->at < place.end - kEarlyBass; ++it) {
    const int pitch = (it->pitch.pitch_class().value() - transposed + 12) % 12;
    if (it->pitch.value() < kHighest && (line.empty() || line.back().second != pitch))
      line.emplace_back(it->at, pitch);
  }
  if (line.size() != 2) return std::nullopt;
  const double length = seconds(place.end - place.begin), at = seconds(line[1].first - place.begin) / length;
  if (at < kShortestBass || at > 1 - kShortestBass || std::min(at, 1 - at) * length < seconds(kBrief))
    return std::nullopt;
  return Move{at, line[0].second, line[1].second};
}

// The move that most passes make in a place.
std::optional<Move> usual_move(const HeardTake& take, const Loop& loop, std::size_t p) {
  std::map<std::pair<int, int>, std::vector<double>> moves;
  std::size_t played = 0;
  for (const LoopPass& pass : loop.passes) {
    const auto& place = pass.places[p];
    if (place.end <= place.begin || place.instead) continue;
    ++played;
    if (const auto move = move_in(take, place, pass.transposed))
      moves[{move->from, move->to}].push_back(move->at);
  }
  for (auto& [line, at] : moves) {
    if (at.size() < 2 || 2 * at.size() <= played) continue;
    std::sort(at.begin(), at.end());
    const double middle = at[at.size() / 2];
    const auto near =
        std::count_if(at.begin(), at.end(), [&](double a) { return std::abs(a - middle) < kTolerance; });
    const int root = loop.chords[p].chord.root.value(), fifth = (root + 7) % 12;
    const bool swings = line.second == fifth || (line.first == fifth && line.second == root);
    if (2 * static_cast<std::size_t>(near) > played && !swings) return Move{middle, line.first, line.second};
  }
  return std::nullopt;
}

void split(Loop& loop, std::size_t p, const Move& move, const HeardTake& take) {
  LoopChord second = loop.chords[p];
  second.chord.bass = PitchClass(move.to);
  const double beat = loop.chords[p].beats;
  second.length =
      Micros(static_cast<std::int64_t>(static_cast<double>(second.length.count()) * (1 - move.at)));
  loop.chords[p].length -= second.length;
  if (beat > 0) {
    loop.chords[p].beats = std::clamp(std::round(2 * beat * move.at) / 2, .5, std::max(.5, beat - .5));
    second.beats = beat - loop.chords[p].beats;
  }
  if (loop.chords[p].chord.bass.value() != move.from) loop.chords[p].chord.bass = PitchClass(move.from);
  loop.chords.insert(loop.chords.begin() + static_cast<std::ptrdiff_t>(p + 1), second);
  for (LoopPass& pass : loop.passes) {
    LoopPass::Place& place = pass.places[p];
    LoopPass::Place rest = place;
    if (place.end > place.begin) {
      const auto played = move_in(take, place, pass.transposed);
      const double at = played && std::abs(played->at - move.at) < kTolerance ? played->at : move.at;
      rest.begin =
          place.begin + Micros(static_cast<std::int64_t>(1e6 * at * seconds(place.end - place.begin)));
      place.end = rest.begin;
      place.more = 0;
    }
    pass.places.insert(pass.places.begin() + static_cast<std::ptrdiff_t>(p + 1), rest);
  }
}

}  // namespace

void add_bass_line(Loop& loop, const HeardTake& take) {
  for (std::size_t p = 0; p < loop.chords.size(); ++p)
    if (const auto move = usual_move(take, loop, p)) split(loop, p++, *move, take);
}

}  // namespace undersong::takes
