// Estimates for each strike of a take how likely it falls on a beat and on a downbeat. A strike is a group of
// notes struck together.
//
// A small neural network judges each strike by gaps, lengths, loudness, height, number of notes and new pitch
// classes. All inputs are relative to the neighbouring strikes, so tempo, loudness and register do not
// matter.
//
// Units: Micros of the take; probabilities 0..1.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: our own; weights learnt by daemon/harmony/learning/train_beats.py, see the README there.
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
  float beat = .5f;      // probability that it falls on a beat
  float downbeat = .2f;  // probability that it begins a bar
};

// `notes`: ordered by beginning. `chord_changes`: ascending.
std::vector<Strike> strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

// The inputs of the network, for training: times and features of the strikes.
struct SeenStrikes {
  std::vector<Micros> at;
  std::vector<StrikeFeatures> features;
};
SeenStrikes seen_strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

}  // namespace undersong::takes
