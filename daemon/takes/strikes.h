// What each strike of a take says of beats and bars: notes struck together, seen beside those before and
// after.
//
// A small network judges each strike by gaps, lengths, loudness, height, how many notes, how much of the
// harmony is new; all relative to its neighbours, so that tempo, loudness and register do not matter. Units:
// probabilities 0..1. Threads: pure. Errors: none. Times: Micros of the take. Source: our own; weights learnt
// by daemon/harmony/learning/train_beats.py (see README there).
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "daemon/takes/played_notes.h"

namespace undersong::takes {

inline constexpr std::size_t kStrikeFeatures = 71;
using StrikeFeatures = std::array<float, kStrikeFeatures>;

struct Strike {
  Micros at{};
  float beat = .5f;      // how probably it lies on a beat
  float downbeat = .2f;  // how probably it begins a bar
};

// `notes` by beginning; `chord_changes` ascending.
std::vector<Strike> strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

// What the network sees, for learning: the strikes' times and features.
struct SeenStrikes {
  std::vector<Micros> at;
  std::vector<StrikeFeatures> features;
};
SeenStrikes seen_strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

}  // namespace undersong::takes
