#include "daemon/takes/find_takes.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <functional>
#include <map>
#include <queue>
#include <tuple>

#include "daemon/takes/find_chords.h"
#include "daemon/takes/find_line.h"
#include "daemon/takes/find_texture.h"
#include "daemon/takes/find_tune.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kPlacesOfATake = 16;  // looked at with all notes, at most
// What a place may be worse and still be the one that was meant: a slip or two in the playing, or in what the
// ear made of the take.
constexpr float kAsGood = 2;
// Above this a passage is surer than any progression; the scores of the two are not comparable.
constexpr float kSurePassage = 4, kAbove = 1000;
// A single line of fewer notes is not tried as a passage.
constexpr std::size_t kFewestOfASolo = 15;

struct TakePlace {
  float score = 0;
  FindTime from = 0, to = 0;
  FindMapping mapping;
};

struct Likely {
  const FindLines* take = nullptr;
  TakePlace place;
};

bool better(const TakePlace& a, const TakePlace& b) {
  return a.score > b.score;
}

// Puts the places of one take together.
FoundTake together(TakeId take, FoundAs as, std::vector<TakePlace> places) {
  std::stable_sort(places.begin(), places.end(), better);
  const TakePlace best = places.front();
  FoundTake out{take, as, best.score, best.from, best.to, best.mapping.shift, best.mapping.rate, 0, {}};
  std::erase_if(places, [&](const TakePlace& place) { return place.score < best.score - kAsGood; });
  std::sort(places.begin(), places.end(),
            [](const TakePlace& a, const TakePlace& b) { return a.from < b.from; });
  const FindTime length = best.to - best.from;
  FindTime counted = -kLongestFind;
  for (const TakePlace& place : places)
    if (place.from - counted > length / 2) ++out.times, counted = place.from;
  const FindTime gap = length / 4;
  std::vector<FoundSpan> runs;
  for (const TakePlace& place : places) {
    if (runs.empty() || place.from > runs.back().to + gap)
      runs.push_back({place.from, place.to});
    else
      runs.back().to = std::max(runs.back().to, place.to);
  }
  for (const FoundSpan& run : runs) {
    if (run.from <= best.from && best.to <= run.to)
      out.from = run.from, out.to = run.to;
    else
      out.others.push_back(run);
  }
  return out;
}

// Seeds of a take that agree on where the tune would lie.
struct Agreeing {
  const FindLines* take = nullptr;
  bool in_melody = false;
  int shift = 0;
  FindTime middle = 0;  // of the tune in the take, in units of kAgree
  LineSeed seed{};
  int seeds = 0;
};
constexpr FindTime kAgree = 100;
constexpr std::size_t kFollowed = 24;

std::span<const FindNote> notes_of_agreeing(const Agreeing& each) {
  return each.in_melody ? each.take->lines.melody : each.take->lines.top;
}

// Keeps the `most` that come first by `before`.
template <class T, class Before>
void keep_first(std::vector<T>& all, std::size_t most, Before before) {
  if (all.size() <= most) return;
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(most), all.end(), before);
  all.resize(most);
}

// Where seeds lie, each place once. To follow every seed would take most of the time of a search.
std::vector<Agreeing> seeded(std::span<const FindNote> tune, const std::vector<FindWindow>& windows,
                             bool in_melody, std::size_t most) {
  const LineSeeds seeds(tune);
  const FindTime middle = tune[std::min(tune.size(), kLongestTune) / 2].at;
  std::vector<Agreeing> out, here;
  for (const FindWindow& window : windows) {
    // A tune that goes up and down the same steps has seeds everywhere.
    if (out.size() >= most) break;
    const FindLines* take = window.take;
    here.clear();
    const auto look = [&](const std::vector<FindNote>& whole, bool melody) {
      const auto earlier = [](const FindNote& note, FindTime at) { return note.at < at; };
      const auto from = std::lower_bound(whole.begin(), whole.end(), window.from, earlier);
      const auto line = std::span(from, std::lower_bound(from, whole.end(), window.to, earlier));
      const auto offset = static_cast<std::uint32_t>(from - whole.begin());
      seeds.scan(line, melody, [&](LineSeed seed) {
        const FindNote &first = tune[seed.tune[0]], &last = tune[seed.tune[2]];
        const double rate = static_cast<double>(line[seed.line[2]].at - line[seed.line[0]].at) /
                            std::max(1, last.at - first.at);
        const double at = line[seed.line[0]].at + rate * (middle - first.at);
        const int shift = line[seed.line[0]].key - first.key;
        for (auto& note : seed.line) note += offset;
        here.push_back({take, melody, shift, static_cast<FindTime>(std::floor(at / kAgree)), seed, 1});
      });
    };
    if (in_melody) look(take->lines.melody, true);
    look(take->lines.top, false);
    std::sort(here.begin(), here.end(), [](const Agreeing& a, const Agreeing& b) {
      return std::tie(a.in_melody, a.shift, a.middle, a.seed.line[0], a.seed.tune[0]) <
             std::tie(b.in_melody, b.shift, b.middle, b.seed.line[0], b.seed.tune[0]);
    });
    std::size_t before = 0, before_begin = 0;  // the seeds that agree just before `i`
    for (std::size_t i = 0; i < here.size();) {
      const auto near = [&](std::size_t other, FindTime apart) {
        return here[other].in_melody == here[i].in_melody && here[other].shift == here[i].shift &&
               here[other].middle - here[i].middle == apart;
      };
      std::size_t end = i, after = i;
      while (end < here.size() && near(end, 0)) ++end;
      for (after = end; after < here.size() && near(after, 1);) ++after;
      const std::size_t beside = before > 0 && near(before_begin, -1) ? before : 0;
      // Their tempos differ, so many are followed, spread over the tune.
      const std::size_t several = std::min(end - i, kFollowed);
      for (std::size_t n = 0; n < several; ++n) {
        out.push_back(here[i + (end - i) * (2 * n + 1) / (2 * several)]);
        out.back().seeds = static_cast<int>(end - i + std::max(beside, after - end));
      }
      before = end - i, before_begin = i;
      i = end;
    }
  }
  return out;
}

// The likely places of a line in the takes, by their lines alone.
std::vector<Likely> likely_places(std::span<const FindNote> tune, const std::vector<FindWindow>& windows,
                                  bool in_melody, const FindEffort& effort) {
  std::vector<Likely> out;
  if (tune.empty()) return out;
  auto followed = seeded(tune, windows, in_melody, effort.seeds);
  keep_first(followed, effort.followed,
             [](const Agreeing& a, const Agreeing& b) { return a.seeds > b.seeds; });
  std::stable_sort(followed.begin(), followed.end(),
                   [](const Agreeing& a, const Agreeing& b) { return a.take->take < b.take->take; });
  std::vector<TakePlace> here;
  for (auto each = followed.begin(); each != followed.end();) {
    const FindLines* take = each->take;
    here.clear();
    for (; each != followed.end() && each->take == take; ++each) {
      const LineMatch match = follow(tune, notes_of_agreeing(*each), each->seed);
      if (match.score > 0) here.push_back({match.score, match.from, match.to, match.mapping});
    }
    std::stable_sort(here.begin(), here.end(), better);
    std::size_t kept = 0;
    for (std::size_t i = 0; i < here.size() && kept < kPlacesOfATake; ++i) {
      // Seeds of the same place find it again and again.
      const auto same = [&](const TakePlace& other) {
        return other.mapping.shift == here[i].mapping.shift && std::abs(other.from - here[i].from) < 30 &&
               std::abs(other.to - here[i].to) < 30;
      };
      if (std::any_of(here.begin(), here.begin() + static_cast<std::ptrdiff_t>(kept), same)) continue;
      here[kept++] = here[i];
    }
    for (std::size_t i = 0; i < kept; ++i) out.push_back({take, here[i]});
  }
  keep_first(out, effort.places, [](const Likely& a, const Likely& b) { return better(a.place, b.place); });
  return out;
}

// Looks at the likely places with all notes: fit(print, place) gives its score, beginning and end.
template <class Fit>
std::vector<FoundTake> looked_at(std::vector<Likely> likely, FoundAs as, const ReadNotes& read_notes,
                                 Fit fit) {
  std::stable_sort(likely.begin(), likely.end(),
                   [](const Likely& a, const Likely& b) { return a.take->take < b.take->take; });
  std::vector<FoundTake> out;
  for (std::size_t i = 0; i < likely.size();) {
    const FindLines* take = likely[i].take;
    std::vector<TakePlace> places;
    if (auto notes = read_notes(take->take)) {
      FindPrint print = take->lines;
      print.notes = std::move(*notes);
      places = fit(print, std::span(likely).subspan(i));
    }
    while (i < likely.size() && likely[i].take == take) ++i;
    if (!places.empty()) out.push_back(together(take->take, as, std::move(places)));
  }
  return out;
}

std::vector<FindWindow> windows_of(const FindQuery& query, std::span<const FindNote> line,
                                   const FindShelf& shelf, const FindEffort& effort) {
  auto out = shelf.likely(line, effort.windows);
  std::erase_if(out, [&](const FindWindow& each) { return each.take->take == query.of; });
  std::stable_sort(out.begin(), out.end(),
                   [](const FindWindow& a, const FindWindow& b) { return a.votes > b.votes; });
  return out;
}

std::vector<FoundTake> as_tune(const FindQuery& query, const FindShelf& shelf, const ReadNotes& read_notes,
                               const FindEffort& effort) {
  const auto& tune = query.print.notes;
  const auto windows = windows_of(query, tune, shelf, effort);
  return looked_at(likely_places(tune, windows, true, effort), FoundAs::kTune, read_notes,
                   [&](const FindPrint& print, std::span<const Likely> likely) {
                     const auto notes = roled(print);
                     std::vector<TakePlace> out;
                     for (std::size_t i = 0; i < likely.size() && likely[i].take == likely[0].take; ++i) {
                       const auto fit = fit_tune(tune, notes, likely[i].place.mapping);
                       out.push_back({fit.score, fit.from, fit.to, likely[i].place.mapping});
                     }
                     return out;
                   });
}

std::vector<FoundTake> as_passage(const FindQuery& query, const FindShelf& shelf, const ReadNotes& read_notes,
                                  const FindEffort& effort) {
  const auto windows = windows_of(query, query.print.top, shelf, effort);
  return looked_at(likely_places(query.print.top, windows, false, effort), FoundAs::kPassage, read_notes,
                   [&](const FindPrint& print, std::span<const Likely> likely) {
                     std::vector<TakePlace> out;
                     for (std::size_t i = 0; i < likely.size() && likely[i].take == likely[0].take; ++i) {
                       const auto fit = fit_texture(query.print.notes, print.notes, likely[i].place.mapping);
                       out.push_back({fit.score, fit.from, fit.to, likely[i].place.mapping});
                     }
                     return out;
                   });
}

std::vector<FoundTake> as_chords(const FindQuery& query, const FindShelf& shelf, const FindEffort& effort,
                                 std::size_t limit) {
  std::vector<FoundTake> out;
  auto takes = shelf.likely(query.print.chords, shelf.size());
  std::erase_if(takes, [&](const FindLines* each) { return each->take == query.of; });
  ProgressionFinder finder(query.print.chords);
  // The scores of the best takes so far, lowest on top: what can't come among them is not looked for in full.
  std::priority_queue<float, std::vector<float>, std::greater<>> best;
  for (const FindLines* take : takes) {
    if (finder.steps() >= effort.chord_steps) break;
    std::vector<TakePlace> places;
    for (const ChordFit& fit : finder.find(take->lines.chords, best.size() < limit ? -1e9f : best.top()))
      places.push_back({fit.score, fit.from, fit.to, {fit.shift, fit.rate, 0, 0}});
    if (places.empty()) continue;
    best.push(places.front().score);
    if (best.size() > limit) best.pop();
    out.push_back(together(take->take, FoundAs::kChords, std::move(places)));
  }
  return out;
}

}  // namespace

std::vector<FoundTake> find_takes(const FindQuery& query, const FindShelf& shelf, const ReadNotes& read_notes,
                                  std::size_t limit, const FindEffort& effort) {
  std::map<TakeId, FoundTake> best;
  const auto add = [&](const std::vector<FoundTake>& found) {
    for (const FoundTake& each : found) {
      const auto [known, fresh] = best.try_emplace(each.take, each);
      if (!fresh && each.score > known->second.score) known->second = each;
    }
  };
  std::vector<FoundTake> passages;
  if (!query.single_line || query.print.notes.size() >= kFewestOfASolo)
    passages = as_passage(query, shelf, read_notes, effort);
  // A few notes of one voice may lie in a solo of another take by chance.
  const float sure = query.single_line ? static_cast<float>(query.print.notes.size()) : kSurePassage;
  std::erase_if(passages, [sure](const FoundTake& each) { return each.score < sure; });
  // What is surely a passage of a take is not a progression that many takes share: these need less looking
  // for.
  FindEffort left = effort;
  if (!passages.empty() && effort.chord_steps != SIZE_MAX) left.chord_steps /= 4;
  for (FoundTake& each : passages) each.score += kAbove;
  add(passages);
  add(query.single_line ? as_tune(query, shelf, read_notes, effort) : as_chords(query, shelf, left, limit));
  std::vector<FoundTake> out;
  for (const auto& [take, found] : best)
    if (found.score > 0) out.push_back(found);
  std::stable_sort(out.begin(), out.end(),
                   [](const FoundTake& a, const FoundTake& b) { return a.score > b.score; });
  if (out.size() > limit) out.resize(limit);
  return out;
}

}  // namespace undersong::takes
