// find_chords looks for a progression in the chords of a take, in any key and tempo.
//
// Each chord of the progression lies over one or a few neighbouring chords of the take (the ear may have
// heard a passing chord there), in the same order. What counts is the movement of the roots, how much the
// tones of the chords agree, and whether the proportions of their lengths do.
//
// Units: FindTime. A score is a sum of log likelihood ratios, found in this take against found by chance.
// Threads: one owner; not synchronised.
// Errors: none; a progression of less than two chords is found nowhere.
// Source: alignment of chord sequences by root and tones after de Haas, Wiering and Veltkamp, A geometrical
// distance measure for determining the similarity of musical harmony (International Journal of Multimedia
// Information Retrieval 2, 2013). The weights are a conditional logit over the takes of POP909 (Wang et al.,
// ISMIR 2020) that are kept for learning.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "daemon/takes/find_print.h"

namespace undersong::takes {

inline constexpr std::size_t kLongestProgression = 24;  // chords that are compared

struct ChordFit {
  float score = 0;
  int shift = 0;    // 0..11 keys from the progression to the take
  double rate = 1;  // durations in the take against those of the progression
  FindTime from = 0, to = 0;
};
class ProgressionFinder {
 public:
  explicit ProgressionFinder(std::span<const FindChord> progression);
  // The places in the take, best first; of those that begin at the same chord only the best. Places with a
  // score below `floor` may be left out. The chords are used during the call only.
  std::vector<ChordFit> find(std::span<const FindChord> chords, float floor);
  // How much was compared so far; a step takes tens of nanoseconds.
  std::size_t steps() const { return steps_; }

 private:
  static constexpr std::size_t kMostWays = 3 * kLongestProgression;
  float agreement(std::size_t asked, const FindChord& heard);
  bool roots_there(std::size_t begin, int shift);
  void from(std::size_t begin, int shift);
  void go(std::size_t i, std::size_t k, float score, double log_rate, int known);

  std::vector<FindChord> asked_;
  std::vector<float> agreements_;  // by asked chord, distance of the roots and tones; NaN: not computed yet
  std::size_t ways_ = 0;           // chords of the take that one place may cover
  std::vector<float> reached_;     // the best score so far, by asked chord and chord of the take
  std::span<const FindChord> heard_;
  std::size_t begin_ = 0;
  int shift_ = 0;
  std::optional<ChordFit> here_;  // the best from begin_
  float best_ = 0;
  std::size_t steps_ = 0;
};

}  // namespace undersong::takes
