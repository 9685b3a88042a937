#include "daemon/takes/bar_path.h"

#include <algorithm>
#include <array>

namespace undersong::takes {

using harmony::BarLattice;
using harmony::kMetres;

BarPath best_bars(const std::vector<Beat>& beats, const std::vector<Strike>& strikes, float uncommon,
                  float two) {
  BarPath out;
  const std::size_t n = beats.size();
  out.downbeats.resize(n);
  if (n == 0) return out;
  BarLattice lattice(uncommon, two);
  std::vector<std::array<std::uint8_t, BarLattice::kStates>> back(n);
  std::size_t s = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Micros at = beats[i].at, length = i + 1 < n ? beats[i + 1].at - at
                                            : i > 0   ? at - beats[i - 1].at
                                                      : Micros(500'000);
    const Micros reach = std::min(Micros(90'000), length / 4);
    while (s < strikes.size() && strikes[s].at < at - reach) ++s;
    const harmony::Judgement* on = nullptr;
    for (std::size_t k = s; k < strikes.size() && strikes[k].at <= at + reach; ++k) {
      if (!on || strikes[k].downbeat > on->downbeat) on = &strikes[k];
    }
    lattice.beat(harmony::bar_evidence(on), beats[i].begins);
    back[i] = lattice.came_from();
  }
  out.score = lattice.score();
  std::size_t state = lattice.best();
  std::array<std::size_t, kMetres.size()> count{};
  for (std::size_t i = n; i-- > 0;) {
    const auto [metre, place] = BarLattice::state(state);
    out.downbeats[i] = place == 0;
    ++count[metre];
    state = back[i][state];
  }
  out.meter = kMetres[static_cast<std::size_t>(std::max_element(count.begin(), count.end()) - count.begin())];
  return out;
}

}  // namespace undersong::takes
