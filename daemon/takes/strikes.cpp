#include "daemon/takes/strikes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

#include "daemon/takes/beat_helper.h"

namespace undersong::takes {
namespace {

using harmony::kJudgedRow;
using harmony::Layer;

#include "daemon/takes/strikes_table.inc"

constexpr std::size_t kHidden = std::size(kFirstBias), kReaches = 7;
constexpr std::array<std::size_t, kReaches> kReach{1, 2, 4, 8, 16, 32, 64};  // in strikes

// Whether a strike lies on a beat does not depend on the pace, so the network is also asked with the take
// slower and faster by so much. What it answers at several paces is right more often than at one. Common
// practice for networks that judge pictures (averaging over altered inputs), no source for takes.
constexpr std::array kPaces{.93, 1.07};

struct Network {
  Layer<kHidden> first{kFirst, kFirstScale, kFirstBias};
  std::array<Layer<kHidden>, kReaches> convs{
      Layer<kHidden>{kConv0, kConv0Scale, kConv0Bias}, Layer<kHidden>{kConv1, kConv1Scale, kConv1Bias},
      Layer<kHidden>{kConv2, kConv2Scale, kConv2Bias}, Layer<kHidden>{kConv3, kConv3Scale, kConv3Bias},
      Layer<kHidden>{kConv4, kConv4Scale, kConv4Bias}, Layer<kHidden>{kConv5, kConv5Scale, kConv5Bias},
      Layer<kHidden>{kConv6, kConv6Scale, kConv6Bias}};
  Layer<kJudgedRow> last{kLast, kLastScale, kLastBias};
};

const Network& network() {
  static const Network kNetwork;
  return kNetwork;
}

using Rows = std::vector<std::array<float, kHidden>>;

UNDERSONG_WIDE void first_layer(const std::vector<StrikeFeatures>& from, Rows& to) {
  const auto& layer = network().first;
  for (std::size_t i = 0; i < from.size(); ++i) {
    to[i] = layer.bias;
    harmony::add_inputs<kHidden>(to[i].data(), from[i].data(), kStrikeFeatures, layer.weights.data());
    harmony::rectify<kHidden>(to[i].data());
  }
}

// Three taps: `reach` strikes before, here, and `reach` strikes after.
UNDERSONG_WIDE void convolve(const Rows& from, const Layer<kHidden>& layer, std::size_t reach, Rows& to) {
  for (std::size_t i = 0; i < from.size(); ++i) {
    to[i] = layer.bias;
    const auto tap = [&](std::size_t which, std::size_t at) {
      harmony::add_inputs<kHidden>(to[i].data(), from[at].data(), kHidden,
                                   layer.weights.data() + which * kHidden * kHidden);
    };
    if (i >= reach) tap(0, i - reach);
    tap(1, i);
    if (i + reach < from.size()) tap(2, i + reach);
    harmony::rectify<kHidden>(to[i].data());
    for (std::size_t h = 0; h < kHidden; ++h) to[i][h] += from[i][h];
  }
}

UNDERSONG_WIDE void last_layer(const std::array<float, kHidden>& from, std::array<float, kJudgedRow>& to) {
  to = network().last.bias;
  harmony::add_inputs<kJudgedRow>(to.data(), from.data(), kHidden, network().last.weights.data());
}

struct Group {
  harmony::StruckNotes notes;      // its time is the mean of its notes
  std::size_t first = 0, end = 0;  // indices of its notes
  float length = 0, low_length = 0, high_length = 0;
};

constexpr Micros kChordChange{80'000};

std::vector<Group> grouped(const std::vector<PlayedNote>& notes) {
  std::vector<Group> out;
  for (std::size_t i = 0; i < notes.size();) {
    Group g;
    g.first = i;
    Micros sum{};
    for (g.end = i + 1; g.end < notes.size() && notes[g.end].at - notes[g.end - 1].at <= harmony::kTogether &&
                        notes[g.end].at - notes[i].at <= 2 * harmony::kTogether;)
      ++g.end;
    g.notes.low = 127, g.notes.high = 0, g.notes.loud = 0;
    for (std::size_t k = g.first; k < g.end; ++k) {
      const auto& n = notes[k];
      const float height = static_cast<float>(n.pitch.value()), length = static_cast<float>(n.length.count());
      sum += n.at - notes[i].at;
      g.notes.loud = std::max(g.notes.loud, static_cast<float>(n.velocity.value()));
      g.length = std::max(g.length, length);
      if (height < g.notes.low) g.notes.low = height, g.low_length = length;
      if (height > g.notes.high) g.notes.high = height, g.high_length = length;
      g.notes.classes = static_cast<std::uint16_t>(g.notes.classes | 1u << n.pitch.pitch_class().value());
    }
    g.notes.size = static_cast<float>(g.end - g.first);
    g.notes.at = notes[i].at + sum / static_cast<std::int64_t>(g.end - g.first);
    out.push_back(g);
    i = g.end;
  }
  return out;
}

// A length in microseconds as a logarithm around half a second.
float logarithm(float length) {
  return std::clamp(std::log2(std::max(0.f, length) / 5e5f + 1e-3f), -3.f, 3.f);
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

namespace {

// What the network answers for each strike, before it becomes probabilities.
using Answers = std::vector<std::array<float, kJudgedRow>>;

Answers answers(const std::vector<StrikeFeatures>& features) {
  Rows hidden(features.size()), next(features.size());
  first_layer(features, hidden);
  for (std::size_t k = 0; k < kReaches; ++k) {
    convolve(hidden, network().convs[k], kReach[k], next);
    hidden.swap(next);
  }
  Answers out(features.size());
  for (std::size_t i = 0; i < out.size(); ++i) last_layer(hidden[i], out[i]);
  return out;
}

}  // namespace

SeenStrikes seen_strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes,
                         double pace) {
  SeenStrikes out;
  auto groups = grouped(notes);
  const auto paced = [&](Micros at) {
    return Micros(static_cast<std::int64_t>(static_cast<double>(at.count()) * pace));
  };
  for (const Group& g : groups) out.at.push_back(g.notes.at);
  for (Group& g : groups) {
    g.notes.at = paced(g.notes.at);
    for (float* length : {&g.length, &g.low_length, &g.high_length}) *length *= static_cast<float>(pace);
  }
  out.features.resize(groups.size());
  harmony::StrikeInputs inputs;
  harmony::StrikeEar forwards, backwards;
  for (std::size_t i = 0; i < groups.size(); ++i) {
    forwards.hear(groups[i].notes, inputs);
    std::copy(inputs.begin(), inputs.end(), out.features[i].begin());
  }
  for (std::size_t i = groups.size(); i-- > 0;) {
    harmony::StruckNotes notes_then = groups[i].notes;
    notes_then.at = groups.back().notes.at - notes_then.at;
    backwards.hear(notes_then, inputs);
    std::copy(inputs.begin(), inputs.end(), out.features[i].begin() + harmony::kStrikeInputs);
  }
  for (std::size_t i = 0; i < groups.size(); ++i) {
    const Group& g = groups[i];
    std::size_t at = 2 * harmony::kStrikeInputs;
    const auto put = [&](float x) { out.features[i][at++] = x; };
    put(logarithm(g.length)), put(logarithm(g.low_length)), put(logarithm(g.high_length));
    for (const double span : {600'000., 1'200'000., 2'500'000.})
      put(chroma_change(notes, g.first, Micros(static_cast<std::int64_t>(span / pace))));
    const Micros at_first = out.at[i];
    const auto after = std::lower_bound(chord_changes.begin(), chord_changes.end(), at_first - kChordChange);
    const auto since = [&](Micros time) { return logarithm(static_cast<float>(paced(time).count())); };
    const bool here = after != chord_changes.end() && *after <= at_first + kChordChange;
    put(here ? 1.f : 0.f);
    put(after != chord_changes.begin() ? since(at_first - *(after - 1)) : 3.f);
    const auto next = here ? after + 1 : after;
    put(next != chord_changes.end() ? since(*next - at_first) : 3.f);
  }
  return out;
}

std::vector<Strike> strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes) {
  const SeenStrikes seen = seen_strikes(notes, chord_changes);
  // The first pace is that of the playing.
  std::array<Answers, 1 + kPaces.size()> all;
  const auto answer_from = [&](std::size_t first) {
    for (std::size_t k = first; k < all.size(); k += 2)
      all[k] = answers(k == 0 ? seen.features : seen_strikes(notes, chord_changes, kPaces[k - 1]).features);
    return true;
  };
  Helper<bool> others(kBeatHelper, [&] { return answer_from(1); });
  answer_from(0);
  others.get();
  std::vector<Strike> out;
  out.reserve(seen.at.size());
  for (std::size_t i = 0; i < seen.at.size(); ++i) {
    // The length of a beat is told at the pace of the playing only: lengths of several paces would blur it.
    std::array<float, kJudgedRow> mean = all[0][i];
    for (std::size_t k = 0; k < harmony::kJudged; ++k) {
      if (k >= harmony::kFirstLength && k < harmony::kFirstLength + harmony::kBeatLengths) continue;
      for (std::size_t pace = 1; pace < all.size(); ++pace) mean[k] += all[pace][i][k];
      mean[k] /= static_cast<float>(all.size());
    }
    out.push_back({harmony::judgement_of(mean.data()), seen.at[i]});
  }
  return out;
}

}  // namespace undersong::takes
