// The learnt networks of the ear: plain float arithmetic, no library, the same result on every run.
//
// HarmonyNet reads EarFeatures and scores every root and class. The twelve roots share their weights. Its
// memory is kept at the end of the last cluster of notes: within a cluster the answer is computed again with
// every key, so a chord whose keys come one by one leaves the same memory as one struck at once. KeyNet
// scores 24 keys; MelodyNet scores one note.
//
// Units: scores are natural logarithms of probabilities or odds.
// Threads: one owner for each net. The shared weights are read only. No allocation after the first
// construction.
// Errors: none. REQUIRES: root 0..11, class 0..17.
// Source: gated recurrent unit, Cho et al. (2014). Weights: ear_table.inc, made by daemon/harmony/learning
// (data and licence there); training and figures in its README.md.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "daemon/harmony/ear_classes.h"
#include "daemon/harmony/ear_features.h"

namespace undersong::harmony {

// The memory of one of the two networks. See: size of what it makes of the inputs, for each root. Message:
// size of what each root tells the others.
template <std::size_t See, std::size_t State, std::size_t Message, std::size_t Out>
struct HarmonyPart {
  // The state is padded with zeros to whole vectors.
  static constexpr std::size_t kSee = See, kState = State, kRoom = (State + 7) / 8 * 8, kGates = 3 * kRoom,
                               kMessage = Message, kOut = Out;
  std::array<std::array<float, kRoom>, 12> last{}, committed{};
  std::array<std::array<float, kGates>, 12> carried{};  // contribution of the committed state to the gates
  std::array<std::array<float, kRoom>, 12> carried_new{};
  std::array<std::array<float, Out>, 12> out{};
  std::array<float, 12 * kEarClasses> scores{};
};

// Two networks, trained separately on different variations of the music. Their log-probabilities are
// averaged.
class HarmonyNet {
 public:
  HarmonyNet();
  // Updates the scores with the features at a key press.
  void update(const std::array<float, kEarInputs>& x);
  // The cluster has ended: its memory becomes the past of the next one. Does nothing if that was done
  // already.
  void commit();
  bool is_committed() const { return committed_; }
  // Log-probability of a root and class, after update.
  float score(int root, int cls) const { return scores_[static_cast<std::size_t>(root * kEarClasses + cls)]; }
  const std::array<float, 12 * kEarClasses>& scores() const { return scores_; }
  // If `root` is the root: scores of each bass, in semitones above the root, and of each extension (positive:
  // heard).
  void details(int root, std::array<float, 12>& bass, std::array<float, kEarExtensions>& extensions) const;

 private:
  bool committed_ = false;
  HarmonyPart<40, 28, 4, 32> first_;
  HarmonyPart<48, 40, 4, 40> second_;
  std::array<float, 12 * kEarClasses> scores_{};
};

class KeyNet {
 public:
  static constexpr int kRows = 19, kScalars = 2, kHidden = 24;
  using Input = std::array<float, kRows * 12 + kScalars>;
  KeyNet();
  // Writes log-probabilities: 12 major keys by tonic, then 12 minor keys.
  void update(const Input& x, std::array<float, 24>& out) const;
};

// Judges the presses of a performance in order and remembers what it has heard (a gated recurrent unit).
class MelodyNet {
 public:
  static constexpr int kInputs = 64, kSee = 40, kState = 32, kOut = 24;
  using Input = std::array<float, kInputs>;
  MelodyNet();
  // Log-odds that the note belongs to the melody line.
  float score(const Input& x);

 private:
  std::array<float, kState> state_{};
};

}  // namespace undersong::harmony
