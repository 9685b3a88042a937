#include "daemon/harmony/ear_net.h"

#include <algorithm>
#include <cmath>
#include <memory>

namespace undersong::harmony {
namespace {

// The table keeps 16-bit integers; a weight is an integer times the scale of its tensor.
struct Tensor {
  const std::int16_t* data;
  std::size_t size;
  float scale;
};

#include "daemon/harmony/ear_table.inc"

template <std::size_t N>
void unpack(const Tensor& t, std::array<float, N>& out) {
  for (std::size_t i = 0; i < N; ++i) out[i] = i < t.size ? static_cast<float>(t.data[i]) * t.scale : 0.0F;
}

// y += x * w, N known at compile time so that it becomes vector code.
template <std::size_t N>
void add_scaled(float* __restrict y, const float* __restrict w, float x) {
  for (std::size_t i = 0; i < N; ++i) y[i] += x * w[i];
}

float sigmoid(float x) { return 1.0F / (1.0F + std::exp(-x)); }

constexpr std::size_t kSee = HarmonyNet::kSee, kState = HarmonyNet::kState, kGates = 3 * kState, kMessage = HarmonyNet::kMessage,
                      kOut = HarmonyNet::kOut, kAll = HarmonyNet::kAll, kClasses = kEarClasses;

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
  std::array<float, kOut * kClasses> wo2;                        // classes
  std::array<float, kOut*(kAll - kClasses)> wo3;                 // bass and extensions
  std::array<float, kClasses> bo2;
  std::array<float, kAll - kClasses> bo3;
  HarmonyWeights() {
    unpack(kTable_w1, w1), unpack(kTable_w1s, w1s), unpack(kTable_b1, b1), unpack(kTable_wa, wa), unpack(kTable_wh, wh);
    unpack(kTable_wp, wp), unpack(kTable_wm, wm), unpack(kTable_bg, bg), unpack(kTable_wo1, wo1), unpack(kTable_bo1, bo1);
    unpack(kTable_wo2, wo2), unpack(kTable_wo3, wo3), unpack(kTable_bo2, bo2), unpack(kTable_bo3, bo3);
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
  static constexpr std::size_t kH1 = MelodyNet::kHidden1, kH2 = MelodyNet::kHidden2;
  std::array<float, MelodyNet::kInputs * kH1> w1;
  std::array<float, kH1> b1;
  std::array<float, kH1 * kH2> w2;
  std::array<float, kH2> b2;
  std::array<float, kH2> w3;
  std::array<float, 1> b3;
  MelodyWeights() {
    unpack(kTable_m1, w1), unpack(kTable_mb1, b1), unpack(kTable_m2, w2), unpack(kTable_mb2, b2), unpack(kTable_m3, w3), unpack(kTable_mb3, b3);
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

void HarmonyNet::commit() {
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

void HarmonyNet::update(const std::array<float, kEarInputs>& x, bool opens) {
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
    for (std::size_t i = 0; i < kState; ++i) {
      const float z = sigmoid(gates[i] + carried_[r][i]);
      const float reset = sigmoid(gates[kState + i] + carried_[r][kState + i]);
      const float fresh = std::tanh(gates[2 * kState + i] + carried_[r][2 * kState + i] + reset * carried_new_[r][i]);
      const float h = fresh + z * (committed_[r][i] - fresh);
      last_[r][i] = h;
      add_scaled<kOut>(out.data(), &w.wo1[(kSee + i) * kOut], h);
    }
    for (float& o : out) o = std::max(o, 0.0F);
    out_[r] = out;
    float* s = &scores_[r * kClasses];
    std::copy(w.bo2.begin(), w.bo2.end(), s);
    for (std::size_t i = 0; i < kOut; ++i) add_scaled<kClasses>(s, &w.wo2[i * kClasses], out[i]);
    for (std::size_t c = 0; c < kClasses; ++c) top = std::max(top, s[c]);
  }
  float sum = 0.0F;
  for (const float s : scores_) sum += std::exp(s - top);
  const float norm = top + std::log(sum);
  for (float& s : scores_) s -= norm;
}

void HarmonyNet::details(int root, std::array<float, 12>& bass, std::array<float, kEarExtensions>& extensions) const {
  const HarmonyWeights& w = weights<HarmonyWeights>();
  constexpr std::size_t n = kAll - kClasses;
  std::array<float, n> y = w.bo3;
  const auto& out = out_[static_cast<std::size_t>(root)];
  for (std::size_t i = 0; i < kOut; ++i) add_scaled<n>(y.data(), &w.wo3[i * n], out[i]);
  std::copy(y.begin(), y.begin() + 12, bass.begin());
  std::copy(y.begin() + 12, y.end(), extensions.begin());
}

KeyNet::KeyNet() { weights<KeyWeights>(); }

void KeyNet::update(const Input& x, std::array<float, 24>& out) const {
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

float MelodyNet::score(const Input& x) const {
  const MelodyWeights& w = weights<MelodyWeights>();
  std::array<float, MelodyWeights::kH1> a = w.b1;
  for (std::size_t i = 0; i < kInputs; ++i)
    if (x[i] != 0.0F) add_scaled<MelodyWeights::kH1>(a.data(), &w.w1[i * MelodyWeights::kH1], x[i]);
  std::array<float, MelodyWeights::kH2> b = w.b2;
  for (std::size_t i = 0; i < a.size(); ++i)
    if (a[i] > 0.0F) add_scaled<MelodyWeights::kH2>(b.data(), &w.w2[i * MelodyWeights::kH2], a[i]);
  float y = w.b3[0];
  for (std::size_t i = 0; i < b.size(); ++i) y += std::max(b[i], 0.0F) * w.w3[i];
  return y;
}

}  // namespace undersong::harmony
