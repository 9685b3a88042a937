#include "daemon/takes/find_shelf.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "daemon/harmony/chord_vocabulary.h"
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
constexpr std::size_t kMostVotes = 4'000'000;
constexpr int kFewestVotes = 2;
constexpr std::size_t kLane = 16;
// The least that is voted on at once: its votes, eight bytes a stretch, fit into a cache of 256 kilobytes.
constexpr std::uint32_t kAtOnce = (1u << 14) * kStretch;
constexpr FindTime kBetweenTakes = 3000;
constexpr float kSkipped = 0.5f;  // what two chords with another between them count

int rhythm(float proportion) {
  return proportion > kLonger ? 2 : proportion < 1 / kLonger ? 0 : 1;
}

float proportion(const FindNote& a, const FindNote& b, const FindNote& c) {
  return static_cast<float>(c.at - b.at + 1) / static_cast<float>(b.at - a.at + 1);
}

// Without the rhythm; negative if it is not in the index.
int kind_of_notes(const FindNote& a, const FindNote& b, const FindNote& c) {
  const int first = b.key - a.key, second = c.key - b.key;
  if (std::abs(first) > kWidest || std::abs(second) > kWidest || c.at - a.at > kLongestThree || c.at == a.at)
    return -1;
  return ((first + kWidest) * kIntervals + second + kWidest) * kRhythms;
}

int third_of(const FindChord& chord) {
  return static_cast<int>(harmony::third_in(chord.tones));
}
std::size_t kind_of_chords(const FindChord& a, const FindChord& b) {
  return static_cast<std::size_t>((((b.root - a.root + 12) % 12) * 3 + third_of(a)) * 3 + third_of(b));
}

}  // namespace

FindShelf::FindShelf() : notes_(kNoteKinds), chords_(kChordKinds) {}

void FindShelf::enter(const FindNote& a, const FindNote& b, const FindNote& c, Time begin) {
  const int kind = kind_of_notes(a, b, c);
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
      auto& here = chords_[kind_of_chords(print.chords[i], print.chords[j])];
      if (here.empty() || here.back() != slot) here.push_back(slot);
    }
}

void FindShelf::erase(TakeId take) {
  const auto found = takes_.find(take);
  if (found == takes_.end()) return;
  slots_[found->second.slot].lines = nullptr;
  takes_.erase(found);
}

// The places in the index of three notes of the tune, as they are walked through from take to take.
struct FindShelf::Asked {
  const Three *next = nullptr, *end = nullptr;
  std::uint16_t shortest = 0, longest = 0;  // of three notes in a tempo that is tried
  std::int32_t to_middle = 0;  // from the first note to the tune's middle, in 65,536ths of their length
  std::uint8_t key = 0;        // of the first note
  std::uint64_t note = 0;      // its bit
};

std::vector<FindShelf::Asked> FindShelf::asked_of(std::span<const FindNote> tune) const {
  const FindTime middle = tune[tune.size() / 2].at;
  std::vector<Asked> out;
  for (std::size_t i = 0; i < tune.size(); ++i)
    for (std::size_t j = i + 1; j < std::min(i + 3, tune.size()); ++j)
      for (std::size_t k = j + 1; k < std::min(j + 3, tune.size()); ++k) {
        const int kind = kind_of_notes(tune[i], tune[j], tune[k]);
        if (kind < 0) continue;
        const double length = tune[k].at - tune[i].at;
        Asked asked;
        asked.shortest = static_cast<std::uint16_t>(std::ceil(kSlowest * length));
        asked.longest = static_cast<std::uint16_t>(kFastest * length);
        // What is farther away than this comes from a tune with long rests; it would not say where they end.
        if (std::abs(middle - tune[i].at) > 60 * length) continue;
        asked.to_middle = static_cast<std::int32_t>(65536 * ((middle - tune[i].at) / length));
        asked.key = tune[i].key;
        asked.note = std::uint64_t{1} << (i * kLane / std::max(tune.size(), kLane));
        const float longer = proportion(tune[i], tune[j], tune[k]);
        const int least = rhythm(longer / kUnsure), most = rhythm(longer * kUnsure);
        for (int each = least; each <= most; ++each) {
          const auto& there = notes_[static_cast<std::size_t>(kind + each)];
          asked.next = there.data();
          asked.end = there.data() + there.size();
          if (!there.empty()) out.push_back(asked);
        }
      }
  std::stable_sort(out.begin(), out.end(),
                   [](const Asked& a, const Asked& b) { return a.end - a.next < b.end - b.next; });
  std::size_t votes = 0, kept = 0;
  while (kept < out.size() && votes < kMostVotes)
    votes += static_cast<std::size_t>(out[kept].end - out[kept].next), ++kept;
  out.resize(kept);
  return out;
}

namespace {

// How many bits each lane has.
std::uint64_t counted(std::uint64_t lanes) {
  lanes -= lanes >> 1 & 0x5555555555555555u;
  lanes = (lanes & 0x3333333333333333u) + (lanes >> 2 & 0x3333333333333333u);
  lanes = (lanes + (lanes >> 4)) & 0x0F0F0F0F0F0F0F0Fu;
  return (lanes + (lanes >> 8)) & 0x001F001F001F001Fu;
}
int most_of(std::uint64_t counts) {
  const auto lane = [counts](int n) { return static_cast<int>(counts >> n * 16 & 0x1F); };
  return std::max(std::max(lane(0), lane(1)), std::max(lane(2), lane(3)));
}
int sum_of(std::uint64_t counts) {
  return static_cast<int>(counts * 0x0001000100010001u >> 48);
}

}  // namespace

// For each stretch on the line of all takes, the notes of the tune that say its middle lies there: four lanes
// of sixteen bits, by the key in which they say so. Some takes after the other, so that the votes for them
// stay in the processor's cache.
std::vector<FindShelf::Stretch> FindShelf::voted(std::span<const FindNote> tune, std::size_t most) const {
  auto asked = asked_of(tune);
  std::vector<Stretch> out;
  std::array<std::size_t, 3 * kLane + 1> of_score{};
  int fewest = 2 * kFewestVotes;
  std::vector<std::uint64_t> votes;
  for (std::size_t slot = 0; slot < slots_.size();) {
    const Time begin = slots_[slot].begin;
    Time end = begin;
    do end = ++slot < slots_.size() ? slots_[slot].begin : end_;
    while (slot < slots_.size() && end - begin < kAtOnce);
    const std::size_t stretches = (end - begin) / kStretch + 2;
    votes.assign(stretches, 0);
    for (Asked& each : asked)
      for (; each.next != each.end && each.next->at < end; ++each.next) {
        const Three& three = *each.next;
        if (three.length < each.shortest || three.length > each.longest) continue;
        const std::int32_t later =
            static_cast<std::int32_t>(std::int64_t{three.length} * each.to_middle >> 16);
        const std::size_t at = (three.at - begin + static_cast<std::uint32_t>(later)) / kStretch;
        if (at < stretches) votes[at] |= each.note << ((three.key - each.key) & 3) * kLane;
      }
    for (std::size_t i = 1; i < stretches; ++i) {
      const std::uint64_t both = counted(votes[i] | votes[i - 1]);
      if (3 * sum_of(both) < fewest) continue;  // most of them
      const int around = most_of(both);
      if (3 * around < fewest) continue;
      const int score = 2 * around + most_of(counted(votes[i]));
      if (score < fewest) continue;
      out.push_back({begin + static_cast<Time>(i * kStretch), score});
      ++of_score[static_cast<std::size_t>(score)];
      if (out.size() < 8 * most) continue;
      // Enough are better than the worst of these.
      std::size_t better = 0;
      int score_of_last = 3 * kLane;
      while ((better += of_score[static_cast<std::size_t>(score_of_last)]) < most) --score_of_last;
      fewest = score_of_last;
      std::erase_if(out, [&](const Stretch& each) { return each.score < fewest; });
      std::fill_n(of_score.begin(), fewest, 0);
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
  auto best = voted(tune, most);
  if (best.size() > most) {
    std::nth_element(best.begin(), best.begin() + static_cast<std::ptrdiff_t>(most), best.end(),
                     [](const Stretch& a, const Stretch& b) {
                       return a.score != b.score ? a.score > b.score : a.at < b.at;
                     });
    best.resize(most);
  }
  std::sort(best.begin(), best.end(), [](const Stretch& a, const Stretch& b) { return a.at < b.at; });
  const FindTime middle = tune[tune.size() / 2].at;
  const auto before = static_cast<FindTime>(kFastest * (middle - tune.front().at)) + 2 * kStretch,
             after = static_cast<FindTime>(kFastest * (tune.back().at - middle)) + 2 * kStretch;
  for (const Stretch& each : best) {
    auto slot = std::upper_bound(slots_.begin(), slots_.end(), each.at,
                                 [](Time time, const Placed& placed) { return time < placed.begin; });
    if (slot == slots_.begin() || !(--slot)->lines) continue;
    const auto in_take = static_cast<FindTime>(each.at - slot->begin);
    const FindWindow window{slot->lines, in_take - before, in_take + after, each.score};
    if (!out.empty() && out.back().take == window.take && out.back().to >= window.from)
      out.back().to = window.to, out.back().votes = std::max(out.back().votes, window.votes);
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
      const std::size_t kind = kind_of_chords(progression[i], progression[j]);
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
