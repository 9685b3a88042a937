// Rotation: a layer of the ear whose twelve roots share their weights. Each root sees every row of pitch
// classes, turned so that the root comes first, times the same weights.
//
// This is a circular correlation. It is computed as products of Fourier coefficients, which takes a seventh
// of the multiplications.
//
// Units: rows of 12 pitch classes; for each root a multiple of kLane outputs.
// Threads: any number of readers. No allocation after construction.
// Errors: none; all functions are total.
// Source: the convolution theorem, any handbook of signal processing.
#pragma once

#include <array>
#include <cstddef>
#include <numbers>

#include "daemon/harmony/lanes.h"

namespace undersong::harmony {

// A row of twelve values as Fourier coefficients: numbers 0 and 6, then the real and imaginary parts of 1 to
// 5.
using Spectrum = std::array<float, 12>;

// Cosine of 0..11 twelfths of a turn. The sine lies three places earlier.
inline constexpr std::array<double, 12> kCosine = [] {
  constexpr double kSlant = std::numbers::sqrt3 / 2;
  return std::array<double, 12>{1, kSlant, .5, 0, -.5, -kSlant, -1, -kSlant, -.5, 0, .5, kSlant};
}();
constexpr double cosine(std::size_t twelfths) {
  return kCosine[twelfths % 12];
}
constexpr double sine(std::size_t twelfths) {
  return kCosine[(twelfths + 9) % 12];
}

// Writes the Fourier coefficients of a row of twelve values.
[[gnu::always_inline]] inline void to_spectrum(const float* __restrict row, float* __restrict out) {
  // Values a tritone apart share their coefficients: even ones need their sum, odd ones their difference.
  std::array<float, 6> sum, difference;
  for (std::size_t p = 0; p < 6; ++p) sum[p] = row[p] + row[p + 6], difference[p] = row[p] - row[p + 6];
  out[0] = sum[0] + sum[1] + sum[2] + sum[3] + sum[4] + sum[5];
  out[1] = sum[0] - sum[1] + sum[2] - sum[3] + sum[4] - sum[5];
#pragma GCC unroll 5
  for (std::size_t k = 1; k <= 5; ++k) {
    const auto& half = k % 2 == 0 ? sum : difference;
    float real = 0, imaginary = 0;
#pragma GCC unroll 6
    for (std::size_t p = 0; p < 6; ++p) {
      real += half[p] * static_cast<float>(cosine(p * k));
      imaginary -= half[p] * static_cast<float>(sine(p * k));
    }
    out[2 * k] = real;
    out[2 * k + 1] = imaginary;
  }
}

// A layer with `Channels` rows of inputs and `Out` outputs for each root.
template <std::size_t Channels, std::size_t Out>
class Rotation {
  static_assert(Out % kLane == 0);

 public:
  // weight(channel, semitones above the root, output)
  template <class Weight>
  explicit Rotation(Weight weight) {
    for (std::size_t c = 0; c < Channels; ++c)
      for (std::size_t o = 0; o < Out; ++o) {
        std::array<double, 12> real{}, imaginary{};
        for (std::size_t k = 0; k <= 6; ++k)
          for (std::size_t d = 0; d < 12; ++d) {
            const double w = weight(c, d, o);
            real[k] += w * cosine(k * d), imaginary[k] -= w * sine(k * d);
          }
        // Includes the factor of each coefficient in the inverse transform.
        at(c, 0, o) = static_cast<float>(real[0] / 12);
        at(c, 1, o) = static_cast<float>(real[6] / 12);
        for (std::size_t k = 1; k <= 5; ++k) {
          at(c, 2 * k, o) = static_cast<float>(real[k] / 6);
          at(c, 2 * k + 1, o) = static_cast<float>(imaginary[k] / 6);
        }
      }
  }

  // y[root] += what the root sees of `rows`, which are spectra.
  [[gnu::always_inline]] inline void add(const std::array<Spectrum, Channels>& rows,
                                         std::array<std::array<float, Out>, 12>& y) const {
    std::array<std::array<float, Out>, 12> sums;
    // Take two coefficients at a time and few lanes, so that the sums stay in registers.
    for (std::size_t k = 0; k < 12; k += 2) {
      std::size_t at = 0;
      for (std::size_t b = 0; b < kLonger; ++b, at += (kEach + 1) * kLane)
        add_block<kEach + 1>(rows, k, at, sums);
      for (std::size_t b = kLonger; b < kBlocks; ++b, at += kEach * kLane)
        add_block<kEach>(rows, k, at, sums);
    }
    for (std::size_t o = 0; o < Out; o += kLane) {
      Lane sum[12];
#pragma GCC unroll 12
      for (std::size_t k = 0; k < 12; ++k) sum[k] = load(&sums[k][o]);
#pragma GCC unroll 6
      for (std::size_t r = 0; r < 6; ++r) {
        // Roots a tritone apart share the even coefficients; their odd ones have opposite signs.
        Lane even = r % 2 == 0 ? sum[0] + sum[1] : sum[0] - sum[1], odd = {};
#pragma GCC unroll 5
        for (std::size_t k = 1; k <= 5; ++k)
          (k % 2 == 0 ? even : odd) += static_cast<float>(cosine(r * k)) * sum[2 * k] -
                                       static_cast<float>(sine(r * k)) * sum[2 * k + 1];
        store(&y[r][o], load(&y[r][o]) + (even + odd));
        store(&y[r + 6][o], load(&y[r + 6][o]) + (even - odd));
      }
    }
  }

 private:
  // The sums over all channels of coefficients k and k + 1, for `Lanes` vectors of outputs.
  template <std::size_t Lanes>
  [[gnu::always_inline]] inline void add_block(const std::array<Spectrum, Channels>& rows, std::size_t k,
                                               std::size_t from,
                                               std::array<std::array<float, Out>, 12>& sums) const {
    Lane first[Lanes] = {}, second[Lanes] = {};
    const float* w = &weights_[k * Channels * Out + from * Channels * 2];
    for (std::size_t c = 0; c < Channels; ++c, w += 2 * Lanes * kLane) {
      const float x = rows[c][k], y = rows[c][k + 1];
#pragma GCC unroll 3
      for (std::size_t l = 0; l < Lanes; ++l) {
        const Lane real = load(w + l * kLane), imaginary = load(w + (Lanes + l) * kLane);
        if (k == 0) {  // coefficients 0 and 6 are real
          first[l] += x * real, second[l] += y * imaginary;
        } else {  // times the conjugate, which makes it a correlation
          first[l] += x * real + y * imaginary, second[l] += y * real - x * imaginary;
        }
      }
    }
#pragma GCC unroll 3
    for (std::size_t l = 0; l < Lanes; ++l)
      store(&sums[k][from + l * kLane], first[l]), store(&sums[k + 1][from + l * kLane], second[l]);
  }

  // In the order in which add() reads the weights, so that they come from memory in one stream.
  float& at(std::size_t channel, std::size_t coefficient, std::size_t out) {
    const std::size_t lane = out / kLane, longer = kLonger * (kEach + 1);
    const std::size_t lanes = lane < longer ? kEach + 1 : kEach;
    const std::size_t from = lane < longer ? lane / lanes * lanes : longer + (lane - longer) / lanes * lanes;
    const std::size_t pair = coefficient / 2 * 2, second = coefficient % 2;
    return weights_[pair * Channels * Out + (from * Channels * 2 + (channel * 2 + second) * lanes) * kLane +
                    out - from * kLane];
  }
  // Blocks of at most three lanes.
  static constexpr std::size_t kLanes = Out / kLane, kBlocks = (kLanes + 2) / 3, kEach = kLanes / kBlocks,
                               kLonger = kLanes % kBlocks;
  std::array<float, Channels * 12 * Out> weights_;
};

}  // namespace undersong::harmony
