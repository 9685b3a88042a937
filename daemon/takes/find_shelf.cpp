#include "daemon/takes/find_shelf.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

#include "daemon/takes/find_line.h"

namespace undersong::takes {
namespace {

constexpr int kWidest = 12, kIntervals = 2 * kWidest + 1;
constexpr int kRhythms = 3;  // of two durations: shorter, equal, longer
constexpr std::size_t kNoteKinds = kIntervals * kIntervals * kRhythms;
constexpr std::size_t kChordKinds = 12 * 3 * 3;
// Where one duration counts as longer than another, and how far from there it may be either.
constexpr float kLonger = 1.4f, kUnsure = 1.3f;
constexpr FindTime kLongestThree = 600;
// Votes are counted for stretches of this length.
constexpr FindTime kStretch = 128;
// What is asked is a few seconds; more of it would say nothing new. Of its notes in threes, the rarest are
// looked up until this many places have voted.
constexpr std::size_t kMostVotes = 1'500'000;
constexpr int kFewestVotes = 2;
constexpr FindTime kBetweenTakes = 3000;
constexpr float kSkipped = 0.5f;  // what two chords with another between them count

int rhythm(float proportion) {
  return proportion > kLonger ? 2 : proportion < 1 / kLonger ? 0 : 1;
}

float proportion(const FindNote& a, const FindNote& b, const FindNote& c) {
  return static_cast<float>(c.at - b.at + 1) / static_cast<float>(b.at - a.at + 1);
}

// Without the rhythm; negative if it is not in the index.
int kind_of(const FindNote& a, const FindNote& b, const FindNote& c) {
  const int first = b.key - a.key, second = c.key - b.key;
  if (std::abs(first) > kWidest || std::abs(second) > kWidest || c.at - a.at > kLongestThree || c.at == a.at)
    return -1;
  return ((first + kWidest) * kIntervals + second + kWidest) * kRhythms;
}

int third(const FindChord& chord) {
  return chord.tones.contains(PitchClass(4)) ? 1 : chord.tones.contains(PitchClass(3)) ? 2 : 0;
}
std::size_t kind_of(const FindChord& a, const FindChord& b) {
  return static_cast<std::size_t>((((b.root - a.root + 12) % 12) * 3 + third(a)) * 3 + third(b));
}

}  // namespace

FindShelf::FindShelf() : notes_(kNoteKinds), chords_(kChordKinds) {}

void FindShelf::enter(const FindNote& a, const FindNote& b, const FindNote& c, Time begin) {
  const int kind = kind_of(a, b, c);
  if (kind < 0) return;
  auto& here = notes_[static_cast<std::size_t>(kind + rhythm(proportion(a, b, c)))];
  const Three three{begin + static_cast<Time>(a.at), static_cast<std::uint16_t>(c.at - a.at), a.key};
  // The melody is often the highest line as well.
  for (auto each = here.rbegin(); each != here.rend() && each - here.rbegin() < 4; ++each)
    if (each->at == three.at && each->key == three.key) return;
  here.push_back(three);
}

void FindShelf::enter(std::span<const FindNote> line, Time begin, bool skipping) {
  for (std::size_t i = 0; i + 2 < line.size(); ++i) {
    enter(line[i], line[i + 1], line[i + 2], begin);
    if (!skipping || i + 3 >= line.size()) continue;
    enter(line[i], line[i + 1], line[i + 3], begin);
    enter(line[i], line[i + 2], line[i + 3], begin);
  }
}

void FindShelf::put(FindLines take) {
  erase(take.take);
  const TakeId number = take.take;
  const auto slot = static_cast<Slot>(slots_.size());
  const Kept& kept = takes_.insert_or_assign(number, Kept{std::move(take), slot}).first->second;
  const FindPrint& print = kept.lines.lines;
  FindTime length = 0;
  for (const auto* line : {&print.melody, &print.top})
    if (!line->empty()) length = std::max(length, line->back().at);
  slots_.push_back({end_, &kept.lines});
  if (std::numeric_limits<Time>::max() - end_ > static_cast<Time>(length + kBetweenTakes)) {
    // Both lines by time, so that what is in both is seen.
    enter(print.melody, end_, true);
    enter(print.top, end_, false);
    end_ += static_cast<Time>(length + kBetweenTakes);
  }
  for (std::size_t i = 0; i + 1 < print.chords.size(); ++i)
    for (std::size_t j = i + 1; j < std::min(i + 3, print.chords.size()); ++j) {
      auto& here = chords_[kind_of(print.chords[i], print.chords[j])];
      if (here.empty() || here.back() != slot) here.push_back(slot);
    }
}

void FindShelf::erase(TakeId take) {
  const auto found = takes_.find(take);
  if (found == takes_.end()) return;
  slots_[found->second.slot].lines = nullptr;
  takes_.erase(found);
}

// For each stretch on the line of all takes, the notes of the tune that say its middle lies there, as bits.
std::vector<std::uint64_t> FindShelf::votes(std::span<const FindNote> tune) const {
  const FindTime middle = tune[tune.size() / 2].at;
  struct Asked {
    const std::vector<Three>* there;
    float length, to_middle;
    std::size_t note;
  };
  std::vector<Asked> asked;
  for (std::size_t i = 0; i < tune.size(); ++i)
    for (std::size_t j = i + 1; j < std::min(i + 3, tune.size()); ++j)
      for (std::size_t k = j + 1; k < std::min(j + 3, tune.size()); ++k) {
        const int kind = kind_of(tune[i], tune[j], tune[k]);
        if (kind < 0) continue;
        const float longer = proportion(tune[i], tune[j], tune[k]);
        const int least = rhythm(longer / kUnsure), most = rhythm(longer * kUnsure);
        for (int each = least; each <= most; ++each)
          asked.push_back({&notes_[static_cast<std::size_t>(kind + each)],
                           static_cast<float>(tune[k].at - tune[i].at),
                           static_cast<float>(middle - tune[i].at), i});
      }
  std::stable_sort(asked.begin(), asked.end(),
                   [](const Asked& a, const Asked& b) { return a.there->size() < b.there->size(); });
  std::vector<std::uint64_t> out(end_ / kStretch + 2, 0);
  std::size_t voted = 0;
  for (const Asked& each : asked) {
    if (each.there->empty()) continue;
    voted += each.there->size();
    if (voted > kMostVotes) break;
    for (const Three& three : *each.there) {
      const float rate = static_cast<float>(three.length) / each.length;
      if (rate < static_cast<float>(kSlowest) || rate > static_cast<float>(kFastest)) continue;
      const std::int64_t at = std::int64_t{three.at} + static_cast<std::int64_t>(rate * each.to_middle);
      if (at < 0 || at >= std::int64_t{end_}) continue;
      out[static_cast<std::size_t>(at / kStretch)] |= std::uint64_t{1} << each.note;
    }
  }
  return out;
}

std::vector<FindWindow> FindShelf::likely(std::span<const FindNote> tune, std::size_t most) const {
  tune = tune.first(std::min(tune.size(), kLongestTune));
  std::vector<FindWindow> out;
  if (takes_.size() <= most || tune.size() < 3) {
    for (const auto& [take, kept] : takes_) out.push_back({&kept.lines});
    return out;
  }
  const auto voted = votes(tune);
  std::vector<std::pair<int, std::uint32_t>>
      best;  // votes with those of the stretch before, and alone; stretch
  for (std::size_t i = 1; i + 1 < voted.size(); ++i) {
    const int around = std::popcount(voted[i] | voted[i - 1]);
    if (around >= kFewestVotes)
      best.emplace_back(-2 * around - std::popcount(voted[i]), static_cast<std::uint32_t>(i));
  }
  if (best.size() > most) {
    std::nth_element(best.begin(), best.begin() + static_cast<std::ptrdiff_t>(most), best.end());
    best.resize(most);
  }
  std::sort(best.begin(), best.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  const auto reach = static_cast<FindTime>(kFastest * (tune.back().at - tune.front().at)) + 2 * kStretch;
  for (const auto& [votes, stretch] : best) {
    const Time at = stretch * kStretch;
    auto slot = std::upper_bound(slots_.begin(), slots_.end(), at,
                                 [](Time time, const Placed& placed) { return time < placed.begin; });
    if (slot == slots_.begin() || !(--slot)->lines) continue;
    const auto in_take = static_cast<FindTime>(at - slot->begin);
    const FindWindow window{slot->lines, in_take - reach, in_take + reach};
    if (!out.empty() && out.back().take == window.take && out.back().to >= window.from)
      out.back().to = window.to;
    else
      out.push_back(window);
  }
  return out;
}

std::vector<const FindLines*> FindShelf::likely(std::span<const FindChord> progression,
                                                std::size_t most) const {
  std::vector<std::pair<std::size_t, float>> kinds;
  progression = progression.first(std::min(progression.size(), kLongestTune));
  for (std::size_t i = 0; i + 1 < progression.size(); ++i)
    for (std::size_t j = i + 1; j < std::min(i + 3, progression.size()); ++j) {
      const std::size_t kind = kind_of(progression[i], progression[j]);
      const float weight = j == i + 1 ? 1 : kSkipped;
      const auto known =
          std::find_if(kinds.begin(), kinds.end(), [kind](const auto& each) { return each.first == kind; });
      if (known == kinds.end())
        kinds.emplace_back(kind, weight);
      else
        known->second = std::max(known->second, weight);
    }
  std::vector<float> score(slots_.size(), 0);
  for (const auto& [kind, weight] : kinds) {
    const auto& takes = chords_[kind];
    const float rare = weight * std::log(static_cast<float>(slots_.size() + 1) /
                                         static_cast<float>(std::max<std::size_t>(1, takes.size())));
    for (const Slot slot : takes) score[slot] += rare;
  }
  std::vector<std::pair<float, Slot>> best;
  for (Slot slot = 0; slot < slots_.size(); ++slot)
    if (slots_[slot].lines) best.emplace_back(-score[slot], slot);
  const auto kept = static_cast<std::ptrdiff_t>(std::min(most, best.size()));
  std::partial_sort(best.begin(), best.begin() + kept, best.end());
  std::vector<const FindLines*> out;
  for (auto each = best.begin(); each != best.begin() + kept; ++each)
    out.push_back(slots_[each->second].lines);
  return out;
}

}  // namespace undersong::takes
