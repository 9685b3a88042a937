// The learnt networks of the ear: plain float arithmetic, no library, the same result on every run.
//
// HarmonyNet reads EarFeatures and scores every root x class. The twelve roots share their weights. Its
// memory is kept at the end of the last cluster of notes: within a cluster the answer is worked out anew with
// every key, so a chord whose keys come one by one ends with the same memory as one struck at once. KeyNet
// scores 24 keys, MelodyNet one note. Weights: ear_table.inc, made by daemon/harmony/learning (data and
// licence there). Threads: one owner a net; the shared weights are read only. No allocation after the first
// construction. Source: gated recurrent unit, Cho et al. 2014; training and figures,
// daemon/harmony/learning/README.md.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "daemon/harmony/ear_classes.h"
#include "daemon/harmony/ear_features.h"

namespace undersong::harmony {

// What one network of the pair remembers. See: what it makes of the inputs, per root; Message: what a root
// tells the others.
template <std::size_t See, std::size_t State, std::size_t Message, std::size_t Out>
struct HarmonyPart {
  // The state is filled up with zeros to whole vectors.
  static constexpr std::size_t kSee = See, kState = State, kRoom = (State + 7) / 8 * 8, kGates = 3 * kRoom,
                               kMessage = Message, kOut = Out;
  std::array<std::array<float, kRoom>, 12> last{}, committed{};
  std::array<std::array<float, kGates>, 12> carried{};  // what the committed state adds to the gates
  std::array<std::array<float, kRoom>, 12> carried_new{};
  std::array<std::array<float, Out>, 12> out{};
  std::array<float, 12 * kEarClasses> scores{};
};

// Two networks, taught apart on different variations of the music, judge together: their log-probabilities
// are averaged.
class HarmonyNet {
 public:
  HarmonyNet();
  // Reads the features at a key press.
  void update(const std::array<float, kEarInputs>& x);
  // The cluster is over: its memory is the past of the next one. Nothing if that has been done.
  void commit();
  bool is_committed() const { return committed_; }
  // Log-probability of every root x class, after update.
  float score(int root, int cls) const { return scores_[static_cast<std::size_t>(root * kEarClasses + cls)]; }
  const std::array<float, 12 * kEarClasses>& scores() const { return scores_; }
  // Scores of the bass, as semitones above the root, and of the extensions (positive: heard) if `root` is the
  // root.
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
  // Log-probabilities: 12 major keys by tonic, then 12 minor.
  void update(const Input& x, std::array<float, 24>& out) const;
};

// Judges the presses of a performance one after another and remembers what it has heard (a gated recurrent
// unit).
class MelodyNet {
 public:
  static constexpr int kInputs = 64, kSee = 40, kState = 32, kOut = 24;
  using Input = std::array<float, kInputs>;
  MelodyNet();
  // Log-odds that the note belongs to the line.
  float score(const Input& x);

 private:
  std::array<float, kState> state_{};
};

}  // namespace undersong::harmony
