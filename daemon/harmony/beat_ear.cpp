#include "daemon/harmony/beat_ear.h"

#include <iterator>

namespace undersong::harmony {
namespace {

#include "daemon/harmony/beat_ear_table.inc"

constexpr std::size_t kWide = std::size(kFirstBias);
constexpr std::array<std::size_t, 4> kReach{1, 2, 4, 8};  // in strikes

struct Network {
  Layer<kWide> first{kFirst, kFirstScale, kFirstBias};
  std::array<Layer<kWide>, 4> convs{
      Layer<kWide>{kConv0, kConv0Scale, kConv0Bias}, Layer<kWide>{kConv1, kConv1Scale, kConv1Bias},
      Layer<kWide>{kConv2, kConv2Scale, kConv2Bias}, Layer<kWide>{kConv3, kConv3Scale, kConv3Bias}};
  Layer<kJudgedRow> last{kLast, kLastScale, kLastBias};
};

const Network& network() {
  static const Network kNetwork;
  return kNetwork;
}

}  // namespace

BeatEar::BeatEar() {
  static_assert(kHidden == kWide);
  network();  // read now and not at the first note
}

UNDERSONG_WIDE void BeatEar::layers() {
  const Network& net = network();
  const std::size_t now = heard_ % kKept;
  auto& first = rows_[0][now];
  first = net.first.bias;
  add_inputs<kWide>(first.data(), inputs_.data(), inputs_.size(), net.first.weights.data());
  rectify<kWide>(first.data());
  std::array<float, kWide> last{};
  for (std::size_t k = 0; k < kReaches; ++k) {
    auto& to = k + 1 < kReaches ? rows_[k + 1][now] : last;
    to = net.convs[k].bias;
    // Three taps: twice the reach ago, the reach ago, and now.
    for (std::size_t tap = 0; tap < 3; ++tap) {
      const std::size_t back = (2 - tap) * kReach[k];
      if (back > heard_) continue;
      add_inputs<kWide>(to.data(), rows_[k][(heard_ - back) % kKept].data(), kWide,
                        net.convs[k].weights.data() + tap * kWide * kWide);
    }
    rectify<kWide>(to.data());
    for (std::size_t h = 0; h < kWide; ++h) to[h] += rows_[k][now][h];
  }
  row_ = net.last.bias;
  add_inputs<kJudgedRow>(row_.data(), last.data(), kWide, net.last.weights.data());
}

const Judgement& BeatEar::hear(const StruckNotes& strike) {
  ear_.hear(strike, inputs_);
  layers();
  ++heard_;
  judged_ = judgement_of(row_.data());
  return judged_;
}

}  // namespace undersong::harmony
