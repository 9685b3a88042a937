// What still rings: how strongly each pitch class is present, as struck strings decay.
//
// A struck key starts with a loudness from its velocity and decays slowly while key or pedal keeps it, quickly once the
// damper falls. Low strings ring longer.
// Source: decay times of piano strings of about 10 s in the bass to under 1 s in the treble, Fletcher & Rossing, "The
// Physics of Musical Instruments", ch. 12 (from memory); the constants are shortened to what a listener attends to.
// No allocation, no clock.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/pitch.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

class Evidence {
 public:
  void strike(Micros at, Pitch pitch, Velocity velocity);
  void damp(Micros at, Pitch pitch);  // the damper falls: key and pedals have let go
  void silence(Micros at);            // all dampers

  // Loudness 0..1 and a little more for doubled tones.
  std::array<float, 12> weights(Micros at) const;
  // Lowest key that still rings at `floor` of the loudest or more; nullopt in silence.
  std::optional<Pitch> bass(Micros at, float floor) const;
  // All keys that ring at `floor` of the loudest or more.
  std::array<bool, 128> ringing(Micros at, float floor) const;

 private:
  struct String {
    float loudness = 0;  // at `at`
    Micros at{};
    bool damped = true;
  };
  float now(std::size_t key, Micros at) const;
  std::array<String, 128> strings_{};
};

}  // namespace undersong::harmony
