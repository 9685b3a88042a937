// Over 400 lines: choosing cycles, placing their passes and describing them share one view of the alignment.
// The loops of a take: which cycles explain it, where their passes lie, and how they differ.
#include "daemon/takes/loop.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/takes/bass_line.h"
#include "daemon/takes/cycle.h"
#include "daemon/takes/median.h"
#include "daemon/takes/vamp.h"

namespace undersong::takes {
namespace {

// The names that a chord had, by how long. What the player said wins; a name on another root than the cycle's
// hardly counts.
class Names {
 public:
  explicit Names(int root) : root_(root) {}
  void add(const HeardTake& take, std::size_t first, std::size_t last) {
    for (std::size_t s = first; s <= last; ++s) {
      const ChordSpan& span = take.spans[s];
      const double weight = seconds(span.end - span.begin) * (span.chord.root.value() == root_ ? 1 : .01);
      const auto known = std::find_if(names_.begin(), names_.end(), [&](const auto& name) {
        return name.first.chord == span.chord && name.first.said == span.said;
      });
      if (known != names_.end())
        known->second += weight;
      else
        names_.emplace_back(span, weight);
    }
  }
  // Null if there was none.
  const ChordSpan* best() const {
    const auto found = std::max_element(names_.begin(), names_.end(), [](const auto& a, const auto& b) {
      return std::pair(a.first.said, a.second) < std::pair(b.first.said, b.second);
    });
    return found == names_.end() ? nullptr : &found->first;
  }

 private:
  int root_;
  std::vector<std::pair<ChordSpan, double>> names_;
};

constexpr double kLeastWorth = .8;  // less than this may be chance
constexpr double kClaimed = .5;     // a loop that is less probable is not claimed
// In a longer take no transposed passes are looked for: the memory would be large.
constexpr std::size_t kMostTransposed = 6000;
constexpr std::size_t kCandidates = 80, kSettled = 12, kMostLoops = 4;

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

// A cycle a b a c may have four chords, or two with a different second ending. If the same tune returns with
// each half, it has two.
bool halves_share_their_melody(const HeardTake& take, const std::vector<Segment>& items, const Cycle& cycle,
                               const Aligned& aligned) {
  const std::size_t k = cycle.size(), half = k / 2;
  if (k % 2 != 0 || k < 4) return false;
  for (std::size_t p = 0; p + 1 < half; ++p)
    if (cycle.roots[p] != cycle.roots[p + half]) return false;
  // Notes over half a cycle: milliseconds from the first span, pitch.
  const auto tune = [&](std::size_t first) {
    std::vector<std::pair<int, int>> notes;
    const Micros from = items[first].begin, to = items[first + half - 1].end;
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
      whole =
          aligned.spans[i + j].place == static_cast<int>(j) &&
          (aligned.spans[i + j].step == AlignStep::kFits || aligned.spans[i + j].step == AlignStep::kOther);
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

// The cycle that explains most of the segments marked as usable, beside those that are known.
std::optional<Cycle> best_cycle(const std::vector<Segment>& items, const std::vector<Cycle>& known,
                                const std::vector<bool>& usable, double least) {
  std::vector<std::pair<double, Cycle>> rated;
  for (Cycle& cycle : candidates(items, usable, kCandidates)) {
    const double value = worth(items, {cycle}, align(items, {cycle}, false, usable));
    rated.emplace_back(value, std::move(cycle));
  }
  std::stable_sort(rated.begin(), rated.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  if (rated.size() > kSettled) rated.resize(kSettled);
  std::optional<Cycle> best;
  double most = least;
  for (const auto& [alone, cycle] : rated) {
    auto all = known;
    all.push_back(cycle);
    Aligned aligned = align(items, all, false);
    const double value = worth(items, all, aligned);
    // The chords that most passes play explain more than those of the passes from which it was made.
    auto settled = all;
    settle(settled, items, aligned);
    const double then = worth(items, settled, align(items, settled, false));
    if (value > most + 1e-9) most = value, best = all.back();
    if (then > most + 1e-9) most = then, best = settled.back();
  }
  return best;
}

// Segments that lie in no pass which fits as a whole.
std::vector<bool> unexplained(const std::vector<Cycle>& cycles, const Aligned& aligned) {
  const std::size_t n = aligned.spans.size();
  std::vector<bool> out(n, true);
  for (std::size_t i = 0; i < n;) {
    std::size_t j = i + 1, fits = aligned.spans[i].step == AlignStep::kFits, others = 0;
    if (aligned.spans[i].step == AlignStep::kOutside) {
      ++i;
      continue;
    }
    for (; j < n && aligned.spans[j].step != AlignStep::kOutside && !aligned.spans[j].round; ++j) {
      fits += aligned.spans[j].step == AlignStep::kFits;
      others += aligned.spans[j].step != AlignStep::kFits;
    }
    const std::size_t k = cycles[static_cast<std::size_t>(aligned.spans[i].cycle)].size();
    if (4 * fits >= 3 * k && 3 * others <= k)
      std::fill(out.begin() + static_cast<std::ptrdiff_t>(i), out.begin() + static_cast<std::ptrdiff_t>(j),
                false);
    i = j;
  }
  return out;
}

// The beat on which something begins that is played at `at`: a bar line half a beat later, or the nearest
// beat.
Micros beat_of(const Beats& beats, Micros at) {
  if (!beats.pulse()) return at;
  const auto& all = beats.beats;
  const auto after =
      std::lower_bound(all.begin(), all.end(), at, [](const Beat& b, Micros t) { return b.at < t; });
  if (after == all.begin() || after == all.end() || after->begins) return at;
  const Micros length = after->at - (after - 1)->at, later = after->at - at, earlier = at - (after - 1)->at;
  if (after->downbeat && later * 10 <= length * 6) return after->at;
  if ((after - 1)->downbeat && earlier * 10 <= length * 4) return (after - 1)->at;
  if (later * 10 <= length * 3) return after->at;
  return earlier * 10 <= length * 3 ? (after - 1)->at : at;
}

// If most passes begin on a bar line, one that begins at most a beat away from one does so, too.
void put_on_bar_lines(Loop& loop, const Beats& beats) {
  if (!beats.pulse()) return;
  const auto line = [&](Micros at, double within) -> std::optional<Micros> {
    const Micros reach(static_cast<std::int64_t>(within * static_cast<double>(usual_length(beats).count())));
    std::optional<Micros> best;
    auto it = std::lower_bound(beats.beats.begin(), beats.beats.end(), at - reach,
                               [](const Beat& b, Micros t) { return b.at < t; });
    for (; it != beats.beats.end() && it->at <= at + reach; ++it)
      if (it->downbeat && (!best || std::chrono::abs(it->at - at) < std::chrono::abs(*best - at)))
        best = it->at;
    return best;
  };
  std::size_t on = 0;
  for (const LoopPass& pass : loop.passes) on += line(pass.on_beat, .35).has_value();
  if (5 * on < 3 * loop.passes.size()) return;
  for (LoopPass& pass : loop.passes)
    if (const auto at = line(pass.on_beat, 1.15)) pass.on_beat = *at;
}

// The plain quality that fits best what sounds.
harmony::Quality nearest_quality(const Profile& profile, PitchClass root) {
  harmony::Quality best;
  double most = -1;
  for (const char* name :
       {"maj", "min", "7", "maj7", "min7", "hdim7", "dim7", "dim", "aug", "sus4", "sus4(b7)"}) {
    const harmony::Quality quality = harmony::quality(name);
    const double value = likeness(profile_of({root, quality, root}), profile);
    if (value > most) most = value, best = quality;
  }
  return best;
}

Loop loop_of(const HeardTake& take, const Beats& beats, const std::vector<Segment>& items, const Cycle& cycle,
             const Aligned& aligned, int number) {
  const std::size_t k = cycle.size();
  Loop loop;
  bool inside = false;
  for (std::size_t i = 0; i < items.size(); ++i) {
    const auto& at = aligned.spans[i];
    if (at.step == AlignStep::kOutside || at.cycle != number) {
      inside = false;
      continue;
    }
    if (at.round || !inside) {
      loop.passes.push_back({});
      auto& pass = loop.passes.back();
      pass.places.resize(k);
      pass.begin = items[i].begin;
      pass.transposed = at.transposed > 6 ? at.transposed - 12 : at.transposed;
      pass.cut = at.enters && at.place > 0;
      for (auto& place : pass.places) place.begin = place.end = pass.begin;
    }
    inside = true;
    auto& pass = loop.passes.back();
    auto& place = pass.places[static_cast<std::size_t>(at.place)];
    if (at.step == AlignStep::kMore) {
      if (at.value <= 0) ++place.more, pass.variant = true;
    } else {
      place.begin = items[i].begin;
      if (at.step == AlignStep::kOther) {
        std::size_t longest = items[i].first;
        for (std::size_t s = items[i].first; s <= items[i].last; ++s)
          if (take.spans[s].chord.root.value() == items[i].root &&
              (take.spans[longest].chord.root.value() != items[i].root ||
               take.spans[s].end - take.spans[s].begin > take.spans[longest].end - take.spans[longest].begin))
            longest = s;
        place.instead = take.spans[longest], pass.variant = true;
      }
    }
    place.end = items[i].end;
    for (std::size_t p = static_cast<std::size_t>(at.place) + 1; p < k; ++p)
      pass.places[p].begin = pass.places[p].end = items[i].end;
    pass.end = items[i].end;
  }
  for (std::size_t j = 0; j < loop.passes.size(); ++j) {
    auto& pass = loop.passes[j];
    const bool last_missing = pass.places.back().begin == pass.places.back().end;
    pass.on_beat = beat_of(beats, pass.begin);
    const bool goes_on = j + 1 < loop.passes.size() && loop.passes[j + 1].begin == pass.end;
    if (last_missing && !goes_on) pass.cut = true;
    for (const auto& place : pass.places)
      if (place.begin == place.end && !pass.cut) pass.variant = true;
  }
  put_on_bar_lines(loop, beats);
  // A chord's name is the one that the player gave it in some pass, or else the one that stood there longest,
  // over all passes.
  for (std::size_t p = 0; p < k; ++p) {
    Names names(cycle.roots[p]);
    std::vector<double> lengths, counts;
    for (std::size_t i = 0; i < items.size(); ++i) {
      const auto& at = aligned.spans[i];
      if (at.step != AlignStep::kFits || at.cycle != number || at.place != static_cast<int>(p) ||
          at.transposed != 0)
        continue;
      lengths.push_back(items[i].length());
      if (const double b = beats_between(beats, items[i].begin, items[i].end); b > 0) counts.push_back(b);
      names.add(take, items[i].first, items[i].last);
    }
    LoopChord chord;
    const ChordSpan* name = names.best();
    if (name) chord.chord = name->chord, chord.root = name->root;
    // Where the ear named no pass by the root that the basses of some passes give, the notes name it.
    if (!name || (!name->said && chord.chord.root.value() != cycle.roots[p])) {
      const PitchClass root(cycle.roots[p]);
      chord.chord = {root, nearest_quality(cycle.profiles[p], root), root};
      chord.root = harmony::spell_within(root, -5);
    }
    chord.length = Micros(static_cast<std::int64_t>(1e6 * median(lengths)));
    chord.beats = beats.pulse() && !counts.empty() ? std::round(2 * median(counts)) / 2 : 0;
    loop.chords.push_back(chord);
  }
  return loop;
}

std::vector<Loop> cycles_of(const HeardTake& take, const Beats& beats, const std::vector<Segment>& items) {
  std::vector<Cycle> cycles;
  {
    auto best = best_cycle(items, {}, std::vector<bool>(items.size(), true), kLeastWorth);
    if (!best) return {};
    cycles.push_back(std::move(*best));
  }
  Aligned aligned = align(items, cycles, false);
  if (const auto length = block(cycles[0])) {
    cycles[0].shorten(*length);
    aligned = align(items, cycles, false);
  }
  while (halves_share_their_melody(take, items, cycles[0], aligned)) {
    cycles[0].shorten(cycles[0].size() / 2);
    aligned = align(items, cycles, false);
  }
  settle(cycles, items, aligned);
  aligned = align(items, cycles, false);
  while (cycles.size() < kMostLoops) {
    const double before = worth(items, cycles, aligned);
    auto next = best_cycle(items, cycles, unexplained(cycles, aligned), before + 2);
    if (!next) break;
    if (const auto length = block(*next)) next->shorten(*length);
    cycles.push_back(std::move(*next));
    aligned = align(items, cycles, false);
    settle(cycles, items, aligned);
    aligned = align(items, cycles, false);
  }
  for (std::size_t c = 0; c < cycles.size(); ++c) cycles[c].rotate(first_place(items, cycles, c));
  settle(cycles, items, align(items, cycles, false));
  aligned = align(items, cycles, items.size() < kMostTransposed);
  const double chance = worth_by_chance(items);
  std::vector<Loop> out;
  for (std::size_t c = 0; c < cycles.size(); ++c) {
    Loop loop = loop_of(take, beats, items, cycles[c], aligned, static_cast<int>(c));
    if (loop.passes.size() < 2) continue;
    loop.evidence = evidence_of(items, cycles, aligned, c, chance);
    loop.confidence = confidence(loop.evidence);
    add_bass_line(loop, take);
    out.push_back(std::move(loop));
  }
  return out;
}

// The vamps among the segments that lie in no pass of a loop.
void add_vamps(const HeardTake& take, const Beats& beats, const std::vector<Segment>& items,
               std::vector<Loop>& loops) {
  std::vector<bool> usable(items.size(), true);
  double all = 0;
  for (std::size_t i = 0; i < items.size(); ++i) {
    all += items[i].length();
    for (const Loop& loop : loops)
      for (const LoopPass& pass : loop.passes)
        if (items[i].begin >= pass.begin && items[i].end <= pass.end) usable[i] = false;
  }
  while (loops.size() < kMostLoops) {
    const auto vamp = find_vamp(take, beats, items, usable);
    if (!vamp) return;
    Loop loop;
    Names names(vamp->root);
    names.add(take, items[vamp->first].first, items[vamp->last].last);
    const ChordSpan* name = names.best();
    std::vector<double> lengths;
    for (std::size_t b = 0; b + 1 < vamp->begins.size(); ++b) {
      LoopPass pass;
      pass.begin = pass.on_beat = vamp->begins[b];
      pass.end = vamp->begins[b + 1];
      pass.places.push_back({pass.begin, pass.end, std::nullopt, 0});
      lengths.push_back(seconds(pass.end - pass.begin));
      loop.passes.push_back(std::move(pass));
    }
    LoopChord chord;
    chord.chord = name->chord;
    chord.root = name->root;
    chord.length = Micros(static_cast<std::int64_t>(1e6 * median(lengths)));
    chord.beats = beats.pulse() ? beats.meter : 0;
    loop.chords.push_back(chord);
    const auto bars = static_cast<double>(loop.passes.size());
    loop.evidence = {seconds(loop.passes.back().end - loop.passes.front().begin) / std::max(.1, all),
                     bars,
                     bars,
                     vamp->share,
                     vamp->regular,
                     0,
                     1};
    loop.confidence = confidence(loop.evidence);
    for (std::size_t i = vamp->first; i <= vamp->last; ++i) usable[i] = false;
    loops.push_back(std::move(loop));
  }
}

}  // namespace

std::vector<Loop> all_loops(const HeardTake& take, const Beats& beats) {
  const auto items = segments_of(take, beats);
  auto loops = cycles_of(take, beats, items);
  add_vamps(take, beats, items, loops);
  return loops;
}

std::vector<Loop> find_loops(const HeardTake& take, const Beats& beats) {
  auto loops = all_loops(take, beats);
  std::erase_if(loops, [](const Loop& loop) { return loop.confidence < kClaimed; });
  return loops;
}

std::optional<Loop> find_loop(const HeardTake& take, const Beats& beats) {
  auto loops = find_loops(take, beats);
  if (loops.empty()) return std::nullopt;
  return std::move(loops.front());
}

Beats without_free_playing(const Beats& beats, const std::vector<const Loop*>& loops) {
  constexpr Micros kSlack{250'000};
  if (loops.empty() || loops.front()->confidence < .75 || beats.beats.size() < 8) return beats;
  const auto inside = [&](Micros t) {
    return std::any_of(loops.begin(), loops.end(), [&](const Loop* loop) {
      const auto it = std::upper_bound(loop->passes.begin(), loop->passes.end(), t + kSlack,
                                       [](Micros at, const LoopPass& p) { return at < p.begin; });
      return it != loop->passes.begin() && t < (it - 1)->end - kSlack;
    });
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

Beats first_beats(const HeardTake& take, const BeatsReached& reached) {
  std::vector<Micros> changes;
  for (const ChordSpan& span : take.spans) changes.push_back(span.begin);
  return find_beats(take.notes, changes, reached);
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
