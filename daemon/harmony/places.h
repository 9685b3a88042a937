// The order of the list without wishes: the likeliest first, then variety, then functions.
//
// - Places 1 to 3 go by score, one for each root and kind of triad.
// - Places 4 to 12 go to chords that differ in root and colour (maximal marginal relevance); one of them, or
//   two, is a slash chord, if a good one fits. The first dozen has at most two chords on one root, and at
//   least ten roots.
// - Then come functions: the usual chords of this place in their plain form (the secondary dominants, the ii,
//   the iv), and what else scores high. Each chord lowers others on its root, and more so those of its
//   family, so that no root or family crowds the list.
//
// The order is written as scores, which the wishes then add to.
//
// Units: scores as in alternatives.h.
// Threads: pure functions; call them from any thread. No allocation.
// Errors: none; all functions are total.
// Source: Carbonell & Goldstein (1998) for maximal marginal relevance; the weights are common practice, no
// source.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "daemon/harmony/lanes.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/ranking_terms.h"
#include "daemon/harmony/slash_chords.h"

namespace undersong::harmony {

// A held note clashes: such a chord is offered only at the familiar end, whatever the wishes are.
inline constexpr float kAvoided = -400;
inline constexpr float kClashes = -5;  // a score of at most this belongs to a chord that is avoided

// The candidates: every offered quality on every root (root * kPadded + index of the quality), then the slash
// chords. Row 12 is theirs. What pads the rows is kGone.
inline constexpr std::size_t kRows = 13;
inline constexpr std::size_t kSlashPadded = (kMostSlashChords + kLane - 1) / kLane * kLane;
inline constexpr std::size_t kCandidates = kOverRoot + kSlashPadded;
using Scores = std::array<float, kCandidates>;
struct Candidates {
  Scores score;                             // without wishes, then with
  Scores familiar;                          // 0..1
  std::array<std::uint64_t, kRows> kept{};  // bit = index in the row: the best of its root, or always offered
  std::array<std::uint64_t, 12> avoided;    // a held note clashes
  SlashChords slash;                        // candidate kOverRoot + i is the i-th
  // The list without wishes, best first, before what is always kept; empty if places were not made.
  FixedVector<std::uint16_t, kMaxAlternatives> order;
};

// Takes the greatest scores out, one by one, of equal ones the first.
class Tops {
 public:
  explicit Tops(const Scores& scores);
  // The candidate with the greatest score, which is then kGone. REQUIRES: one is left.
  std::size_t take() {
    const std::size_t at = best();
    gone(at);
    return at;
  }
  std::size_t best() const;
  float score(std::size_t at) const { return left_[at]; }
  const Scores& left() const { return left_; }
  // Scores of a row may be changed here; refresh it afterwards.
  float* row(std::size_t row) { return &left_[row * kPadded]; }
  void refresh(std::size_t row);
  void gone(std::size_t at) {
    left_[at] = kGone;
    refresh(at / kPadded);
  }

 private:
  Scores left_;
  std::array<float, 16> top_;  // of each row; the last three pad
  std::array<std::uint16_t, kRows> at_;
};

// Changes the scores so that they give the order of the list without wishes.
void make_places(Candidates& candidates, const Terms& terms);

}  // namespace undersong::harmony
