#include "daemon/takes/near_strikes.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdlib>

namespace undersong::takes {
namespace {

#include "daemon/takes/near_strikes_table.inc"

struct Group {
  Micros at{};                     // mean time of its notes
  std::size_t first = 0, end = 0;  // indices of its notes
  float size = 0, low = 0, high = 0, loud = 0, length = 0, low_length = 0, high_length = 0, fresh = 0,
        fresh_long = 0;
};

constexpr Micros kTogether{45'000}, kChordChange{80'000};

std::vector<Group> grouped(const std::vector<PlayedNote>& notes) {
  std::vector<Group> out;
  std::array<Micros, 12> heard{};
  heard.fill(Micros(-100'000'000));
  for (std::size_t i = 0; i < notes.size();) {
    Group g;
    g.first = i;
    Micros sum{};
    for (g.end = i + 1; g.end < notes.size() && notes[g.end].at - notes[g.end - 1].at <= kTogether &&
                        notes[g.end].at - notes[i].at <= 2 * kTogether;)
      ++g.end;
    g.low = 127;
    std::array<bool, 12> is{};
    for (std::size_t k = g.first; k < g.end; ++k) {
      const auto& n = notes[k];
      const float height = static_cast<float>(n.pitch.value()), length = static_cast<float>(n.length.count());
      sum += n.at - notes[i].at;
      g.loud = std::max(g.loud, static_cast<float>(n.velocity.value()));
      g.length = std::max(g.length, length);
      if (height < g.low) g.low = height, g.low_length = length;
      if (height > g.high) g.high = height, g.high_length = length;
      const auto pc = static_cast<std::size_t>(n.pitch.pitch_class().value());
      if (!is[pc]) {
        is[pc] = true;
        g.fresh += n.at - heard[pc] > Micros(1'000'000) ? 1.f : 0.f;
        g.fresh_long += n.at - heard[pc] > Micros(2'500'000) ? 1.f : 0.f;
        heard[pc] = n.at;
      }
    }
    g.size = static_cast<float>(g.end - g.first);
    g.at = notes[i].at + sum / static_cast<std::int64_t>(g.end - g.first);
    out.push_back(g);
    i = g.end;
  }
  return out;
}

float ratio(float a, float b) {
  return std::clamp(std::log2((a + 1e3f) / (b + 1e3f)), -3.f, 3.f);
}

// How much the harmony changes at a moment: 1 minus the cosine of the pitch class counts before and after it.
float chroma_change(const std::vector<PlayedNote>& notes, std::size_t first, Micros span) {
  std::array<float, 12> before{}, after{};
  const Micros at = notes[first].at;
  const auto add = [&](std::array<float, 12>& c, const PlayedNote& n) {
    c[static_cast<std::size_t>(n.pitch.pitch_class().value())] += 1;
  };
  for (std::size_t k = first; k-- > 0 && at - notes[k].at < span;) add(before, notes[k]);
  for (std::size_t k = first; k < notes.size() && notes[k].at - at < span - Micros(50'000); ++k)
    add(after, notes[k]);
  float ab = 0, aa = 0, bb = 0;
  for (std::size_t p = 0; p < 12; ++p)
    ab += before[p] * after[p], aa += after[p] * after[p], bb += before[p] * before[p];
  return aa > 0 && bb > 0 ? 1 - ab / std::sqrt(aa * bb) : .5f;
}

}  // namespace

std::vector<NearFeatures> near_features(const std::vector<PlayedNote>& notes,
                                        const std::vector<Micros>& chord_changes) {
  std::vector<NearFeatures> out;
  const auto groups = grouped(notes);
  const auto n = static_cast<std::ptrdiff_t>(groups.size());
  const auto at = [&](std::ptrdiff_t i) -> const Group& {
    return groups[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(i, 0, n - 1))];
  };
  const auto gap = [&](std::ptrdiff_t i) {  // time from strike i to the next
    return i < 0 || i + 1 >= n ? 2e6f : std::min(4e6f, static_cast<float>((at(i + 1).at - at(i).at).count()));
  };
  constexpr std::ptrdiff_t kNear = 12;
  std::vector<float> gaps;
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    const Group& g = at(i);
    gaps.clear();
    float loud = 0, loud2 = 0, low = 0, high = 0, size = 0, length = 0, count = 0;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(0, i - kNear); k <= std::min(n - 1, i + kNear); ++k) {
      const Group& o = at(k);
      if (k + 1 < n) gaps.push_back(gap(k));
      loud += o.loud, loud2 += o.loud * o.loud, low += o.low, high += o.high, size += o.size,
          length += std::log2(o.length + 1e3f), ++count;
    }
    float usual = 3e5f;
    if (!gaps.empty()) {
      const auto middle = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2);
      std::nth_element(gaps.begin(), middle, gaps.end());
      usual = *middle;
    }
    loud /= count, low /= count, high /= count, size /= count, length /= count;
    const float swing = std::sqrt(std::max(9.f, loud2 / count - loud * loud));
    NearFeatures f{};
    std::size_t at_feature = 0;
    const auto put = [&](float x) { f[at_feature++] = x; };
    put(std::clamp(std::log2(usual / 2.5e5f), -3.f, 3.f));
    for (std::ptrdiff_t k = -3; k < 3; ++k) put(ratio(gap(i + k), usual));
    // Time to and from the next note near the lowest and near the highest note, roughly in the same voice.
    const auto voice = [&](float height, int way) {
      for (std::ptrdiff_t k = i + way; k >= 0 && k < n && k - i <= 24 && i - k <= 24; k += way)
        for (std::size_t m = at(k).first; m < at(k).end; ++m)
          if (std::abs(static_cast<float>(notes[m].pitch.value()) - height) < 8)
            return static_cast<float>(std::abs((at(k).at - g.at).count()));
      return 3e6f;
    };
    put(ratio(voice(g.low, 1), usual)), put(ratio(voice(g.low, -1), usual));
    put(ratio(voice(g.high, 1), usual)), put(ratio(voice(g.high, -1), usual));
    put(std::clamp(std::log2(g.length + 1e3f) - length, -3.f, 3.f));
    put(ratio(g.low_length, usual)), put(ratio(g.high_length, usual));
    // Time from and to the next strike as low as this, and as high.
    const auto reached = [&](int way, bool down) {
      for (std::ptrdiff_t k = i + way; k >= 0 && k < n && k - i <= 32 && i - k <= 32; k += way)
        if (down ? at(k).low <= g.low + .5f : at(k).high >= g.high - .5f)
          return static_cast<float>(std::abs((at(k).at - g.at).count()));
      return 5e6f;
    };
    put(ratio(reached(-1, true), usual)), put(ratio(reached(1, true), usual));
    put(ratio(reached(-1, false), usual)), put(ratio(reached(1, false), usual));
    for (const float spans : {3.f, 6.f, 12.f})
      put(chroma_change(notes, g.first,
                        Micros(static_cast<std::int64_t>(std::clamp(spans * usual, 2e5f, 4e6f)))));
    const auto changed = [&](Micros when) {
      const auto c = std::lower_bound(chord_changes.begin(), chord_changes.end(), when - kChordChange);
      return c != chord_changes.end() && *c <= when + kChordChange;
    };
    // This strike and its neighbours, relative to the average.
    for (std::ptrdiff_t k = -4; k <= 4; ++k) {
      const Group& o = at(i + k);
      put(std::clamp((o.size - size) / (1 + size), -1.5f, 1.5f));
      put(std::clamp((o.low - low) / 12, -2.5f, 2.5f));
      put(std::clamp((o.loud - loud) / swing, -3.f, 3.f));
      put((o.fresh + .5f * o.fresh_long) / (1 + size));
      put(changed(o.at) ? 1.f : 0.f);
    }
    put(std::clamp((g.high - high) / 12, -2.5f, 2.5f));
    put(std::clamp((g.high - at(i - 1).high) / 12, -2.5f, 2.5f)),
        put(std::clamp((g.high - at(i + 1).high) / 12, -2.5f, 2.5f));
    put(size / 4);
    put(g.size > 1 ? 1.f : 0.f);
    out.push_back(f);
  }
  return out;
}

std::vector<NearJudgement> near_judgements(const std::vector<PlayedNote>& notes,
                                           const std::vector<Micros>& chord_changes) {
  std::vector<NearJudgement> out;
  for (const NearFeatures& seen : near_features(notes, chord_changes)) {
    std::array<float, kHidden> hidden;
    std::copy(std::begin(kInBias), std::end(kInBias), hidden.begin());
    for (std::size_t f = 0; f < kNearFeatures; ++f)
      for (std::size_t h = 0; h < kHidden; ++h) hidden[h] += seen[f] * kIn[f * kHidden + h];
    NearJudgement judged{kOutBias[0], kOutBias[1]};
    for (std::size_t h = 0; h < kHidden; ++h) {
      const float x = std::tanh(hidden[h]);
      judged.beat += x * kOut[2 * h];
      judged.downbeat += x * kOut[2 * h + 1];
    }
    out.push_back(judged);
  }
  return out;
}

}  // namespace undersong::takes
