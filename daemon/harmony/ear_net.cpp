#include "daemon/harmony/ear_net.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <memory>
#include <utility>

namespace undersong::harmony {
namespace {

// The table keeps 16-bit integers; a weight is an integer times the scale of its tensor.
struct Tensor {
  const std::int16_t* data;
  std::size_t size;
  float scale;
};

#include "daemon/harmony/ear_table.inc"

// Rows of `from` weights become rows of `to`, filled up with zeros: whole vectors are faster than odd ends.
template <std::size_t N>
void unpack_rows(const Tensor& t, std::size_t from, std::size_t to, std::array<float, N>& out) {
  out.fill(0.0F);
  for (std::size_t i = 0; i < t.size && i / from * to + i % from < N; ++i) out[i / from * to + i % from] = static_cast<float>(t.data[i]) * t.scale;
}

template <std::size_t N>
void unpack(const Tensor& t, std::array<float, N>& out) {
  for (std::size_t i = 0; i < N; ++i) out[i] = i < t.size ? static_cast<float>(t.data[i]) * t.scale : 0.0F;
}

// On x86 the hot functions exist twice, and the wider vectors are used where the machine has them. The sums are the
// same to the last bit: each output is its own lane, and neither version fuses multiplication and addition.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define UNDERSONG_WIDE __attribute__((target_clones("avx2", "default"), flatten))
#else
#define UNDERSONG_WIDE
#endif

// y += x * w, N known at compile time so that it becomes vector code.
template <std::size_t N>
[[gnu::always_inline]] inline void add_scaled(float* __restrict y, const float* __restrict w, float x) {
  for (std::size_t i = 0; i < N; ++i) y[i] += x * w[i];
}

// exp to about 3e-6 (relative), in plain arithmetic without branches so that a loop over it becomes vector code:
// 2^round(x / ln 2) times the Taylor series of the rest.
[[gnu::always_inline]] inline float quick_exp(float x) {
  // Held within -80..80. Compared as integers, which order like the floats and leave no branch.
  const auto bits = std::bit_cast<std::uint32_t>(x);
  const std::uint32_t size = bits & 0x7FFF'FFFFU, most = std::bit_cast<std::uint32_t>(80.0F);
  const float y = std::bit_cast<float>((size < most ? size : most) | (bits & 0x8000'0000U)) * 1.44269504F;
  const auto n = static_cast<std::int32_t>(y + 127.5F);  // never negative, so that cutting off rounds
  const float f = (y - static_cast<float>(n - 127)) * 0.693147181F;
  const float series = 1.0F + f * (1.0F + f * (0.5F + f * (1.0F / 6 + f * (1.0F / 24 + f * (1.0F / 120)))));
  return series * std::bit_cast<float>(n << 23);
}

[[gnu::always_inline]] inline float sigmoid(float x) { return 1.0F / (1.0F + quick_exp(-x)); }
[[gnu::always_inline]] inline float quick_tanh(float x) { return 1.0F - 2.0F / (1.0F + quick_exp(2.0F * x)); }

// The gated recurrent unit: `gates` from what is seen, `carried` from the state before, in the order update, reset, new.
template <std::size_t N>
[[gnu::always_inline]] inline void step(const float* __restrict gates, const float* __restrict carried, const float* __restrict carried_new,
                                        const float* __restrict before, float* __restrict after) {
  for (std::size_t i = 0; i < N; ++i) {
    const float z = sigmoid(gates[i] + carried[i]);
    const float reset = sigmoid(gates[N + i] + carried[N + i]);
    const float fresh = quick_tanh(gates[2 * N + i] + carried[2 * N + i] + reset * carried_new[i]);
    after[i] = fresh + z * (before[i] - fresh);
  }
}

constexpr std::size_t kSee = HarmonyNet::kSee, kState = HarmonyNet::kState, kGates = 3 * kState, kMessage = HarmonyNet::kMessage,
                      kOut = HarmonyNet::kOut, kAll = HarmonyNet::kAll, kClasses = kEarClasses, kWide = 24;  // kWide: a row of outputs, filled up

struct HarmonyWeights {
  std::array<float, kEarChannels * 12 * kSee> w1;  // [channel][semitones above the root][kSee]
  std::array<float, kEarScalars * kSee> w1s;
  std::array<float, kSee> b1;
  std::array<float, kSee * kGates> wa;
  std::array<float, kState * kGates> wh;
  std::array<float, kState * kMessage> wp;
  std::array<float, kMessage * 12 * kGates> wm;  // [message][semitones above the root][gates]
  std::array<float, kGates> bg;
  std::array<float, (kSee + kState) * kOut> wo1;
  std::array<float, kOut> bo1;
  std::array<float, kOut * kWide> wo2;  // classes
  std::array<float, kOut * kWide> wo3;  // bass and extensions
  std::array<float, kWide> bo2;
  std::array<float, kWide> bo3;
  HarmonyWeights() {
    unpack(kTable_w1, w1), unpack(kTable_w1s, w1s), unpack(kTable_b1, b1), unpack(kTable_wa, wa), unpack(kTable_wh, wh);
    unpack(kTable_wp, wp), unpack(kTable_wm, wm), unpack(kTable_bg, bg), unpack(kTable_wo1, wo1), unpack(kTable_bo1, bo1);
    unpack_rows(kTable_wo2, kClasses, kWide, wo2), unpack_rows(kTable_wo3, kAll - kClasses, kWide, wo3), unpack(kTable_bo2, bo2), unpack(kTable_bo3, bo3);
  }
};

struct KeyWeights {
  static constexpr std::size_t kH = KeyNet::kHidden;
  std::array<float, KeyNet::kRows * 12 * kH> w1;
  std::array<float, KeyNet::kScalars * kH> w1s;
  std::array<float, kH> b1;
  std::array<float, kH * 2> w2;
  std::array<float, 2> b2;
  KeyWeights() { unpack(kTable_k1, w1), unpack(kTable_k1s, w1s), unpack(kTable_kb1, b1), unpack(kTable_k2, w2), unpack(kTable_kb2, b2); }
};

struct MelodyWeights {
  static constexpr std::size_t kIn = MelodyNet::kInputs, kA = MelodyNet::kSee, kH = MelodyNet::kState, kO = MelodyNet::kOut;
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
    unpack(kTable_m1, w1), unpack(kTable_mb1, b1), unpack(kTable_ma, wa), unpack(kTable_mh, wh), unpack(kTable_mbg, bg);
    unpack(kTable_mo, wo), unpack(kTable_mbo, bo), unpack(kTable_m3, w3), unpack(kTable_mb3, b3);
  }
};

// Unpacked once, at the first construction of a net, never on the path of an event.
template <typename W>
const W& weights() {
  static const std::unique_ptr<const W> shared = std::make_unique<const W>();
  return *shared;
}

}  // namespace

HarmonyNet::HarmonyNet() {
  commit();  // also unpacks the weights
}

UNDERSONG_WIDE void HarmonyNet::commit() {
  const HarmonyWeights& w = weights<HarmonyWeights>();
  committed_ = last_;
  std::array<std::array<float, kMessage>, 12> message{};
  for (std::size_t r = 0; r < 12; ++r) {
    auto& gates = carried_[r];
    gates.fill(0.0F);
    for (std::size_t i = 0; i < kState; ++i) {
      const float h = committed_[r][i];
      add_scaled<kGates>(gates.data(), &w.wh[i * kGates], h);
      add_scaled<kMessage>(message[r].data(), &w.wp[i * kMessage], h);
    }
    for (std::size_t i = 0; i < kState; ++i) {
      carried_new_[r][i] = gates[2 * kState + i];
      gates[2 * kState + i] = 0.0F;
    }
  }
  for (std::size_t p = 0; p < 12; ++p)
    for (std::size_t d = 0; d < kMessage; ++d)
      for (std::size_t r = 0; r < 12; ++r)
        add_scaled<kGates>(carried_[r].data(), &w.wm[(d * 12 + (p + 12 - r) % 12) * kGates], message[p][d]);
}

UNDERSONG_WIDE void HarmonyNet::update(const std::array<float, kEarInputs>& x, bool opens) {
  const HarmonyWeights& w = weights<HarmonyWeights>();
  if (opens) commit();

  std::array<float, kSee> shared = w.b1;
  for (std::size_t i = 0; i < kEarScalars; ++i) add_scaled<kSee>(shared.data(), &w.w1s[i * kSee], x[kEarChannels * 12 + i]);
  std::array<std::array<float, kSee>, 12> see;
  see.fill(shared);
  for (std::size_t c = 0; c < kEarChannels; ++c)
    for (std::size_t p = 0; p < 12; ++p) {
      const float v = x[c * 12 + p];
      if (v < 1e-4F) continue;  // most pitch classes are silent
      const float* block = &w.w1[c * 12 * kSee];
      for (std::size_t r = 0; r < 12; ++r) add_scaled<kSee>(see[r].data(), block + (p + 12 - r) % 12 * kSee, v);
    }

  float top = -1e30F;
  for (std::size_t r = 0; r < 12; ++r) {
    std::array<float, kGates> gates = w.bg;
    std::array<float, kOut> out = w.bo1;
    for (std::size_t i = 0; i < kSee; ++i) {
      const float a = see[r][i];
      if (a <= 0.0F) continue;
      add_scaled<kGates>(gates.data(), &w.wa[i * kGates], a);
      add_scaled<kOut>(out.data(), &w.wo1[i * kOut], a);
    }
    std::array<float, kState> after;
    step<kState>(gates.data(), carried_[r].data(), carried_new_[r].data(), committed_[r].data(), after.data());
    last_[r] = after;
    for (std::size_t i = 0; i < kState; ++i) add_scaled<kOut>(out.data(), &w.wo1[(kSee + i) * kOut], after[i]);
    for (float& o : out) o = std::max(o, 0.0F);
    out_[r] = out;
    std::array<float, kWide> s = w.bo2;
    for (std::size_t i = 0; i < kOut; ++i)
      if (out[i] > 0.0F) add_scaled<kWide>(s.data(), &w.wo2[i * kWide], out[i]);
    for (std::size_t c = 0; c < kClasses; ++c) {
      scores_[r * kClasses + c] = s[c];
      top = std::max(top, s[c]);
    }
  }
  float sum = 0.0F;
  for (const float s : scores_) sum += quick_exp(s - top);
  const float norm = top + std::log(sum);
  for (float& s : scores_) s -= norm;
}

UNDERSONG_WIDE void HarmonyNet::details(int root, std::array<float, 12>& bass, std::array<float, kEarExtensions>& extensions) const {
  const HarmonyWeights& w = weights<HarmonyWeights>();
  std::array<float, kWide> y = w.bo3;
  const auto& out = out_[static_cast<std::size_t>(root)];
  for (std::size_t i = 0; i < kOut; ++i) add_scaled<kWide>(y.data(), &w.wo3[i * kWide], out[i]);
  std::copy(y.begin(), y.begin() + 12, bass.begin());
  std::copy(y.begin() + 12, y.begin() + 12 + kEarExtensions, extensions.begin());
}

KeyNet::KeyNet() { weights<KeyWeights>(); }

UNDERSONG_WIDE void KeyNet::update(const Input& x, std::array<float, 24>& out) const {
  const KeyWeights& w = weights<KeyWeights>();
  constexpr std::size_t n = KeyWeights::kH;
  std::array<float, n> shared = w.b1;
  for (std::size_t i = 0; i < kScalars; ++i) add_scaled<n>(shared.data(), &w.w1s[i * n], x[kRows * 12 + i]);
  std::array<std::array<float, n>, 12> hidden;
  hidden.fill(shared);
  for (std::size_t c = 0; c < kRows; ++c)
    for (std::size_t p = 0; p < 12; ++p) {
      const float v = x[c * 12 + p];
      if (v < 1e-4F) continue;
      for (std::size_t r = 0; r < 12; ++r) add_scaled<n>(hidden[r].data(), &w.w1[(c * 12 + (p + 12 - r) % 12) * n], v);
    }
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

MelodyNet::MelodyNet() { weights<MelodyWeights>(); }

UNDERSONG_WIDE float MelodyNet::score(const Input& x) {
  const MelodyWeights& w = weights<MelodyWeights>();
  constexpr std::size_t kA = MelodyWeights::kA, kH = MelodyWeights::kH, kO = MelodyWeights::kO;
  std::array<float, kA> a = w.b1;
  for (std::size_t i = 0; i < MelodyWeights::kIn; ++i)
    if (x[i] != 0.0F) add_scaled<kA>(a.data(), &w.w1[i * kA], x[i]);
  std::array<float, 3 * kH> gates = w.bg, carried{};
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
