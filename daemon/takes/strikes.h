// Judges each strike of a finished take: how likely it falls on a beat and begins a bar, how long a beat is
// there, and how many beats a bar has. A strike is a group of notes struck together.
//
// A small neural network hears the strikes around each strike, some hundred on both sides.
//
// Units: Micros of the take; probabilities 0..1.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: harmony/strike_net.h; weights learnt by daemon/harmony/learning/train_beats.py, see the README
// there.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "daemon/harmony/strike_ear.h"
#include "daemon/harmony/strike_net.h"
#include "daemon/takes/played_notes.h"

namespace undersong::takes {

// Inputs of the network: the strike heard after the strikes before it, the same backwards, and what only a
// finished take tells: lengths of notes, changes of harmony.
inline constexpr std::size_t kAfterwardsInputs = 9;
inline constexpr std::size_t kStrikeFeatures = 2 * harmony::kStrikeInputs + kAfterwardsInputs;
using StrikeFeatures = std::array<float, kStrikeFeatures>;

struct Strike : harmony::Judgement {
  Micros at{};
};

// `notes`: ordered by beginning. `chord_changes`: ascending.
std::vector<Strike> strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

// The inputs of the network: times of the strikes, and their features as if all lengths of time were `pace`
// times as long.
struct SeenStrikes {
  std::vector<Micros> at;
  std::vector<StrikeFeatures> features;
};
SeenStrikes seen_strikes(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes,
                         double pace = 1);

}  // namespace undersong::takes
