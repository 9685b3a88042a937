#include "daemon/harmony/bar_lattice.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr float kOther = 7;     // cost of a bar of another length
constexpr float kBroken = 10;   // cost of a bar that breaks off
constexpr float kAfresh = 1;    // the same where the pulse begins anew
constexpr float kPickup = .7f;  // cost of beginning within a bar
// Cost of each bar of 3, 4, 5 and 7 beats: fives and sevens need evidence. The first is that of two.
constexpr std::array<float, kMetres.size()> kBar{0, .1f, 0, .6f, .6f};
// Weight of what strikes say of the metre, for each beat.
constexpr float kMetreShare = .15f;
constexpr float kLeastLikely = -4;
constexpr float kDownbeats = .28f;  // share of beats that are downbeats
constexpr float kUnstruck = .14f;   // the same where nothing is struck
constexpr std::array<float, kMetres.size()> kUsual{.12f, .2f, .56f, .07f, .05f};  // how usual each metre is

constexpr auto kEveryState = [] {
  std::array<BarLattice::State, BarLattice::kStates> out{};
  std::size_t at = 0;
  for (std::size_t m = 0; m < kMetres.size(); ++m)
    for (int p = 0; p < kMetres[m]; ++p) out[at++] = {m, p};
  return out;
}();

}  // namespace

BarLattice::State BarLattice::state(std::size_t index) {
  return kEveryState[index];
}

BarEvidence bar_evidence(const Judgement* strike) {
  BarEvidence out;
  float share = kUnstruck;
  if (strike) {
    share = std::clamp(strike->downbeat / std::max(.05f, strike->beat), .01f, .97f);
    for (std::size_t m = 0; m < kMetres.size(); ++m)
      out.metres[m] = kMetreShare * std::max(kLeastLikely, strike->metres[m]);
  }
  out.down = std::log(share / kDownbeats);
  out.other = std::log((1 - share) / (1 - kDownbeats));
  return out;
}

std::size_t BarLattice::best() const {
  return static_cast<std::size_t>(std::max_element(score_.begin(), score_.end()) - score_.begin());
}

void BarLattice::beat(const BarEvidence& evidence, bool begins) {
  const auto observed = [&](std::size_t s) {
    return (kEveryState[s].place == 0 ? evidence.down : evidence.other) +
           evidence.metres[kEveryState[s].metre] -
           (kEveryState[s].place > 0
                ? 0
                : uncommon_ * (kMetres[kEveryState[s].metre] == 2 ? two_ : kBar[kEveryState[s].metre]));
  };
  if (!any_) {
    any_ = true;
    for (std::size_t s = 0; s < kStates; ++s)
      score_[s] =
          std::log(kUsual[kEveryState[s].metre]) - (kEveryState[s].place == 0 ? 0 : kPickup) + observed(s),
      came_from_[s] = static_cast<std::uint8_t>(s);
    return;
  }
  const std::size_t top = best();
  std::size_t ended = kStates;  // the best end of a bar, in any metre
  for (std::size_t s = 0; s < kStates; ++s)
    if (kEveryState[s].place == kMetres[kEveryState[s].metre] - 1 &&
        (ended == kStates || score_[s] > score_[ended]))
      ended = s;
  std::array<float, kStates> next{};
  for (std::size_t s = 0; s < kStates; ++s) {
    const auto [m, p] = kEveryState[s];
    std::size_t from = p > 0 ? s - 1 : s + static_cast<std::size_t>(kMetres[m]) - 1;
    float value = score_[from];
    const auto rather = [&](std::size_t other, float cost) {
      if (score_[other] - cost > value) value = score_[other] - cost, from = other;
    };
    if (p == 0) rather(ended, kOther), rather(top, begins ? kAfresh : kBroken);
    if (p != 0 && begins) rather(top, kAfresh + kPickup);
    next[s] = value + observed(s);
    came_from_[s] = static_cast<std::uint8_t>(from);
  }
  score_ = next;
}

}  // namespace undersong::harmony
