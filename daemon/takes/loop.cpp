// Over 400 lines: finding candidates, aligning, rating and describing them all use one model of a cycle that
// is private to this file.
#include "daemon/takes/loop.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <unordered_map>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::takes {
namespace {

// What each step of the alignment is worth. A chord that fits is worth 1, a chord outside the loop 0.
constexpr double kInstead = -.6, kAnother = -.9, kLeftOut = -.9;
constexpr double kOtherFamily = -.25;  // the root fits but the family does not, such as minor for major
constexpr double kNoPulse = -.6;       // a chord without a pulse, in a take that has one elsewhere
// Extra cost of entering the loop, and of entering or leaving in mid-cycle.
constexpr double kEnter = -.5, kAtMiddle = -1;
constexpr double kTranspose = -2.5;
constexpr double kPerChord = 1.0;  // cost of describing one chord of the cycle
constexpr double kKnown = 1.4;  // a replacement that occurs repeatedly in one place earns this much each time
constexpr double kLeastWorth = .8;  // less than this may be chance
constexpr std::size_t kLongest = 16;
constexpr std::size_t kCandidates = 80;

struct Cycle {
  std::vector<int> roots;
  std::vector<harmony::Family> families;
  std::vector<double> lengths;  // seconds
};

enum class Step : std::uint8_t { kOutside, kFits, kOther, kMore };
struct Aligned {
  double score = 0;
  struct At {
    Step step = Step::kOutside;
    int place = 0;
    int transposed = 0;
    bool enters = false;  // the chord before was outside or in another transposition
    bool round = false;   // a new pass begins here
  };
  std::vector<At> spans;
};

struct Item {
  int root = 0;
  harmony::Family family = harmony::Family::kMajor;
  double length = 0;  // seconds
  bool free = false;  // there is no pulse here, but there is one elsewhere in the take
};

double fit(const Item& item, int root, harmony::Family family, double length) {
  const double d = std::abs(std::log(std::max(.05, item.length) / length));
  const double late = std::min(2., std::max(0., d - .08) * 2.2);
  const double free = item.free ? kNoPulse : 0;
  if (item.root != root) return kInstead - .5 * late + free;
  return 1 + (item.family == family ? 0 : kOtherFamily) - late + free;
}

// Finds the best alignment. States: each place in the cycle, for each allowed transposition; and outside.
Aligned align(const std::vector<Item>& spans, const Cycle& cycle, bool transpositions) {
  const int k = static_cast<int>(cycle.roots.size()), keys = transpositions ? 12 : 1, states = k * keys;
  const std::size_t n = spans.size();
  constexpr double kNever = -1e9;
  std::vector<double> now(static_cast<std::size_t>(states), kNever), next = now;
  double outside = 0;
  struct Back {
    std::int16_t from = -1;  // -1: outside
    Step step = Step::kOutside;
    bool enters = false, round = false;
  };
  std::vector<Back> back(n * static_cast<std::size_t>(states));
  std::vector<std::int16_t> out_back(n, -1);  // the state before span i, if span i is outside
  const auto leave = [&](int place) { return place == k - 1 ? 0. : kAtMiddle; };
  for (std::size_t i = 0; i < n; ++i) {
    // The best state before this span from which to be outside.
    double out = outside;
    std::int16_t out_from = -1;
    for (int s = 0; s < states; ++s)
      if (now[static_cast<std::size_t>(s)] + leave(s % k) > out)
        out = now[static_cast<std::size_t>(s)] + leave(s % k), out_from = static_cast<std::int16_t>(s);
    for (int t = 0; t < keys; ++t) {
      const int base = t * k;
      for (int p = 0; p < k; ++p) {
        const int s = base + p;
        const int root = (cycle.roots[static_cast<std::size_t>(p)] + t) % 12;
        const double here = fit(spans[i], root, cycle.families[static_cast<std::size_t>(p)],
                                cycle.lengths[static_cast<std::size_t>(p)]);
        const Step step = spans[i].root == root ? Step::kFits : Step::kOther;
        double best = out + kEnter + (p == 0 ? 0. : 1.2 * kAtMiddle) + (t == 0 ? 0. : kTranspose) + here;
        Back b{out_from, step, true, true};
        const auto offer = [&](int from, double value, Step how, bool round) {
          if (value > best) best = value, b = {static_cast<std::int16_t>(from), how, false, round};
        };
        for (int skip = 0; skip <= 2 && skip < k; ++skip) {
          const int from = (p - 1 - skip + 2 * k) % k;
          offer(base + from, now[static_cast<std::size_t>(base + from)] + skip * kLeftOut + here, step,
                from >= p);
        }
        const double more = std::min(1., spans[i].length / cycle.lengths[static_cast<std::size_t>(p)]);
        offer(s, now[static_cast<std::size_t>(s)] + kAnother * (.4 + .6 * more), Step::kMore, false);
        next[static_cast<std::size_t>(s)] = best;
        back[i * static_cast<std::size_t>(states) + static_cast<std::size_t>(s)] = b;
      }
    }
    out_back[i] = out_from;
    outside = out;
    std::swap(now, next);
  }
  Aligned result;
  result.spans.resize(n);
  int state = -1;
  result.score = outside;
  for (int s = 0; s < states; ++s)
    if (now[static_cast<std::size_t>(s)] + leave(s % k) > result.score)
      result.score = now[static_cast<std::size_t>(s)] + leave(s % k), state = s;
  for (std::size_t i = n; i-- > 0;) {
    auto& at = result.spans[i];
    if (state < 0) {
      at.step = Step::kOutside;
      state = out_back[i];
      continue;
    }
    const Back& b = back[i * static_cast<std::size_t>(states) + static_cast<std::size_t>(state)];
    at = {b.step, state % k, state / k, b.enters, b.round};
    state = b.from;
  }
  return result;
}

// What the cycle explains, minus the cost of describing it. A replacement chord that occurs repeatedly is
// described once.
double worth(const std::vector<Item>& spans, const Cycle& cycle, const Aligned& aligned) {
  double value = aligned.score - kPerChord * static_cast<double>(cycle.roots.size());
  std::map<std::pair<int, int>, int> others;
  for (std::size_t i = 0; i < spans.size(); ++i)
    if (aligned.spans[i].step == Step::kOther && !aligned.spans[i].enters)
      ++others[{aligned.spans[i].place, (spans[i].root - aligned.spans[i].transposed + 12) % 12}];
  for (const auto& [what, count] : others)
    if (count >= 2) value += std::max(0., kKnown * count - kPerChord);
  return value;
}

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

std::vector<Cycle> candidates(const std::vector<Item>& spans) {
  struct Seen {
    std::size_t length = 0;
    std::vector<std::size_t> at;
  };
  std::unordered_map<std::string, Seen> seen;
  const std::size_t n = spans.size();
  for (std::size_t k = 1; k <= kLongest && 2 * k <= n; ++k)
    for (std::size_t i = 0; i + k <= n; ++i) {
      std::string key;
      for (std::size_t j = 0; j < k; ++j) key += static_cast<char>('A' + spans[i + j].root);
      auto& entry = seen[key];
      entry.length = k;
      if (entry.at.empty() || i >= entry.at.back() + k) entry.at.push_back(i);
    }
  std::vector<std::pair<std::string, const Seen*>> ranked;
  for (const auto& [key, entry] : seen) {
    // A run that only repeats a shorter run is not a candidate of its own.
    bool again = false;
    for (std::size_t d = 1; d < entry.length && !again; ++d)
      again = entry.length % d == 0 && key.substr(d) + key.substr(0, d) == key;
    if (entry.at.size() >= 2 && !again) ranked.emplace_back(key, &entry);
  }
  std::sort(ranked.begin(), ranked.end(), [](const auto& a, const auto& b) {
    const auto value = [](const Seen& s) { return s.length * (s.at.size() - 1); };
    const auto x = value(*a.second), y = value(*b.second);
    return x != y ? x > y : a.first < b.first;
  });
  if (ranked.size() > kCandidates) ranked.resize(kCandidates);
  std::vector<Cycle> out;
  for (const auto& [key, entry] : ranked) {
    Cycle cycle;
    for (std::size_t j = 0; j < entry->length; ++j) {
      std::vector<double> lengths;
      std::map<harmony::Family, int> families;
      for (const std::size_t i : entry->at)
        lengths.push_back(spans[i + j].length), ++families[spans[i + j].family];
      cycle.families.push_back(
          std::max_element(families.begin(), families.end(), [](const auto& a, const auto& b) {
            return a.second < b.second;
          })->first);
      cycle.roots.push_back(key[j] - 'A');
      cycle.lengths.push_back(std::max(.05, median(lengths)));
    }
    out.push_back(std::move(cycle));
  }
  return out;
}

double beats_between(const Beats& beats, Micros from, Micros to) {
  const auto place = [&](Micros t) {
    const auto it = std::lower_bound(beats.beats.begin(), beats.beats.end(), t,
                                     [](const Beat& b, Micros at) { return b.at < at; });
    if (it == beats.beats.begin() || it == beats.beats.end()) return -1.;
    const auto before = it - 1;
    return static_cast<double>(before - beats.beats.begin()) +
           seconds(t - before->at) / seconds(it->at - before->at);
  };
  const double a = place(from), b = place(to);
  return a < 0 || b < 0 ? 0 : b - a;
}

std::vector<Item> items_of(const HeardTake& take, const Beats& beats) {
  std::vector<Item> items;
  // The stretches with a pulse.
  std::vector<std::pair<Micros, Micros>> runs;
  Micros covered{};
  for (std::size_t i = 0; i < beats.beats.size(); ++i) {
    if (i == 0 || beats.beats[i].begins) runs.emplace_back(beats.beats[i].at, beats.beats[i].at);
    runs.back().second = beats.beats[i].at;
  }
  for (const auto& run : runs) covered += run.second - run.first;
  const bool steady = !take.spans.empty() && covered * 2 > take.spans.back().end - take.spans.front().begin;
  constexpr Micros kSlack{400'000};
  for (const ChordSpan& span : take.spans) {
    Item item{span.chord.root.value(), harmony::row(span.chord.quality).family,
              seconds(span.end - span.begin), steady};
    for (const auto& run : runs)
      if (span.begin >= run.first - kSlack && span.begin <= run.second + kSlack) item.free = false;
    items.push_back(item);
  }
  return items;
}

// Sets each place to the chord that most passes play there, the earlier one if two are equally frequent, and
// to its median length.
void settle(Cycle& cycle, const std::vector<Item>& items, const Aligned& aligned) {
  for (std::size_t p = 0; p < cycle.roots.size(); ++p) {
    std::map<int, int> roots;
    std::vector<double> lengths;
    int best = cycle.roots[p], count = 0;
    const auto here = [&](std::size_t i) {
      const auto& at = aligned.spans[i];
      return at.place == static_cast<int>(p) && (at.step == Step::kFits || at.step == Step::kOther);
    };
    const auto root_at = [&](std::size_t i) {
      return (items[i].root - aligned.spans[i].transposed + 12) % 12;
    };
    for (std::size_t i = 0; i < items.size(); ++i)
      if (here(i)) lengths.push_back(items[i].length), ++roots[root_at(i)];
    for (std::size_t i = 0; i < items.size(); ++i)
      if (here(i) && !aligned.spans[i].enters && roots[root_at(i)] > count)
        count = roots[root_at(i)], best = root_at(i);
    if (count >= 2) {
      std::map<harmony::Family, int> families;
      for (std::size_t i = 0; i < items.size(); ++i)
        if (here(i) && root_at(i) == best) ++families[items[i].family];
      cycle.roots[p] = best;
      cycle.families[p] =
          std::max_element(families.begin(), families.end(), [](const auto& a, const auto& b) {
            return a.second < b.second;
          })->first;
    }
    if (!lengths.empty()) cycle.lengths[p] = std::max(.05, median(lengths));
  }
}

// A cycle abcd abcd abcd abce is really abcd with another ending now and then. Blocks of three or more chords
// that differ in at most one place, and there in at most half of the blocks, count as one block. Returns its
// length.
std::optional<std::size_t> block(const Cycle& cycle) {
  const std::size_t k = cycle.roots.size();
  for (std::size_t d = 3; 2 * d <= k; ++d) {
    if (k % d != 0) continue;
    std::size_t places = 0, differ = 0;
    for (std::size_t p = 0; p < d; ++p) {
      std::map<int, std::size_t> roots;
      for (std::size_t i = p; i < k; i += d) ++roots[cycle.roots[i]];
      std::size_t most = 0;
      for (const auto& [root, count] : roots) most = std::max(most, count);
      places += most < k / d;
      differ += k / d - most;
    }
    if (places <= 1 && 2 * differ <= k / d) return d;
  }
  return std::nullopt;
}

void shorten(Cycle& cycle, std::size_t length) {
  cycle.roots.resize(length);
  cycle.families.resize(length);
  cycle.lengths.resize(length);
}

// A cycle a b a c may have four chords, or two with a different second ending. If the same tune returns with
// each half, it has two.
bool halves_share_their_melody(const HeardTake& take, const std::vector<Item>& items, const Cycle& cycle,
                               const Aligned& aligned) {
  const std::size_t k = cycle.roots.size(), half = k / 2;
  if (k % 2 != 0 || k < 4) return false;
  for (std::size_t p = 0; p + 1 < half; ++p)
    if (cycle.roots[p] != cycle.roots[p + half]) return false;
  // Notes over half a cycle: milliseconds from the first span, pitch.
  const auto tune = [&](std::size_t first) {
    std::vector<std::pair<int, int>> notes;
    const Micros from = take.spans[first].begin, to = take.spans[first + half - 1].end;
    for (auto it = std::lower_bound(take.melody.begin(), take.melody.end(), from - Micros(60'000),
                                    [](const HeardNote&n, Micros t) { return n.at < t; });
         it != take.melody.end() && it->at < to - Micros(60'000); ++it)
      notes.emplace_back(static_cast<int>((it->at - from).count() / 1000), it->pitch.value());
    return notes;
  };
  int passes = 0, alike = 0;
  for (std::size_t i = 0; i + k <= items.size(); ++i) {
    bool whole = true;
    for (std::size_t j = 0; j < k && whole; ++j)
      whole = aligned.spans[i + j].place == static_cast<int>(j) &&
              (aligned.spans[i + j].step == Step::kFits || aligned.spans[i + j].step == Step::kOther);
    if (!whole) continue;
    const auto a = tune(i);
    auto b = tune(i + half);
    const std::size_t both = a.size() + b.size();
    if (a.size() < 3 || b.size() < 3) continue;
    ++passes;
    std::size_t hits = 0;
    for (const auto& note : a) {
      const auto same = std::find_if(b.begin(), b.end(), [&](const auto& n) {
        return n.second == note.second && std::abs(n.first - note.first) < 200;
      });
      if (same != b.end()) b.erase(same), ++hits;
    }
    alike += 4 * hits >= both;  // at least half of the notes agree
  }
  return alike >= 2 && 5 * alike >= passes;
}

}  // namespace

std::optional<Loop> find_loop(const HeardTake& take, const Beats& beats) {
  const auto& spans = take.spans;
  std::optional<Cycle> best;
  Aligned best_aligned;
  double best_worth = 0;
  const auto items = items_of(take, beats);
  for (const Cycle& cycle : candidates(items)) {
    Aligned aligned = align(items, cycle, false);
    const double value = worth(items, cycle, aligned);
    if (value > best_worth + 1e-9) best_worth = value, best = cycle, best_aligned = std::move(aligned);
  }
  if (!best || best_worth < kLeastWorth) return std::nullopt;
  if (const auto length = block(*best)) {
    shorten(*best, *length);
    best_aligned = align(items, *best, false);
  }
  while (halves_share_their_melody(take, items, *best, best_aligned)) {
    shorten(*best, best->roots.size() / 2);
    best_aligned = align(items, *best, false);
  }
  const std::size_t k = best->roots.size();
  settle(*best, items, best_aligned);
  const Aligned aligned = align(items, *best, true);

  Loop loop;
  int fits = 0, inside = 0;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const auto& at = aligned.spans[i];
    if (at.step == Step::kOutside) continue;
    ++inside;
    fits += at.step == Step::kFits;
    if (at.round || loop.passes.empty()) {
      loop.passes.push_back({});
      auto& pass = loop.passes.back();
      pass.places.resize(k);
      pass.begin = spans[i].begin;
      pass.transposed = at.transposed > 6 ? at.transposed - 12 : at.transposed;
      pass.cut = at.enters && at.place > 0;
      for (auto& place : pass.places) place.begin = place.end = pass.begin;
    }
    auto& pass = loop.passes.back();
    auto& place = pass.places[static_cast<std::size_t>(at.place)];
    if (at.step == Step::kMore) {
      ++place.more;
      pass.variant = true;
    } else {
      place.begin = spans[i].begin;
      if (at.step == Step::kOther) place.instead = spans[i], pass.variant = true;
    }
    place.end = spans[i].end;
    for (std::size_t p = static_cast<std::size_t>(at.place) + 1; p < k; ++p)
      pass.places[p].begin = pass.places[p].end = spans[i].end;
    pass.end = spans[i].end;
  }
  for (std::size_t j = 0; j < loop.passes.size(); ++j) {
    auto& pass = loop.passes[j];
    const bool last_missing = pass.places.back().begin == pass.places.back().end;
    const bool goes_on = j + 1 < loop.passes.size() && loop.passes[j + 1].begin == pass.end;
    if (last_missing && !goes_on) pass.cut = true;
    for (const auto& place : pass.places)
      if (place.begin == place.end && !pass.cut) pass.variant = true;
  }
  if (loop.passes.size() < 2) return std::nullopt;
  // A chord's name is the one that the player gave it in some pass, or else the one that stood there longest,
  // over all passes.
  for (std::size_t p = 0; p < k; ++p) {
    std::vector<std::pair<ChordSpan, double>> names;
    std::vector<double> lengths, counts;
    for (std::size_t i = 0; i < spans.size(); ++i) {
      const auto& at = aligned.spans[i];
      if (at.step != Step::kFits || at.place != static_cast<int>(p) || at.transposed != 0) continue;
      lengths.push_back(seconds(spans[i].end - spans[i].begin));
      if (const double b = beats_between(beats, spans[i].begin, spans[i].end); b > 0) counts.push_back(b);
      const auto known = std::find_if(names.begin(), names.end(), [&](const auto& name) {
        return name.first.chord == spans[i].chord && name.first.said == spans[i].said;
      });
      if (known != names.end())
        known->second += lengths.back();
      else
        names.emplace_back(spans[i], lengths.back());
    }
    LoopChord chord;
    const auto less = [](const auto& a, const auto& b) {
      return std::pair(a.first.said, a.second) < std::pair(b.first.said, b.second);
    };
    if (const auto name = std::max_element(names.begin(), names.end(), less); name != names.end())
      chord.chord = name->first.chord, chord.root = name->first.root;
    chord.length = Micros(static_cast<std::int64_t>(1e6 * median(lengths)));
    chord.beats = beats.pulse() && !counts.empty() ? std::round(2 * median(counts)) / 2 : 0;
    loop.chords.push_back(chord);
  }
  const double times = static_cast<double>(fits) / static_cast<double>(k);
  loop.confidence = std::clamp(static_cast<double>(fits) / std::max(1, inside) *
                                   (1 - std::exp(-.9 * (times - 1))) * (1 - std::exp(-best_worth / 4)),
                               0., 1.);
  return loop;
}

Beats without_free_playing(const Beats& beats, const Loop& loop) {
  constexpr Micros kSlack{250'000};
  if (loop.confidence < .75 || beats.beats.size() < 8) return beats;
  const auto inside = [&](Micros t) {
    const auto it = std::upper_bound(loop.passes.begin(), loop.passes.end(), t + kSlack,
                                     [](Micros at, const LoopPass& p) { return at < p.begin; });
    return it != loop.passes.begin() && t < (it - 1)->end - kSlack;
  };
  // How much a beat's length differs from the one before, on a logarithmic scale; 0 at a gap.
  const auto change = [&](std::size_t i) {
    return i < 2 || beats.beats[i].begins || beats.beats[i - 1].begins
               ? 0.
               : std::abs(std::log(seconds(beats.beats[i].at - beats.beats[i - 1].at) /
                                   seconds(beats.beats[i - 1].at - beats.beats[i - 2].at)));
  };
  std::vector<double> within;
  for (std::size_t i = 0; i < beats.beats.size(); ++i)
    if (inside(beats.beats[i].at)) within.push_back(change(i));
  if (2 * within.size() < beats.beats.size())
    return beats;  // too little of the take is loop to decide what is free playing
  const double usual = std::max(.015, median(within));
  Beats out = beats;
  out.beats.clear();
  bool gap = true;
  for (std::size_t i = 0; i < beats.beats.size();) {
    std::size_t j = i;
    std::vector<double> changes;
    const bool in = inside(beats.beats[i].at);
    for (; j < beats.beats.size() && inside(beats.beats[j].at) == in; ++j) changes.push_back(change(j));
    const bool clocked = std::all_of(beats.beats.begin() + static_cast<std::ptrdiff_t>(i),
                                     beats.beats.begin() + static_cast<std::ptrdiff_t>(j),
                                     [](const Beat& beat) { return beat.clocked; });
    const bool keep = in || clocked || (changes.size() >= 4 && median(changes) < 1.6 * usual);
    for (; i < j; ++i)
      if (keep) {
        out.beats.push_back(beats.beats[i]);
        out.beats.back().begins = gap || beats.beats[i].begins;
        gap = false;
      }
    if (!keep) gap = true;
  }
  return out;
}

Beats first_beats(const HeardTake& take) {
  std::vector<Micros> changes;
  for (const ChordSpan& span : take.spans) changes.push_back(span.begin);
  return find_beats(take.notes, changes);
}

std::string describe_difference(const Loop& loop, const LoopPass& pass) {
  std::string out;
  const auto add = [&](const std::string& text) { out += (out.empty() ? "" : ", ") + text; };
  if (pass.transposed != 0)
    add(std::to_string(std::abs(pass.transposed)) +
        (std::abs(pass.transposed) == 1 ? " semitone" : " semitones") +
        (pass.transposed > 0 ? " up" : " down"));
  if (pass.cut) add("cut short");
  for (std::size_t p = 0; p < pass.places.size(); ++p) {
    const auto& place = pass.places[p];
    const std::string usual = harmony::symbol(loop.chords[p].chord, loop.chords[p].root);
    if (place.instead)
      add(harmony::symbol(place.instead->chord, place.instead->root) + " instead of " + usual);
    else if (place.begin == place.end && !pass.cut)
      add("without " + usual);
    if (place.more > 0)
      add((place.more == 1 ? "one extra chord after " : std::to_string(place.more) + " extra chords after ") +
          usual);
  }
  return out;
}

}  // namespace undersong::takes
