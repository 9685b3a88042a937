#include "daemon/harmony/ear_net.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstring>
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

// The tensors of one harmony network.
struct HarmonyTensors {
  Tensor w1, w1s, b1, wa, wh, wp, wm, bg, wo1, bo1, wo2, wo3, bo2, bo3;
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

#if defined(__GNUC__)
#pragma GCC diagnostic ignored "-Wpsabi"  // lanes are never passed between functions: all that takes them is inlined
#endif
// Eight outputs at once; a machine with narrower vectors does the same in halves.
typedef float Lane __attribute__((vector_size(32)));
[[gnu::always_inline]] inline Lane load(const float* from) {
  Lane lane;
  std::memcpy(&lane, from, sizeof lane);
  return lane;
}
[[gnu::always_inline]] inline void store(float* to, Lane lane) { std::memcpy(to, &lane, sizeof lane); }

// One input of a layer: its value and the row of weights that it multiplies.
struct Term {
  const float* row;
  float value;
};

// y += the sum of value * row[from ..], `Lanes` times eight outputs, which stay in registers while the rows go by.
template <std::size_t Lanes>
[[gnu::always_inline]] inline void add_block(float* __restrict y, const Term* terms, std::size_t count, std::size_t from) {
  Lane sum[Lanes];
#pragma GCC unroll 8
  for (std::size_t l = 0; l < Lanes; ++l) sum[l] = load(y + from + 8 * l);
  for (std::size_t k = 0; k < count; ++k) {
    const float* row = terms[k].row + from;
    const float value = terms[k].value;
#pragma GCC unroll 8
    for (std::size_t l = 0; l < Lanes; ++l) sum[l] += value * load(row + 8 * l);
  }
#pragma GCC unroll 8
  for (std::size_t l = 0; l < Lanes; ++l) store(y + from + 8 * l, sum[l]);
}

// y += the sum of value * row over N outputs, in the order of the terms.
template <std::size_t N>
[[gnu::always_inline]] inline void add_terms(float* __restrict y, const Term* terms, std::size_t count) {
  constexpr std::size_t kBlock = 5, kWhole = N / (8 * kBlock), kRest = N % (8 * kBlock) / 8;
  for (std::size_t b = 0; b < kWhole; ++b) add_block<kBlock>(y, terms, count, b * 8 * kBlock);
  if constexpr (kRest > 0) add_block<kRest>(y, terms, count, kWhole * 8 * kBlock);
  constexpr std::size_t kDone = (kWhole * kBlock + kRest) * 8;
  if constexpr (kDone < N)
    for (std::size_t k = 0; k < count; ++k)
      for (std::size_t i = kDone; i < N; ++i) y[i] += terms[k].value * terms[k].row[i];
}

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

constexpr std::size_t kClasses = kEarClasses, kDetails = 12 + kEarExtensions;
constexpr std::size_t kWide = 24;  // a row of outputs, filled up

template <typename P>
constexpr const HarmonyTensors& tensors() {
  return P::kState == 28 ? kTable_first : kTable_second;
}

template <typename P>
struct HarmonyWeights {
  std::array<float, kEarChannels * 12 * P::kSee> w1;  // [channel][semitones above the root][kSee]
  std::array<float, kEarScalars * P::kSee> w1s;
  std::array<float, P::kSee> b1;
  std::array<float, P::kSee * P::kGates> wa;
  std::array<float, P::kState * P::kGates> wh;
  std::array<float, P::kState * P::kMessage> wp;
  std::array<float, P::kMessage * 12 * P::kGates> wm;  // [message][semitones above the root][gates]
  std::array<float, P::kGates> bg;
  std::array<float, (P::kSee + P::kState) * P::kOut> wo1;
  std::array<float, P::kOut> bo1;
  std::array<float, P::kOut * kWide> wo2;  // classes
  std::array<float, P::kOut * kWide> wo3;  // bass and extensions
  std::array<float, kWide> bo2;
  std::array<float, kWide> bo3;
  HarmonyWeights() {
    const HarmonyTensors& t = tensors<P>();
    unpack(t.w1, w1), unpack(t.w1s, w1s), unpack(t.b1, b1), unpack(t.wa, wa), unpack(t.wh, wh), unpack(t.wp, wp), unpack(t.wm, wm);
    unpack(t.bg, bg), unpack(t.wo1, wo1), unpack(t.bo1, bo1), unpack(t.bo2, bo2), unpack(t.bo3, bo3);
    unpack_rows(t.wo2, kClasses, kWide, wo2), unpack_rows(t.wo3, kDetails, kWide, wo3);
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

// The state at the end of a cluster becomes the past of the next one.
template <typename P>
[[gnu::always_inline]] inline void commit_part(P& net, const HarmonyWeights<P>& w) {
  constexpr std::size_t n = P::kState, gates_size = P::kGates, message_size = P::kMessage;
  net.committed = net.last;
  std::array<std::array<float, message_size>, 12> message{};
  std::array<Term, std::max(n, 12 * message_size)> terms;
  for (std::size_t r = 0; r < 12; ++r) {
    auto& gates = net.carried[r];
    gates.fill(0.0F);
    for (std::size_t i = 0; i < n; ++i) {
      const float h = net.committed[r][i];
      terms[i] = {&w.wh[i * gates_size], h};
      add_scaled<message_size>(message[r].data(), &w.wp[i * message_size], h);
    }
    add_terms<gates_size>(gates.data(), terms.data(), n);
    for (std::size_t i = 0; i < n; ++i) net.carried_new[r][i] = std::exchange(gates[2 * n + i], 0.0F);
  }
  for (std::size_t r = 0; r < 12; ++r) {
    std::size_t count = 0;
    for (std::size_t p = 0; p < 12; ++p)
      for (std::size_t d = 0; d < message_size; ++d)
        terms[count++] = {&w.wm[(d * 12 + (p + 12 - r) % 12) * gates_size], message[p][d]};
    add_terms<gates_size>(net.carried[r].data(), terms.data(), count);
  }
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
[[gnu::always_inline]] inline void update_part(P& net, const HarmonyWeights<P>& w, const std::array<float, kEarInputs>& x) {
  constexpr std::size_t see_size = P::kSee, n = P::kState, gates_size = P::kGates, out_size = P::kOut;
  std::array<float, see_size> shared = w.b1;
  for (std::size_t i = 0; i < kEarScalars; ++i) add_scaled<see_size>(shared.data(), &w.w1s[i * see_size], x[kEarChannels * 12 + i]);
  struct Heard {
    std::size_t channel, pitch_class;
    float value;
  };
  std::array<Heard, kEarChannels * 12 + 1> heard;
  std::size_t heard_count = 0;
  for (std::size_t c = 0; c < kEarChannels; ++c)
    for (std::size_t p = 0; p < 12; ++p) {
      heard[heard_count] = {c, p, x[c * 12 + p]};
      heard_count += x[c * 12 + p] >= 1e-4F;  // most pitch classes are silent
    }
  std::array<Term, std::max<std::size_t>(kEarChannels * 12, see_size) + 1> terms, out_terms;
  for (std::size_t r = 0; r < 12; ++r) {
    std::array<float, see_size> see = shared;
    for (std::size_t k = 0; k < heard_count; ++k)
      terms[k] = {&w.w1[(heard[k].channel * 12 + (heard[k].pitch_class + 12 - r) % 12) * see_size], heard[k].value};
    add_terms<see_size>(see.data(), terms.data(), heard_count);
    std::array<float, gates_size> gates = w.bg;
    std::array<float, out_size> out = w.bo1;
    std::size_t count = 0;
    // Counted on without a branch: which units are silent can't be foreseen.
    for (std::size_t i = 0; i < see_size; ++i) {
      terms[count] = {&w.wa[i * gates_size], see[i]};
      out_terms[count] = {&w.wo1[i * out_size], see[i]};
      count += see[i] > 0.0F;
    }
    add_terms<gates_size>(gates.data(), terms.data(), count);
    add_terms<out_size>(out.data(), out_terms.data(), count);
    std::array<float, n> after;
    step<n>(gates.data(), net.carried[r].data(), net.carried_new[r].data(), net.committed[r].data(), after.data());
    net.last[r] = after;
    for (std::size_t i = 0; i < n; ++i) terms[i] = {&w.wo1[(see_size + i) * out_size], after[i]};
    add_terms<out_size>(out.data(), terms.data(), n);
    for (float& o : out) o = std::max(o, 0.0F);
    net.out[r] = out;
    std::array<float, kWide> s = w.bo2;
    count = 0;
    for (std::size_t i = 0; i < out_size; ++i) {
      terms[count] = {&w.wo2[i * kWide], out[i]};
      count += out[i] > 0.0F;
    }
    add_terms<kWide>(s.data(), terms.data(), count);
    std::copy(s.begin(), s.begin() + kClasses, net.scores.begin() + static_cast<std::ptrdiff_t>(r * kClasses));
  }
  normalise(net.scores);
}

template <typename P>
[[gnu::always_inline]] inline void detail_part(const P& net, const HarmonyWeights<P>& w, std::size_t root, std::array<float, kWide>& y) {
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
  commit_part(first_, weights_of(first_));
  commit_part(second_, weights_of(second_));
}

UNDERSONG_WIDE void HarmonyNet::update(const std::array<float, kEarInputs>& x, bool opens) {
  if (opens) commit();
  update_part(first_, weights_of(first_), x);
  update_part(second_, weights_of(second_), x);
  for (std::size_t i = 0; i < scores_.size(); ++i) scores_[i] = 0.5F * (first_.scores[i] + second_.scores[i]);
  normalise(scores_);
}

UNDERSONG_WIDE void HarmonyNet::details(int root, std::array<float, 12>& bass, std::array<float, kEarExtensions>& extensions) const {
  std::array<float, kWide> y{};
  detail_part(first_, weights_of(first_), static_cast<std::size_t>(root), y);
  detail_part(second_, weights_of(second_), static_cast<std::size_t>(root), y);
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
