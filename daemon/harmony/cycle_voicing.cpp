#include "daemon/harmony/cycle_voicing.h"

#include <algorithm>
#include <array>
#include <limits>
#include <optional>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/voice_leading.h"
#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {
namespace {

constexpr std::size_t kMostLayouts = 28;

Keys keys_of(const Voicing& voicing) {
  Keys keys;
  for (Pitch key : voicing.left) keys.push_back(key.value());
  for (Pitch key : voicing.right) keys.push_back(key.value());
  return keys;
}

using Pitches = FixedVector<Pitch, 2 * kNotesInHand>;
Pitches pitches_of(const Voicing& voicing) {
  Pitches out;
  for (Pitch key : voicing.left) out.push_back(key);
  for (Pitch key : voicing.right) out.push_back(key);
  return out;
}

int own_price(const Voicing& voicing) {
  const Keys keys = keys_of(voicing);
  if (keys.size() < 2) return 200;  // there was no room for a chord under the melody
  const Pitches held = pitches_of(voicing);
  // Held against itself, so the price has no motion.
  const int own = price(keys, Hands({held.begin(), held.size()}));
  return std::min(own, 1000);
}

int voices_move(const Voicing& from, const Voicing& to) {
  Pitches a = pitches_of(from), b = pitches_of(to);
  if (a.size() > 1) a.pop_back();
  if (b.size() > 1) b.pop_back();
  return voice_leading_distance({a.begin(), a.size()}, {b.begin(), b.size()});
}

int step_price(const Voicing& from, const Voicing& to) {
  int out = 2 * voices_move(from, to);
  const Pitches a = pitches_of(from), b = pitches_of(to);
  if (a.size() < 2 || b.size() < 2) return out;
  const int before = (a[a.size() - 1].value() - a[0].value()) % 12,
            after = (b[b.size() - 1].value() - b[0].value()) % 12;
  const bool moves = a[0] != b[0] && a[a.size() - 1] != b[b.size() - 1];
  if (moves && before == after && (before == 0 || before == 7)) out += kOuterParallel;
  return out;
}

// A written chord is heard as its symbol says: its own tones and the given top note, nothing else of its
// scale.
bool true_to_symbol(const Voicing& voicing, const Chord& chord, Pitch top) {
  auto tones = row(chord.quality).tones.transposed(chord.root.value());
  tones.insert(chord.bass);
  const auto own = [&](const Hand& hand) {
    return std::all_of(hand.begin(), hand.end(),
                       [&](Pitch key) { return key == top || tones.contains(key.pitch_class()); });
  };
  return own(voicing.left) && own(voicing.right);
}

void add_once(std::vector<Voicing>& list, Voicing voicing) {
  voicing.hands_move = 0;
  if (list.size() < kMostLayouts && std::find(list.begin(), list.end(), voicing) == list.end())
    list.push_back(voicing);
}

}  // namespace

std::vector<std::vector<Voicing>> cycle_layouts(std::span<const Chord> chords, std::span<const Pitch> tops) {
  const std::size_t n = chords.size();
  std::vector<std::vector<Voicing>> lists(n);
  const Hands rest;
  for (std::size_t i = 0; i < n; ++i) {
    const std::span<const Pitch> top(&tops[i], 1);
    add_once(lists[i], voice(chords[i], top, rest));
    // Only styles that include the bass: each layout must be complete by itself.
    for (const Style style : {Style::kShell, Style::kSpread, Style::kQuartal})
      if (const auto made = voice(chords[i], top, rest, style);
          made && true_to_symbol(*made, chords[i], tops[i]))
        add_once(lists[i], *made);
    // Hands lower and higher than at rest.
    for (const int bass : {36, 40, 45, 50}) {
      const std::array<Pitch, 4> held{Pitch(bass), Pitch(bass + 10), Pitch(bass + 16), Pitch(bass + 22)};
      add_once(lists[i], voice(chords[i], top, Hands(held)));
    }
  }
  // Go round twice: add what the hands find coming from the layouts of the chord before.
  for (int round = 0; round < 2 && n > 1; ++round)
    for (std::size_t i = 0; i < n; ++i) {
      const auto& before = lists[(i + n - 1) % n];
      for (std::size_t k = 0; k < before.size() && k < 12; ++k) {
        const Pitches held = pitches_of(before[k]);
        add_once(lists[i],
                 voice(chords[i], std::span<const Pitch>(&tops[i], 1), Hands({held.begin(), held.size()})));
      }
    }
  return lists;
}

int cycle_price(std::span<const Voicing> voicings) {
  int out = 0;
  for (std::size_t i = 0; i < voicings.size(); ++i)
    out += own_price(voicings[i]) + step_price(voicings[i], voicings[(i + 1) % voicings.size()]);
  return out;
}

namespace {

// The cheapest sequence over these lists. REQUIRES: none is empty.
CycleVoicing least_row(const std::vector<std::vector<Voicing>>& lists) {
  CycleVoicing out;
  const std::size_t n = lists.size();
  std::vector<std::vector<int>> own(n);
  std::vector<std::vector<std::vector<int>>> step(n);
  for (std::size_t i = 0; i < n; ++i) {
    const auto& next = lists[(i + 1) % n];
    for (const Voicing& v : lists[i]) own[i].push_back(own_price(v));
    for (const Voicing& v : lists[i]) {
      auto& row = step[i].emplace_back();
      for (const Voicing& w : next) row.push_back(step_price(v, w));
    }
  }
  int least = std::numeric_limits<int>::max();
  std::vector<std::size_t> best;
  for (std::size_t first = 0; first < lists[0].size(); ++first) {
    std::vector<std::vector<std::size_t>> from(n);
    std::vector<int> cost(lists[0].size(), std::numeric_limits<int>::max() / 2);
    cost[first] = own[0][first];
    for (std::size_t i = 1; i < n; ++i) {
      std::vector<int> here(lists[i].size());
      from[i].resize(lists[i].size());
      for (std::size_t b = 0; b < here.size(); ++b) {
        std::size_t by = 0;
        for (std::size_t a = 1; a < cost.size(); ++a)
          if (cost[a] + step[i - 1][a][b] < cost[by] + step[i - 1][by][b]) by = a;
        here[b] = cost[by] + step[i - 1][by][b] + own[i][b];
        from[i][b] = by;
      }
      cost = std::move(here);
    }
    for (std::size_t last = 0; last < cost.size(); ++last) {
      if (n == 1 && last != first) continue;
      const int whole = cost[last] + step[n - 1][last][first];
      if (whole >= least) continue;
      least = whole;
      best.assign(n, last);
      for (std::size_t i = n - 1; i > 0; --i) best[i - 1] = from[i][best[i]];
    }
  }
  out.price = least;
  for (std::size_t i = 0; i < n; ++i) out.voicings.push_back(lists[i][best[i]]);
  for (std::size_t i = 0; i < n; ++i)
    out.voicings[i].hands_move = static_cast<std::uint8_t>(
        std::min(255, voices_move(lists[(i + n - 1) % n][best[(i + n - 1) % n]], lists[i][best[i]])));
  return out;
}

}  // namespace

CycleVoicing voice_cycle(std::span<const Chord> chords, std::span<const Pitch> tops) {
  const std::size_t n = std::min(chords.size(), tops.size());
  return n == 0 ? CycleVoicing() : least_row(cycle_layouts(chords.first(n), tops.first(n)));
}

std::vector<std::vector<Voicing>> pedal_layouts(std::span<const Chord> chords, std::span<const Pitch> tops,
                                                Pitch pedal) {
  auto lists = cycle_layouts(chords, tops);
  const int bass = pedal.value();
  for (std::size_t i = 0; i < lists.size(); ++i) {
    std::erase_if(lists[i],
                  [&](const Voicing& v) { return v.left.empty() || v.left[0] != pedal || v.right.empty(); });
    for (const int spread : {7, 10, 14}) {
      const std::array<Pitch, 4> held{pedal, Pitch(bass + spread), Pitch(bass + spread + 6),
                                      Pitch(bass + spread + 12)};
      const Voicing made = voice(chords[i], std::span<const Pitch>(&tops[i], 1), Hands(held));
      if (!made.left.empty() && made.left[0] == pedal && !made.right.empty()) add_once(lists[i], made);
    }
  }
  return lists;
}

CycleVoicing voice_cycle_over_pedal(std::span<const Chord> chords, std::span<const Pitch> tops) {
  const std::size_t n = std::min(chords.size(), tops.size());
  if (n == 0) return {};
  std::optional<CycleVoicing> best;
  for (int key = kLowestBass + ascending(PitchClass(kLowestBass), chords[0].bass); key <= kHighestBass;
       key += 12) {
    const auto lists = pedal_layouts(chords.first(n), tops.first(n), Pitch(key));
    if (std::any_of(lists.begin(), lists.end(), [](const auto& list) { return list.empty(); })) continue;
    if (auto made = least_row(lists); !best || made.price < best->price) best = std::move(made);
  }
  return best ? *best : voice_cycle(chords, tops);
}

}  // namespace undersong::harmony
