// Judges each strike of a finished take by itself and its nearest neighbours: gaps, lengths, loudness,
// height, number of notes and new pitch classes.
//
// All inputs are relative to the neighbouring strikes, so tempo, loudness and register do not matter. That
// makes it surer in very free playing than the network of strikes.h, which hears further and knows the tempo;
// the two are combined there.
//
// Units: logits (logarithms of odds).
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: our own; weights learnt by daemon/harmony/learning/train_near_strikes.py, see the README there.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "daemon/takes/played_notes.h"

namespace undersong::takes {

inline constexpr std::size_t kNearFeatures = 71;
using NearFeatures = std::array<float, kNearFeatures>;

struct NearJudgement {
  float beat = 0, downbeat = 0;  // logits of being on a beat, and of beginning a bar
};

// One for each strike, in the order of seen_strikes(). `notes`: ordered by beginning. `chord_changes`:
// ascending.
std::vector<NearJudgement> near_judgements(const std::vector<PlayedNote>& notes,
                                           const std::vector<Micros>& chord_changes);

// The inputs of the network, for training.
std::vector<NearFeatures> near_features(const std::vector<PlayedNote>& notes,
                                        const std::vector<Micros>& chord_changes);

}  // namespace undersong::takes
