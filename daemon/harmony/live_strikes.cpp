#include "daemon/harmony/live_strikes.h"

#include <algorithm>
#include <cstdint>
#include <iterator>

namespace undersong::harmony {
namespace {

#include "daemon/harmony/live_strikes_table.inc"

constexpr std::size_t kHidden = std::size(kFirstBias), kLayers = 7;

struct Network {
  Layer<kHidden> first{kFirst, kFirstScale, kFirstBias};
  std::array<Layer<kHidden>, kLayers> convs{
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

UNDERSONG_WIDE void first_layer(const StrikeInputs& from, std::array<float, kHidden>& to) {
  to = network().first.bias;
  add_inputs<kHidden>(to.data(), from.data(), from.size(), network().first.weights.data());
  rectify<kHidden>(to.data());
}

// The taps of a layer are in order of time.
UNDERSONG_WIDE void convolve(const std::array<const float*, 3>& taps, const Layer<kHidden>& layer,
                             std::array<float, kHidden>& row) {
  std::array<float, kHidden> out = layer.bias;
  for (std::size_t t = 0; t < taps.size(); ++t)
    add_inputs<kHidden>(out.data(), taps[t], kHidden, layer.weights.data() + t * kHidden * kHidden);
  rectify<kHidden>(out.data());
  for (std::size_t h = 0; h < kHidden; ++h) row[h] += out[h];
}

UNDERSONG_WIDE void last_layer(const std::array<float, kHidden>& from, std::array<float, kJudgedRow>& to) {
  to = network().last.bias;
  add_inputs<kJudgedRow>(to.data(), from.data(), kHidden, network().last.weights.data());
}

}  // namespace

LiveStrikes::LiveStrikes() {
  static_assert(kHidden == kUnits && kLayers == kReach.size());
  static_cast<void>(network());  // read now, not at the first strike
  for (std::size_t k = 0; k < kLayers; ++k) past_[k].rows.resize(2 * kReach[k] + 1);
  reset();
}

void LiveStrikes::reset() {
  ear_ = {};
  for (Past& past : past_) {
    std::fill(past.rows.begin(), past.rows.end(), Row{});
    past.next = 0;
  }
}

Judgement LiveStrikes::hear(const StruckNotes& strike) {
  StrikeInputs inputs;
  ear_.hear(strike, inputs);
  Row row;
  first_layer(inputs, row);
  for (std::size_t k = 0; k < kLayers; ++k) {
    auto& [rows, next] = past_[k];
    rows[next] = row;
    const std::size_t n = rows.size();  // the place after the newest row is that of the oldest one
    convolve({rows[(next + 1) % n].data(), rows[(next + 1 + kReach[k]) % n].data(), rows[next].data()},
             network().convs[k], row);
    next = (next + 1) % n;
  }
  std::array<float, kJudgedRow> answer;
  last_layer(row, answer);
  return judgement_of(answer.data());
}

}  // namespace undersong::harmony
