// Follows the key while the playing goes on: decaying pitch-class weights, the best of 24 profiles, slow to leave.
//
// Source of the profiles and the correlation: see key.h. Half life and margin: common practice, no source.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/key.h"

namespace undersong::harmony {

class KeyTracker {
 public:
  // A note was struck. True if the key changed.
  bool strike(Micros at, Pitch pitch, Velocity velocity);
  const std::optional<KeyReading>& now() const { return now_; }

 private:
  std::array<double, 12> weights_{};
  Micros last_{};
  std::optional<KeyReading> now_;
};

}  // namespace undersong::harmony
