#include "daemon/harmony/strike_ear.h"

#include <algorithm>
#include <bit>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr float kFirstLag = .14f, kLagsAnOctave = 8;  // seconds
constexpr float kMemory = .08f;                       // of the running means, for each strike

// Seconds as a logarithm around half a second, from an eighth to eight times as long.
float logarithm(Micros time) {
  return std::clamp(std::log2(static_cast<float>(time.count()) / 5e5f + 1e-3f), -3.f, 3.f);
}

}  // namespace

void StrikeEar::hear(const StruckNotes& strike, StrikeInputs& out) {
  out.fill(0);
  const auto n = std::min(heard_, kPast);
  const auto past = [&](std::size_t back) -> const Past& { return past_[(heard_ - 1 - back) % kPast]; };
  if (heard_ == 0)
    low_ = strike.low, high_ = strike.high, loud_ = strike.loud, size_ = strike.size, uneven_ = 64;
  const float swing = std::sqrt(std::max(9.f, uneven_));
  int fresh = 0, fresh_long = 0;
  for (std::size_t c = 0; c < 12; ++c) {
    if ((strike.classes >> c & 1) == 0) continue;
    fresh += strike.at - classes_[c] > Micros(1'000'000);
    fresh_long += strike.at - classes_[c] > Micros(2'500'000);
    classes_[c] = strike.at;
  }
  const float classes = static_cast<float>(std::max(1, std::popcount(strike.classes)));
  // The newest strike as low as this one, as high, near its lowest note, and near its highest note.
  std::array<Micros, 4> ago;
  ago.fill(Micros(8'000'000));
  unsigned found = 0;
  for (std::size_t k = 0; k < n && found != 15; ++k) {
    const Past& p = past(k);
    const std::array<bool, 4> is{p.low <= strike.low + .5f, p.high >= strike.high - .5f,
                                 std::abs(p.low - strike.low) < 8, std::abs(p.high - strike.high) < 8};
    for (unsigned i = 0; i < 4; ++i)
      if ((found >> i & 1) == 0 && is[i]) found |= 1u << i, ago[i] = strike.at - p.at;
  }
  const float lowness = std::clamp(.5f + (low_ - strike.low) / 10, 0.f, 1.f);
  std::size_t at = 0;
  const auto put = [&](float x) { out[at++] = x; };
  put(n > 0 ? logarithm(strike.at - past(0).at) : 3.f);
  put(n > 1 ? logarithm(strike.at - past(1).at) : 3.f);
  put(n > 3 ? logarithm(strike.at - past(3).at) : 3.f);
  put(n > 11 ? logarithm((strike.at - past(11).at) / 12) : 0.f);
  put(std::min(strike.size, 8.f) / 4);
  put(std::clamp((strike.size - size_) / (1 + size_), -1.5f, 1.5f));
  put(std::clamp((strike.low - low_) / 12, -2.5f, 2.5f));
  put(std::clamp((strike.high - high_) / 12, -2.5f, 2.5f));
  put((strike.low - 55) / 24), put((strike.high - 67) / 24);
  put(std::clamp((strike.loud - loud_) / swing, -3.f, 3.f));
  put(static_cast<float>(fresh) / classes), put(static_cast<float>(fresh_long) / classes);
  for (const Micros time : ago) put(logarithm(time));
  put(n > 0 ? std::clamp((strike.high - past(0).high) / 12, -2.f, 2.f) : 0.f);
  for (std::size_t k = 0; k < n; ++k) {
    const Past& p = past(k);
    const float lag = static_cast<float>((strike.at - p.at).count()) / 1e6f;
    const float place = kLagsAnOctave * std::log2(std::max(lag, 1e-3f) / kFirstLag);
    if (place >= static_cast<float>(kLagBins)) break;
    if (place <= -1) continue;
    const auto first = static_cast<int>(std::floor(place));
    const float share = place - static_cast<float>(first);
    const auto add = [&](int bin, float much) {
      if (bin < 0 || bin >= static_cast<int>(kLagBins)) return;
      float& any = out[kOwnInputs + static_cast<std::size_t>(bin)];
      float& low = out[kOwnInputs + kLagBins + static_cast<std::size_t>(bin)];
      any = std::max(any, much);
      low = std::max(low, much * p.lowness);
    };
    add(first, 1 - share), add(first + 1, share);
  }
  const auto follow = [](float& mean, float x) { mean += kMemory * (x - mean); };
  const float away = strike.loud - loud_;
  follow(low_, strike.low), follow(high_, strike.high), follow(loud_, strike.loud),
      follow(size_, strike.size), follow(uneven_, away * away);
  past_[heard_++ % kPast] = {strike.at, strike.low, strike.high, lowness};
}

}  // namespace undersong::harmony
