// The network that judges strikes (takes/strikes.h): its layers, and what it answers.
//
// A layer on the inputs of each strike is followed by convolutions over the strikes, each with a residual
// connection and a longer reach than the one before.
//
// Units: probabilities 0..1; natural logarithms.
// Threads: pure functions; any thread.
// Errors: none. REQUIRES: rows of a multiple of kLane floats.
// Source: dilated convolutions for beats, Davies & Boeck (2019), with strikes in the place of frames; beats,
// tempo and bars from one network, Boeck & Davies (2020). Weights: learning/train_beats.py.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "daemon/harmony/lanes.h"

namespace undersong::harmony {

// The lengths of a beat that the networks tell apart: from kShortestLength seconds on, ten an octave.
inline constexpr std::size_t kBeatLengths = 31;
inline constexpr float kShortestLength = .22f, kLengthsAnOctave = 10;
using BeatLengths = std::array<float, kBeatLengths>;  // logarithms, 0 for the likeliest

// Beats a bar that the networks tell apart.
inline constexpr std::array<int, 5> kMetres{2, 3, 4, 5, 7};

struct Judgement {
  float beat = .5f;      // probability that the strike is on a beat
  float downbeat = .2f;  // probability that it begins a bar
  BeatLengths lengths{};
  std::array<float, kMetres.size()> metres{};  // logarithms of probabilities
};

// What the last layer gives, padded to whole vectors.
inline constexpr std::size_t kFirstLength = 2;  // after beat and downbeat
inline constexpr std::size_t kJudged = kFirstLength + kBeatLengths + kMetres.size();
inline constexpr std::size_t kJudgedRow = (kJudged + kLane - 1) / kLane * kLane;

// The weights of one layer: for each input, a row of Out floats.
template <std::size_t Out>
struct Layer {
  static_assert(Out % kLane == 0);
  std::vector<float> weights;
  std::array<float, Out> bias{};

  // From the table: whole numbers, with a scale for each output.
  Layer(std::span<const std::int8_t> table, std::span<const float, Out> scale,
        std::span<const float, Out> at_rest) {
    weights.reserve(table.size());
    for (std::size_t i = 0; i < table.size(); ++i)
      weights.push_back(static_cast<float>(table[i]) * scale[i % Out]);
    for (std::size_t o = 0; o < Out; ++o) bias[o] = at_rest[o];
  }
};

// Adds what `n` inputs send through the rows from `weights` on. Many inputs are zero.
template <std::size_t Out>
[[gnu::always_inline]] inline void add_inputs(float* to, const float* inputs, std::size_t n,
                                              const float* weights) {
  for (std::size_t i = 0; i < n; ++i) {
    const float x = inputs[i];
    if (x == 0) continue;
    const float* row = weights + i * Out;
#pragma GCC unroll 8
    for (std::size_t o = 0; o < Out; o += kLane) store(to + o, load(to + o) + x * load(row + o));
  }
}

// `out` becomes its positive part.
template <std::size_t Out>
[[gnu::always_inline]] inline void rectify(float* out) {
  for (std::size_t o = 0; o < Out; o += kLane) {
    const Lane x = load(out + o), none = Lane{};
    store(out + o, x > none ? x : none);
  }
}

inline Judgement judgement_of(const float* row) {
  Judgement out;
  out.beat = 1 / (1 + std::exp(-row[0]));
  out.downbeat = 1 / (1 + std::exp(-row[1]));
  float top = row[2];
  for (std::size_t i = 0; i < kBeatLengths; ++i)
    top = row[kFirstLength + i] > top ? row[kFirstLength + i] : top;
  for (std::size_t i = 0; i < kBeatLengths; ++i) out.lengths[i] = row[kFirstLength + i] - top;
  const float* metre = row + kFirstLength + kBeatLengths;
  float sum = 0;
  for (std::size_t i = 0; i < kMetres.size(); ++i) sum += std::exp(metre[i]);
  for (std::size_t i = 0; i < kMetres.size(); ++i) out.metres[i] = metre[i] - std::log(sum);
  return out;
}

}  // namespace undersong::harmony
