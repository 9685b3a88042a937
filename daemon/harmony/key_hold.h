// KeyHold: decides when the key changes. The network judges the key again with every cluster of notes, and
// KeyHold decides whether to follow it.
//
// It counts harmonies, not seconds. Each chord heard says, for every key, which share of its tones lies in
// the scale. The last twelve harmonies, the newer ones weighing more, say how far the playing stays in any
// key at all.
// - While no key holds them, the player is trying out roots: the key in force stays.
// - Otherwise a key that leads the one in force by a margin replaces it.
// - Five harmonies on four roots that lie wholly in another key, and not in the one in force, make a new key
//   at once, without waiting for the network's long memory.
//
// Units: seconds; log-probabilities; keys 0..11 for major by tonic, 12..23 for minor.
// Threads: one owner. No allocation.
// Errors: none; all functions are total: pure arithmetic, no clock.
// Source: common practice, no source; figures, and how the numbers were chosen, in
// daemon/harmony/learning/README.md.
#pragma once

#include <array>
#include <cstddef>

#include "daemon/harmony/fixed_vector.h"

namespace undersong::harmony {

// The kinds of chord that scales distinguish, in this order: major, minor, dominant or suspended, diminished.
inline constexpr std::size_t kKeyChordKinds = 4;
using KeyChords = std::array<std::array<float, 12>, kKeyChordKinds>;  // [kind][root]: probability

class KeyHold {
 public:
  // `heard`: the chords of the last `seconds`. `belief`: the current log-probabilities of 12 major keys by
  // tonic, then 12 minor ones. True if the key changed.
  bool judge(const KeyChords& heard, float seconds, const std::array<float, 24>& belief);
  int key() const { return key_; }  // tonic for major, 12 + tonic for minor; -1 before the first key

 private:
  static constexpr std::size_t kMost = 12;  // number of harmonies that count
  using Shares = std::array<float, 24>;     // share of tones in the scale of each key
  struct Harmony {
    int root = 0;
    Shares inside{};
  };
  void end_harmony();
  int plainly_new(const std::array<float, 24>& belief) const;  // the new key, or -1

  FixedVector<Harmony, kMost> recent_;  // newest first
  Shares inside_{};                     // weighted over all recent harmonies
  KeyChords now_{};
  float lasted_ = 0;
  int root_ = -1;
  int key_ = -1;
};

}  // namespace undersong::harmony
