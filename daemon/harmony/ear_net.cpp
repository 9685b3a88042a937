#include "daemon/harmony/ear_net.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
#include <memory>
#include <utility>

#include "daemon/harmony/lanes.h"
#include "daemon/harmony/rotation.h"

namespace undersong::harmony {
namespace {

// The table holds 16-bit integers; a weight is an integer times the scale of its tensor.
struct Tensor {
  const std::int16_t* data;
  std::size_t size;
  float scale;
  double at(std::size_t i) const { return static_cast<double>(data[i]) * static_cast<double>(scale); }
};

// The tensors of one harmony network.
struct HarmonyTensors {
  Tensor w1, w1s, b1, wa, wh, wp, wm, bg, wo1, bo1, wo2, wo3, bo2, bo3;
};

#include "daemon/harmony/ear_table.inc"

// Rows of `from` weights become rows of `to`, padded with zeros: whole vectors are faster than remainders.
template <std::size_t N>
void unpack_rows(const Tensor& t, std::size_t from, std::size_t to, std::array<float, N>& out) {
  out.fill(0.0F);
  for (std::size_t i = 0; i < t.size && i / from * to + i % from < N; ++i)
    out[i / from * to + i % from] = static_cast<float>(t.data[i]) * t.scale;
}

template <std::size_t N>
void unpack(const Tensor& t, std::array<float, N>& out) {
  for (std::size_t i = 0; i < N; ++i) out[i] = i < t.size ? static_cast<float>(t.data[i]) * t.scale : 0.0F;
}

// y[from ..] += sum of x * row over the inputs in `which`, for `Lanes` times eight outputs, which stay in
// registers.
template <std::size_t N, std::size_t Lanes, class Which>
[[gnu::always_inline]] inline void add_block(float* __restrict y, const float* __restrict w,
                                             const float* __restrict x, const Which& which, std::size_t count,
                                             std::size_t from) {
  Lane sum[Lanes];
#pragma GCC unroll 8
  for (std::size_t l = 0; l < Lanes; ++l) sum[l] = load(y + from + kLane * l);
  for (std::size_t k = 0; k < count; ++k) {
    const std::size_t i = which(k);
    const float* row = w + i * N + from;
    const float value = x[i];
#pragma GCC unroll 8
    for (std::size_t l = 0; l < Lanes; ++l) sum[l] += value * load(row + kLane * l);
  }
#pragma GCC unroll 8
  for (std::size_t l = 0; l < Lanes; ++l) store(y + from + kLane * l, sum[l]);
}

// y += x * w over the inputs in `which`, in that order; N outputs. The blocks are of nearly equal width, as
// wide as the registers allow: each addition to a sum waits for the one before, and a wide block has other
// sums to work on meanwhile.
template <std::size_t N, class Which>
[[gnu::always_inline]] inline void add_which(float* __restrict y, const float* __restrict w,
                                             const float* __restrict x, const Which& which,
                                             std::size_t count) {
  static_assert(N % kLane == 0);
  constexpr std::size_t kLanes = N / kLane, kBlocks = (kLanes + 7) / 8, kEach = kLanes / kBlocks,
                        kLonger = kLanes % kBlocks;
  std::size_t at = 0;
  for (std::size_t b = 0; b < kLonger; ++b, at += (kEach + 1) * kLane)
    add_block<N, kEach + 1>(y, w, x, which, count, at);
  for (std::size_t b = kLonger; b < kBlocks; ++b, at += kEach * kLane)
    add_block<N, kEach>(y, w, x, which, count, at);
}

// y += x * w over all inputs.
template <std::size_t N>
[[gnu::always_inline]] inline void add_all(float* __restrict y, const float* __restrict w,
                                           const float* __restrict x, std::size_t inputs) {
  add_which<N>(
      y, w, x, [](std::size_t k) { return k; }, inputs);
}

// y += x * w over the inputs above zero, which are about half of them.
template <std::size_t N, std::size_t Inputs>
[[gnu::always_inline]] inline void add_active(float* __restrict y, const float* __restrict w,
                                              const float* __restrict x) {
  std::array<std::uint32_t, Inputs + 1> which;
  std::size_t count = 0;
  // Branchless: which inputs are zero is unpredictable.
  for (std::size_t i = 0; i < Inputs; ++i) {
    which[count] = static_cast<std::uint32_t>(i);
    count += x[i] > 0.0F;
  }
  add_which<N>(
      y, w, x, [&](std::size_t k) { return which[k]; }, count);
}

// y += x * w; N is known at compile time, so this becomes vector code.
template <std::size_t N>
[[gnu::always_inline]] inline void add_scaled(float* __restrict y, const float* __restrict w, float x) {
  for (std::size_t i = 0; i < N; ++i) y[i] += x * w[i];
}

// exp with a relative error of about 3e-6, in plain arithmetic without branches, so that a loop over it
// becomes vector code: 2^round(x / ln 2) times the Taylor series of the remainder.
[[gnu::always_inline]] inline float quick_exp(float x) {
  // Clamp to -80..80. The comparison is done on integers, which order like the floats and need no branch.
  const auto bits = std::bit_cast<std::uint32_t>(x);
  const std::uint32_t size = bits & 0x7FFF'FFFFU, most = std::bit_cast<std::uint32_t>(80.0F);
  const float y = std::bit_cast<float>((size < most ? size : most) | (bits & 0x8000'0000U)) * 1.44269504F;
  const auto n = static_cast<std::int32_t>(y + 127.5F);  // never negative, so truncation rounds
  const float f = (y - static_cast<float>(n - 127)) * 0.693147181F;
  const float series = 1.0F + f * (1.0F + f * (0.5F + f * (1.0F / 6 + f * (1.0F / 24 + f * (1.0F / 120)))));
  return series * std::bit_cast<float>(n << 23);
}

[[gnu::always_inline]] inline float sigmoid(float x) {
  return 1.0F / (1.0F + quick_exp(-x));
}
[[gnu::always_inline]] inline float quick_tanh(float x) {
  return 1.0F - 2.0F / (1.0F + quick_exp(2.0F * x));
}

// The gated recurrent unit. `gates` comes from the inputs, `carried` from the state before, in the order
// update, reset, new.
template <std::size_t N>
[[gnu::always_inline]] inline void step(const float* __restrict gates, const float* __restrict carried,
                                        const float* __restrict carried_new, const float* __restrict before,
                                        float* __restrict after) {
  for (std::size_t i = 0; i < N; ++i) {
    const float z = sigmoid(gates[i] + carried[i]);
    const float reset = sigmoid(gates[N + i] + carried[N + i]);
    const float fresh = quick_tanh(gates[2 * N + i] + carried[2 * N + i] + reset * carried_new[i]);
    after[i] = fresh + z * (before[i] - fresh);
  }
}

constexpr std::size_t kClasses = kEarClasses, kDetails = 12 + kEarExtensions;
constexpr std::size_t kWide = 24;  // a padded row of outputs

template <typename P>
constexpr const HarmonyTensors& tensors() {
  return P::kState == 28 ? kTable_first : kTable_second;
}

template <typename P>
struct HarmonyWeights {
  static constexpr std::size_t kBoth =
      P::kGates + P::kOut;  // the inputs feed the gates and, directly, the outputs
  Rotation<kEarChannels, P::kSee> w1;
  std::array<float, kEarScalars * P::kSee> w1s;
  std::array<float, P::kSee> b1;
  std::array<float, P::kSee * kBoth> see;
  std::array<float, kBoth> both;
  std::array<float, P::kState * P::kGates> wh;
  std::array<float, P::kState * kLane> wp;  // padded rows of messages
  Rotation<P::kMessage, P::kGates> wm;
  std::array<float, P::kState * P::kOut> wo1;  // from the state
  std::array<float, P::kOut * kWide> wo2;      // to the classes
  std::array<float, P::kOut * kWide> wo3;      // to bass and extensions
  std::array<float, kWide> bo2;
  std::array<float, kWide> bo3;
  explicit HarmonyWeights(const HarmonyTensors& t = tensors<P>())
      : w1([&](std::size_t c, std::size_t d, std::size_t o) { return t.w1.at((c * 12 + d) * P::kSee + o); }),
        wm([&](std::size_t c, std::size_t d, std::size_t gate) { return at_gate(t.wm, c * 12 + d, gate); }) {
    unpack(t.w1s, w1s), unpack(t.b1, b1), unpack(t.bo2, bo2), unpack(t.bo3, bo3);
    for (std::size_t gate = 0; gate < P::kGates; ++gate) {
      for (std::size_t i = 0; i < P::kState; ++i)
        wh[i * P::kGates + gate] = static_cast<float>(at_gate(t.wh, i, gate));
      for (std::size_t i = 0; i < P::kSee; ++i)
        see[i * kBoth + gate] = static_cast<float>(at_gate(t.wa, i, gate));
      both[gate] = static_cast<float>(at_gate(t.bg, 0, gate));
    }
    for (std::size_t out = 0; out < P::kOut; ++out) {
      for (std::size_t i = 0; i < P::kSee; ++i)
        see[i * kBoth + P::kGates + out] = static_cast<float>(t.wo1.at(i * P::kOut + out));
      for (std::size_t i = 0; i < P::kState; ++i)
        wo1[i * P::kOut + out] = static_cast<float>(t.wo1.at((P::kSee + i) * P::kOut + out));
      both[P::kGates + out] = static_cast<float>(t.bo1.at(out));
    }
    unpack_rows(t.wo2, kClasses, kWide, wo2), unpack_rows(t.wo3, kDetails, kWide, wo3),
        unpack_rows(t.wp, P::kMessage, kLane, wp);
  }

 private:
  // A row of the table has three times kState weights; each third is padded to kRoom.
  static double at_gate(const Tensor& t, std::size_t row, std::size_t gate) {
    const std::size_t third = gate / P::kRoom, i = gate % P::kRoom;
    return i < P::kState ? t.at(row * 3 * P::kState + third * P::kState + i) : 0;
  }
};

struct KeyWeights {
  static constexpr std::size_t kH = KeyNet::kHidden;
  Rotation<KeyNet::kRows, kH> w1;
  std::array<float, KeyNet::kScalars * kH> w1s;
  std::array<float, kH> b1;
  std::array<float, kH * 2> w2;
  std::array<float, 2> b2;
  KeyWeights()
      : w1([](std::size_t c, std::size_t d, std::size_t o) { return kTable_k1.at((c * 12 + d) * kH + o); }) {
    unpack(kTable_k1s, w1s), unpack(kTable_kb1, b1), unpack(kTable_k2, w2), unpack(kTable_kb2, b2);
  }
};

struct MelodyWeights {
  static constexpr std::size_t kIn = MelodyNet::kInputs, kA = MelodyNet::kSee, kH = MelodyNet::kState,
                               kO = MelodyNet::kOut;
  std::array<float, kIn * kA> w1;
  std::array<float, kA> b1;
  std::array<float, kA * 3 * kH> wa;
  std::array<float, kH * 3 * kH> wh;
  std::array<float, 3 * kH> bg;
  std::array<float, (kA + kH) * kO> wo;
  std::array<float, kO> bo;
  std::array<float, kO> w3;
  std::array<float, 1> b3;
  MelodyWeights() {
    unpack(kTable_m1, w1), unpack(kTable_mb1, b1), unpack(kTable_ma, wa), unpack(kTable_mh, wh),
        unpack(kTable_mbg, bg);
    unpack(kTable_mo, wo), unpack(kTable_mbo, bo), unpack(kTable_m3, w3), unpack(kTable_mb3, b3);
  }
};

// Unpacked once, at the first construction of a net, and never while an event is handled.
template <typename W>
const W& weights() {
  static const std::unique_ptr<const W> shared = std::make_unique<const W>();
  return *shared;
}

// The state at the end of a cluster becomes the past of the next one.
template <typename P>
[[gnu::always_inline]] inline void commit_part(P& net, const HarmonyWeights<P>& w) {
  constexpr std::size_t n = P::kState, room = P::kRoom, gates_size = P::kGates, message_size = P::kMessage;
  net.committed = net.last;
  std::array<std::array<float, 12>, message_size> message;
  for (std::size_t r = 0; r < 12; ++r) {
    auto& gates = net.carried[r];
    gates.fill(0.0F);
    add_all<gates_size>(gates.data(), w.wh.data(), net.committed[r].data(), n);
    std::array<float, kLane> told{};
    add_all<kLane>(told.data(), w.wp.data(), net.committed[r].data(), n);
    for (std::size_t d = 0; d < message_size; ++d) message[d][r] = told[d];
    std::copy(gates.begin() + 2 * room, gates.end(), net.carried_new[r].begin());
    std::fill(gates.begin() + 2 * room, gates.end(), 0.0F);
  }
  std::array<Spectrum, message_size> spectra;
  for (std::size_t d = 0; d < message_size; ++d) to_spectrum(message[d].data(), spectra[d].data());
  w.wm.add(spectra, net.carried);
}

template <std::size_t N>
[[gnu::always_inline]] inline void normalise(std::array<float, N>& scores) {
  float top = -1e30F;
  for (const float s : scores) top = std::max(top, s);
  float sum = 0.0F;
  for (const float s : scores) sum += quick_exp(s - top);
  const float norm = top + std::log(sum);
  for (float& s : scores) s -= norm;
}

template <typename P>
[[gnu::always_inline]] inline void update_part(P& net, const HarmonyWeights<P>& w,
                                               const std::array<Spectrum, kEarChannels>& spectra,
                                               const float* scalars) {
  constexpr std::size_t see_size = P::kSee, n = P::kState, out_size = P::kOut,
                        both_size = HarmonyWeights<P>::kBoth;
  fetch(w.see);
  std::array<float, see_size> shared = w.b1;
  add_all<see_size>(shared.data(), w.w1s.data(), scalars, kEarScalars);
  std::array<std::array<float, see_size>, 12> seen;
  seen.fill(shared);
  w.w1.add(spectra, seen);
  for (std::size_t r = 0; r < 12; ++r) {
    std::array<float, both_size> both = w.both;
    add_active<both_size, see_size>(both.data(), w.see.data(), seen[r].data());
    auto& after = net.last[r];
    step<P::kRoom>(both.data(), net.carried[r].data(), net.carried_new[r].data(), net.committed[r].data(),
                   after.data());
    add_all<out_size>(both.data() + P::kGates, w.wo1.data(), after.data(), n);
    std::array<float, out_size>& out = net.out[r];
    for (std::size_t i = 0; i < out_size; ++i) out[i] = std::max(both[P::kGates + i], 0.0F);
    std::array<float, kWide> s = w.bo2;
    add_active<kWide, out_size>(s.data(), w.wo2.data(), out.data());
    std::copy(s.begin(), s.begin() + kClasses,
              net.scores.begin() + static_cast<std::ptrdiff_t>(r * kClasses));
  }
  normalise(net.scores);
}

template <typename P>
[[gnu::always_inline]] inline void detail_part(const P& net, const HarmonyWeights<P>& w, std::size_t root,
                                               std::array<float, kWide>& y) {
  for (std::size_t i = 0; i < kWide; ++i) y[i] += 0.5F * w.bo3[i];
  for (std::size_t i = 0; i < P::kOut; ++i)
    if (net.out[root][i] > 0.0F) add_scaled<kWide>(y.data(), &w.wo3[i * kWide], 0.5F * net.out[root][i]);
}

template <typename P>
const HarmonyWeights<P>& weights_of(const P&) {
  return weights<HarmonyWeights<P>>();
}

}  // namespace

HarmonyNet::HarmonyNet() {
  commit();  // also unpacks the weights
}

UNDERSONG_WIDE void HarmonyNet::commit() {
  if (committed_) return;
  committed_ = true;
  commit_part(first_, weights_of(first_));
  commit_part(second_, weights_of(second_));
}

UNDERSONG_WIDE void HarmonyNet::update(const std::array<float, kEarInputs>& x) {
  committed_ = false;
  std::array<Spectrum, kEarChannels> spectra;
  for (std::size_t c = 0; c < kEarChannels; ++c) to_spectrum(&x[c * 12], spectra[c].data());
  update_part(first_, weights_of(first_), spectra, &x[kEarChannels * 12]);
  update_part(second_, weights_of(second_), spectra, &x[kEarChannels * 12]);
  for (std::size_t i = 0; i < scores_.size(); ++i) scores_[i] = 0.5F * (first_.scores[i] + second_.scores[i]);
  normalise(scores_);
}

UNDERSONG_WIDE void HarmonyNet::details(int root, std::array<float, 12>& bass,
                                        std::array<float, kEarExtensions>& extensions) const {
  std::array<float, kWide> y{};
  detail_part(first_, weights_of(first_), static_cast<std::size_t>(root), y);
  detail_part(second_, weights_of(second_), static_cast<std::size_t>(root), y);
  std::copy(y.begin(), y.begin() + 12, bass.begin());
  std::copy(y.begin() + 12, y.begin() + 12 + kEarExtensions, extensions.begin());
}

KeyNet::KeyNet() {
  weights<KeyWeights>();
}

UNDERSONG_WIDE void KeyNet::update(const Input& x, std::array<float, 24>& out) const {
  const KeyWeights& w = weights<KeyWeights>();
  constexpr std::size_t n = KeyWeights::kH;
  std::array<float, n> shared = w.b1;
  for (std::size_t i = 0; i < kScalars; ++i) add_scaled<n>(shared.data(), &w.w1s[i * n], x[kRows * 12 + i]);
  std::array<std::array<float, n>, 12> hidden;
  hidden.fill(shared);
  std::array<Spectrum, kRows> spectra;
  for (std::size_t c = 0; c < kRows; ++c) to_spectrum(&x[c * 12], spectra[c].data());
  w.w1.add(spectra, hidden);
  float top = -1e30F;
  for (std::size_t r = 0; r < 12; ++r)
    for (std::size_t mode = 0; mode < 2; ++mode) {
      float s = w.b2[mode];
      for (std::size_t i = 0; i < n; ++i) s += std::max(hidden[r][i], 0.0F) * w.w2[i * 2 + mode];
      out[mode * 12 + r] = s;
      top = std::max(top, s);
    }
  float sum = 0.0F;
  for (const float s : out) sum += std::exp(s - top);
  for (float& s : out) s -= top + std::log(sum);
}

MelodyNet::MelodyNet() {
  weights<MelodyWeights>();
}

UNDERSONG_WIDE float MelodyNet::score(const Input& x) {
  const MelodyWeights& w = weights<MelodyWeights>();
  constexpr std::size_t kA = MelodyWeights::kA, kH = MelodyWeights::kH, kO = MelodyWeights::kO;
  std::array<float, kA> a = w.b1;
  for (std::size_t i = 0; i < MelodyWeights::kIn; ++i)
    if (x[i] != 0.0F) add_scaled<kA>(a.data(), &w.w1[i * kA], x[i]);
  std::array<float, 3 *kH> gates = w.bg, carried{};
  std::array<float, kO> out = w.bo;
  for (std::size_t i = 0; i < kA; ++i) {
    if (a[i] <= 0.0F) continue;
    add_scaled<3 * kH>(gates.data(), &w.wa[i * 3 * kH], a[i]);
    add_scaled<kO>(out.data(), &w.wo[i * kO], a[i]);
  }
  for (std::size_t i = 0; i < kH; ++i) add_scaled<3 * kH>(carried.data(), &w.wh[i * 3 * kH], state_[i]);
  std::array<float, kH> fresh_part{}, after;
  for (std::size_t i = 0; i < kH; ++i) fresh_part[i] = std::exchange(carried[2 * kH + i], 0.0F);
  step<kH>(gates.data(), carried.data(), fresh_part.data(), state_.data(), after.data());
  state_ = after;
  for (std::size_t i = 0; i < kH; ++i) add_scaled<kO>(out.data(), &w.wo[(kA + i) * kO], state_[i]);
  float y = w.b3[0];
  for (std::size_t i = 0; i < kO; ++i) y += std::max(out[i], 0.0F) * w.w3[i];
  return y;
}

}  // namespace undersong::harmony
