#include "daemon/takes/find_takes.h"

#include <algorithm>
#include <cstdlib>
#include <functional>
#include <map>
#include <queue>

#include "daemon/takes/find_chords.h"
#include "daemon/takes/find_line.h"
#include "daemon/takes/find_texture.h"
#include "daemon/takes/find_tune.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kPlacesOfATake = 16;  // looked at with all notes, at most
constexpr float kAsGood = 0.5f;             // what a place may be worse and still count as another time
// Above this a passage is surer than any progression; the scores of the two are not comparable.
constexpr float kSurePassage = 4, kAbove = 1000;
// A single line of fewer notes is not tried as a passage.
constexpr std::size_t kFewestOfASolo = 15;

struct Place {
  float score = 0;
  FindTime from = 0, to = 0;
  FindMapping mapping;
};

struct Likely {
  const FindLines* take = nullptr;
  Place place;
};

bool better(const Place& a, const Place& b) {
  return a.score > b.score;
}

// Puts the places of one take together.
FoundTake together(TakeId take, FoundAs as, std::vector<Place> places) {
  std::stable_sort(places.begin(), places.end(), better);
  const Place best = places.front();
  FoundTake out{take, as, best.score, best.from, best.to, best.mapping.shift, best.mapping.rate, 0};
  std::erase_if(places, [&](const Place& place) { return place.score < best.score - kAsGood; });
  std::sort(places.begin(), places.end(), [](const Place& a, const Place& b) { return a.from < b.from; });
  const FindTime length = best.to - best.from;
  FindTime counted = -kLongestFind;
  for (const Place& place : places)
    if (place.from - counted > length / 2) ++out.times, counted = place.from;
  const FindTime gap = length / 4;
  for (auto place = places.rbegin(); place != places.rend(); ++place)
    if (place->from < out.from && place->to >= out.from - gap) out.from = place->from;
  for (const Place& place : places)
    if (place.to > out.to && place.from <= out.to + gap) out.to = place.to;
  return out;
}

// The likely places of a line in the takes, by their lines alone.
std::vector<Likely> likely_places(std::span<const FindNote> tune, std::span<const FindLines* const> takes,
                                  bool in_melody, std::size_t most) {
  const LineSeeds seeds(tune);
  std::vector<Likely> out;
  std::vector<Place> here;
  for (const FindLines* take : takes) {
    here.clear();
    const auto look = [&](std::span<const FindNote> line, bool skipping) {
      seeds.scan(line, skipping, [&](const LineSeed& seed) {
        const LineMatch match = follow(tune, line, seed);
        if (match.score > 0) here.push_back({match.score, match.from, match.to, match.mapping});
      });
    };
    if (in_melody) look(take->lines.melody, true);
    look(take->lines.top, false);
    std::stable_sort(here.begin(), here.end(), better);
    std::size_t kept = 0;
    for (std::size_t i = 0; i < here.size() && kept < kPlacesOfATake; ++i) {
      // Seeds of the same place find it again and again.
      const auto same = [&](const Place& other) {
        return other.mapping.shift == here[i].mapping.shift && std::abs(other.from - here[i].from) < 30 &&
               std::abs(other.to - here[i].to) < 30;
      };
      if (std::any_of(here.begin(), here.begin() + static_cast<std::ptrdiff_t>(kept), same)) continue;
      here[kept++] = here[i];
    }
    for (std::size_t i = 0; i < kept; ++i) out.push_back({take, here[i]});
  }
  const auto surer = [](const Likely& a, const Likely& b) { return better(a.place, b.place); };
  if (out.size() > most) {
    std::nth_element(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(most), out.end(), surer);
    out.resize(most);
  }
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
    std::vector<Place> places;
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

std::vector<FoundTake> as_tune(const FindQuery& query, std::span<const FindLines* const> takes,
                               const ReadNotes& read_notes, FindEffort effort) {
  const auto& tune = query.print.notes;
  return looked_at(likely_places(tune, takes, true, effort.places), FoundAs::kTune, read_notes,
                   [&](const FindPrint& print, std::span<const Likely> likely) {
                     const auto notes = roled(print);
                     std::vector<Place> out;
                     for (std::size_t i = 0; i < likely.size() && likely[i].take == likely[0].take; ++i) {
                       const auto fit = fit_tune(tune, notes, likely[i].place.mapping);
                       out.push_back({fit.score, fit.from, fit.to, likely[i].place.mapping});
                     }
                     return out;
                   });
}

std::vector<FoundTake> as_passage(const FindQuery& query, std::span<const FindLines* const> takes,
                                  const ReadNotes& read_notes, FindEffort effort) {
  return looked_at(likely_places(query.print.top, takes, false, effort.places), FoundAs::kPassage, read_notes,
                   [&](const FindPrint& print, std::span<const Likely> likely) {
                     std::vector<Place> out;
                     for (std::size_t i = 0; i < likely.size() && likely[i].take == likely[0].take; ++i) {
                       const auto fit = fit_texture(query.print.notes, print.notes, likely[i].place.mapping);
                       out.push_back({fit.score, fit.from, fit.to, likely[i].place.mapping});
                     }
                     return out;
                   });
}

std::vector<FoundTake> as_chords(const FindQuery& query, std::span<const FindLines* const> takes,
                                 std::size_t limit) {
  std::vector<FoundTake> out;
  ProgressionFinder finder(query.print.chords);
  // The scores of the best takes so far, lowest on top: what can't come among them is not looked for in full.
  std::priority_queue<float, std::vector<float>, std::greater<>> best;
  for (const FindLines* take : takes) {
    std::vector<Place> places;
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

std::vector<FoundTake> find_takes(const FindQuery& query, std::span<const FindLines* const> takes,
                                  const ReadNotes& read_notes, std::size_t limit, FindEffort effort) {
  std::map<TakeId, FoundTake> best;
  const auto add = [&](const std::vector<FoundTake>& found) {
    for (const FoundTake& each : found) {
      const auto [known, fresh] = best.try_emplace(each.take, each);
      if (!fresh && each.score > known->second.score) known->second = each;
    }
  };
  std::vector<FoundTake> passages;
  if (!query.single_line || query.print.notes.size() >= kFewestOfASolo)
    passages = as_passage(query, takes, read_notes, effort);
  // A few notes of one voice may lie in a solo of another take by chance.
  const float sure = query.single_line ? static_cast<float>(query.print.notes.size()) : kSurePassage;
  std::erase_if(passages, [sure](const FoundTake& each) { return each.score < sure; });
  for (FoundTake& each : passages) each.score += kAbove;
  add(passages);
  add(query.single_line ? as_tune(query, takes, read_notes, effort) : as_chords(query, takes, limit));
  std::vector<FoundTake> out;
  for (const auto& [take, found] : best)
    if (found.score > 0) out.push_back(found);
  std::stable_sort(out.begin(), out.end(),
                   [](const FoundTake& a, const FoundTake& b) { return a.score > b.score; });
  if (out.size() > limit) out.resize(limit);
  return out;
}

}  // namespace undersong::takes
