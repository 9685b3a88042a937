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
#include <cstdint>

#include "daemon/harmony/lanes.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/ranking_terms.h"
#include "daemon/harmony/slash_chords.h"

namespace undersong::harmony {

inline constexpr float kAvoided =
    -10;  // the held note clashes: such a chord is offered only at the familiar end

// The candidates: every offered quality on every root, then the slash chords. The array of scores is padded
// to whole SIMD lanes.
inline constexpr std::size_t kOverRoot = 12 * kOfferedCount;
inline constexpr std::size_t kCandidates = kOverRoot + kMostSlashChords;
struct Candidates {
  Candidates() { score.fill(kGone); }
  std::array<float, (kCandidates + kLane - 1) / kLane * kLane> score;  // without wishes, then with
  std::array<float, kCandidates> familiar{};                           // 0..1
  std::array<bool, kCandidates> kept{};  // a combination always offered, or the best of its root
  std::array<bool, kOverRoot> avoided;   // a held note clashes
  SlashChords slash;                     // candidate kOverRoot + i is the i-th
};

// Changes the scores so that they give the order of the list without wishes.
void make_places(Candidates& candidates, const Terms& terms);

}  // namespace undersong::harmony
