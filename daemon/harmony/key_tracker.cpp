#include "daemon/harmony/key_tracker.h"

#include <cmath>

namespace undersong::harmony {
namespace {
constexpr double kHalfLife = 18;   // seconds
constexpr double kMargin = 0.04;   // correlation by which another key must be better
constexpr double kEnough = 2.5;    // weight heard before a first key is named: five or six notes
}  // namespace

bool KeyTracker::strike(Micros at, Pitch pitch, Velocity velocity) {
  const double seconds = std::chrono::duration<double>(at - last_).count();
  const double fade = std::exp2(-std::max(0.0, seconds) / kHalfLife);
  last_ = at;
  double sum = 0;
  for (double& weight : weights_) sum += weight *= fade;
  weights_[static_cast<std::size_t>(pitch.pitch_class().value())] += 0.3 + 0.7 * velocity.value() / 127.0;
  if (sum < kEnough) return false;
  const auto best = best_key(weights_);
  if (!best) return false;
  if (now_ && now_->key == best->key) {
    now_->confidence = best->confidence;
    return false;
  }
  if (now_ && profile_correlation(weights_, best->key) < profile_correlation(weights_, now_->key) + kMargin) return false;
  now_ = best;
  return true;
}

}  // namespace undersong::harmony
