#include "daemon/song/quantise.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace undersong::song {
namespace {

struct Division {
  int parts;
  double price;
  bool triple;
};
// The first is the undivided beat.
constexpr std::array<Division, 6> kOfQuarter{
    {{1, 0, false}, {2, .3, false}, {4, 1.2, false}, {3, 1.8, true}, {6, 4.5, true}, {8, 5.5, false}}};
constexpr std::array<Division, 5> kOfDottedQuarter{
    {{1, 0, true}, {3, .3, true}, {6, 1.2, true}, {2, 1.8, false}, {12, 5.5, true}}};
constexpr std::array<Division, 3> kOfEighth{{{1, 0, false}, {2, .9, false}, {4, 5, false}}};
std::span<const Division> divisions_of(BeatValue value) {
  if (value == BeatValue::kDottedQuarter) return kOfDottedQuarter;
  if (value == BeatValue::kEighth) return kOfEighth;
  return kOfQuarter;
}
constexpr double kSpread = .023, kSpreadOfBeat = .03;  // in seconds and in beats; the larger one applies
constexpr double kLeftOut = 9;
// Cost of changing between duple and triple divisions from one beat to the next.
constexpr double kChange = .4;
// kEarly rounds note ends, more often up than down. A silence shorter than a breath, in beats, or than the
// share kBreathOfNote of the time to the next note, is not written as a rest.
constexpr double kEarly = .65, kBreathOfNote = .15;
double breath(BeatValue value) {
  return value == BeatValue::kEighth ? 1 : value == BeatValue::kDottedQuarter ? .3 : .5;
}
constexpr double kNever = std::numeric_limits<double>::infinity();

// Where the notes of one beat go: slots 0..parts (`parts` is the next beat), or -1 for a note left out.
struct Placed {
  double price = kNever;
  std::vector<int> slots;
};

// Places the notes of one beat. `offsets`: beats from the beginning of the beat. Slots go from `first` to
// `last`. `reaches`: the last note must take slot `last`.
Placed place(std::span<const double> offsets, int parts, int first, int last, bool reaches, double spread) {
  const std::size_t n = offsets.size(), m = static_cast<std::size_t>(last - first + 2);
  // best[i][s]: the cost of placing the first i notes in slots below first + s.
  std::vector<std::vector<double>> best(n + 1, std::vector<double>(m, kNever));
  std::vector<std::vector<bool>> taken(n + 1, std::vector<bool>(m, false)), dropped = taken;
  for (double& b : best[0]) b = 0;
  for (std::size_t i = 1; i <= n; ++i) {
    best[i][0] = best[i - 1][0] + kLeftOut;
    dropped[i][0] = true;
    for (std::size_t s = 1; s < m; ++s) {
      const double away =
          (offsets[i - 1] - static_cast<double>(first + static_cast<int>(s) - 1) / parts) / spread;
      const double here = best[i - 1][s - 1] + .5 * away * away, left_out = best[i - 1][s] + kLeftOut;
      best[i][s] = best[i][s - 1];
      if (here < best[i][s]) best[i][s] = here, taken[i][s] = true;
      if (left_out < best[i][s]) best[i][s] = left_out, taken[i][s] = false, dropped[i][s] = true;
    }
  }
  Placed out;
  out.slots.assign(n, -1);
  std::size_t s = m - 1;
  if (reaches) {
    if (n == 0 || m < 2) return out;
    const double away = (offsets[n - 1] - static_cast<double>(last) / parts) / spread;
    out.price = best[n - 1][m - 2] + .5 * away * away;
    out.slots[n - 1] = last;
    s = m - 2;
  } else {
    out.price = best[n][m - 1];
  }
  for (std::size_t i = reaches ? n - 1 : n; i > 0;) {
    if (taken[i][s])
      out.slots[--i] = first + static_cast<int>(--s);
    else if (dropped[i][s])
      --i;
    else
      --s;
  }
  return out;
}

struct Step {
  double price = kNever;
  int from = 0;
  std::size_t division = 0;
  std::vector<int> slots;
};

Ticks tick_of(std::int64_t beat, int slot, int parts) {
  return Ticks(480 * beat + 480 * slot / parts);
}

// Note ends are written on the division of the beat in which they fall, or on halves or quarters of it, or
// thirds of a dotted quarter.
Ticks end_of(const PlayedInBeats& note, Ticks begin, const std::vector<std::size_t>& divisions,
             BeatValue value) {
  const auto all = divisions_of(value);
  const bool compound = value == BeatValue::kDottedQuarter;
  const double until = std::max(note.until, begin.beats());
  const auto beat = std::min(static_cast<std::size_t>(until), divisions.size() - 1);
  const Division& here = all[divisions[beat]];
  const int parts = compound      ? (here.parts == 1 ? 3 : here.parts)
                    : here.triple ? here.parts
                                  : std::clamp(here.parts, value == BeatValue::kEighth ? 1 : 2, 4);
  // Fingers leave a key early rather than late.
  const auto slot = static_cast<int>(std::floor((until - static_cast<double>(beat)) * parts + kEarly));
  const Ticks end = tick_of(static_cast<std::int64_t>(beat), slot, parts);
  if (end > begin) return end;
  const Division& there =
      all[divisions[std::min(static_cast<std::size_t>(begin / kBeat), divisions.size() - 1)]];
  return begin + Ticks(480 / std::max(compound ? 3 : value == BeatValue::kEighth ? 1 : 2, there.parts));
}

}  // namespace

std::vector<WrittenNote> quantise(std::span<const PlayedInBeats> notes, Ticks length, double seconds_a_beat,
                                  BeatValue value) {
  const auto all_divisions = divisions_of(value);
  const double rest = breath(value);
  std::vector<WrittenNote> out;
  const auto beats = static_cast<std::size_t>((length.count() + 479) / 480);
  if (beats == 0) return out;
  const double spread = std::max(kSpread / std::max(.1, seconds_a_beat), kSpreadOfBeat);
  // Bits of the state: 1, a note of the beat before takes the first point of this beat; 2, the last division
  // was triple.
  std::vector<std::array<Step, 4>> way(beats);
  std::array<double, 4> price{0, kNever, kNever, kNever};
  std::vector<std::size_t> first(beats + 1, 0);
  std::size_t next = 0;
  std::vector<double> offsets;
  for (std::size_t b = 0; b < beats; ++b) {
    first[b] = next;
    offsets.clear();
    while (next < notes.size() && (notes[next].at < static_cast<double>(b + 1)))
      offsets.push_back(notes[next++].at - static_cast<double>(b));
    std::array<double, 4> now{kNever, kNever, kNever, kNever};
    for (std::size_t d = 0; d < all_divisions.size(); ++d) {
      const Division& division = all_divisions[d];
      if (offsets.empty() && d > 0) break;
      for (int spilled = 0; spilled < 2; ++spilled) {
        if (price[static_cast<std::size_t>(spilled)] == kNever &&
            price[static_cast<std::size_t>(spilled + 2)] == kNever)
          continue;
        for (int spills = 0; spills < (b + 1 < beats ? 2 : 1); ++spills) {
          const Placed placed =
              place(offsets, division.parts, spilled, division.parts - (spills ? 0 : 1), spills == 1, spread);
          if (placed.price == kNever) continue;
          for (int thirds = 0; thirds < 2; ++thirds) {
            const int from = spilled + 2 * thirds;
            const bool plain = d == 0;  // an undivided beat goes with both kinds of division
            const int to = spills + 2 * (plain ? thirds : division.triple ? 1 : 0);
            const double all = price[static_cast<std::size_t>(from)] + placed.price + division.price +
                               (to / 2 != thirds ? kChange : 0);
            if (all >= now[static_cast<std::size_t>(to)]) continue;
            now[static_cast<std::size_t>(to)] = all;
            way[b][static_cast<std::size_t>(to)] = {all, from, d, placed.slots};
          }
        }
      }
    }
    price = now;
  }
  first[beats] = next;
  std::vector<std::size_t> divisions(beats, 0);
  std::vector<Ticks> at(next, Ticks(-1));
  auto state = static_cast<int>(std::min_element(price.begin(), price.end()) - price.begin());
  for (std::size_t b = beats; b-- > 0;) {
    const Step& step = way[b][static_cast<std::size_t>(state)];
    divisions[b] = step.division;
    for (std::size_t i = 0; i < step.slots.size(); ++i)
      if (step.slots[i] >= 0)
        at[first[b] + i] =
            tick_of(static_cast<std::int64_t>(b), step.slots[i], all_divisions[step.division].parts);
    state = step.from;
  }
  std::vector<std::size_t> kept;
  for (std::size_t i = 0; i < next; ++i)
    if (at[i] >= Ticks(0) && at[i] < length) kept.push_back(i);
  for (std::size_t k = 0; k < kept.size(); ++k) {
    const PlayedInBeats& note = notes[kept[k]];
    const Ticks begin = at[kept[k]], until = k + 1 < kept.size() ? at[kept[k + 1]] : length;
    Ticks end = std::min(end_of(note, begin, divisions, value), until);
    if (k + 1 < kept.size()) {
      const double next_at = notes[kept[k + 1]].at, silence = next_at - note.until;
      if (until - end < grid(value) || silence < std::max(rest, kBreathOfNote * (next_at - note.at)))
        end = until;
    }
    out.push_back({note.pitch, {}, begin, end - begin, note.velocity});
  }
  return out;
}

std::vector<WrittenNote> place_freely(std::span<const PlayedInBeats> notes, Ticks length) {
  std::vector<WrittenNote> out;
  const Ticks eighth(240), sixteenth(120);
  const auto n = static_cast<std::int64_t>(notes.size());
  const Ticks unit = n <= length / eighth ? eighth : sixteenth;
  const std::int64_t slots = length / unit;
  const std::int64_t kept = std::min(n, slots);
  std::int64_t before = -1;
  for (std::int64_t i = 0; i < kept; ++i) {
    const PlayedInBeats& note = notes[static_cast<std::size_t>(i)];
    std::int64_t slot = std::lround(note.at * 480 / static_cast<double>(unit.count()));
    slot = std::clamp(slot, before + 1, slots - (kept - i));
    before = slot;
    out.push_back({note.pitch, {}, slot * unit, unit, note.velocity});
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    const Ticks until = i + 1 < out.size() ? out[i + 1].at : length;
    const std::int64_t sounding =
        std::lround((notes[i].until - out[i].at.beats()) * 480 / static_cast<double>(unit.count()));
    Ticks end = std::min(until, out[i].at + std::max<std::int64_t>(1, sounding) * unit);
    if (until - end < Ticks(480)) end = until;
    out[i].length = end - out[i].at;
  }
  return out;
}

}  // namespace undersong::song
