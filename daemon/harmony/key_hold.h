// When the key changes: the network judges it anew with every cluster of notes, and this decides whether to
// follow.
//
// It counts harmonies, not seconds. Each chord that was heard says for every key which share of its tones
// lies in the scale; the last twelve, the newer ones counting more, say how much the playing stays in any key
// at all.
//   - While no key holds them, the player is trying roots out: the key in force stays.
//   - Else a key that leads the one in force by a margin takes its place.
//   - Five harmonies on four roots that lie in another key as well as whole, and not in the one in force, are
//   a new key:
//     then the network's long memory is not waited for.
//
// Units: seconds. Threads: one owner. No allocation. Total: pure arithmetic, no clock. Source: common
// practice, no source; figures and how the numbers were chosen, daemon/harmony/learning/README.md.
#pragma once

#include <array>
#include <cstddef>

#include "daemon/harmony/fixed_vector.h"

namespace undersong::harmony {

// Kinds of chord that the scales tell apart, in this order: major, minor, dominant or suspended, diminished.
inline constexpr std::size_t kKeyChordKinds = 4;
using KeyChords = std::array<std::array<float, 12>, kKeyChordKinds>;  // [kind][root]: probability

class KeyHold {
 public:
  // `heard`: the chords of the last `seconds`; `belief`: log-probability of 12 major keys by tonic, then 12
  // minor ones, now. True when the key changed.
  bool judge(const KeyChords& heard, float seconds, const std::array<float, 24>& belief);
  int key() const { return key_; }  // tonic, 12 + tonic for minor; -1 before the first

 private:
  static constexpr std::size_t kMost = 12;  // harmonies that count
  using Shares = std::array<float, 24>;     // of tones that lie in the scale, by key
  struct Harmony {
    int root = 0;
    Shares inside{};
  };
  void end_harmony();
  int plainly_new(const std::array<float, 24>& belief) const;  // -1: none

  FixedVector<Harmony, kMost> recent_;  // newest first
  Shares inside_{};                     // over all the recent ones
  KeyChords now_{};
  float lasted_ = 0;
  int root_ = -1;
  int key_ = -1;
};

}  // namespace undersong::harmony
