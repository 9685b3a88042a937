#include "daemon/song/beat_map.h"

#include <algorithm>
#include <cmath>

namespace undersong::song {

BeatMap::BeatMap(std::vector<Anchor> anchors) {
  std::stable_sort(anchors.begin(), anchors.end(),
                   [](const Anchor& a, const Anchor& b) { return a.at < b.at; });
  for (const Anchor& anchor : anchors)
    if (anchors_.empty() || (anchor.at > anchors_.back().at && anchor.tick > anchors_.back().tick))
      anchors_.push_back(anchor);
  if (anchors_.empty()) anchors_.push_back({});
  if (anchors_.size() == 1) anchors_.push_back({anchors_[0].at + Micros(500'000), anchors_[0].tick + kBeat});
}

std::size_t BeatMap::segment(Micros at) const {
  const auto after = std::upper_bound(anchors_.begin(), anchors_.end(), at,
                                      [](Micros t, const Anchor& a) { return t < a.at; });
  const auto i = static_cast<std::size_t>(after - anchors_.begin());
  return std::clamp<std::size_t>(i, 1, anchors_.size() - 1) - 1;
}

double BeatMap::beats_at(Micros at) const {
  if (anchors_.empty()) return static_cast<double>(at.count()) / 500'000;
  const auto i = segment(at);
  const Anchor &a = anchors_[i], &b = anchors_[i + 1];
  const double within = static_cast<double>((at - a.at).count()) / static_cast<double>((b.at - a.at).count());
  return a.tick.beats() + within * (b.tick - a.tick).beats();
}

Micros BeatMap::time_at(Ticks tick) const {
  if (anchors_.empty()) return Micros(std::llround(tick.beats() * 500'000));
  const auto after = std::upper_bound(anchors_.begin(), anchors_.end(), tick,
                                      [](Ticks t, const Anchor& a) { return t < a.tick; });
  const auto i =
      std::clamp<std::size_t>(static_cast<std::size_t>(after - anchors_.begin()), 1, anchors_.size() - 1) - 1;
  const Anchor &a = anchors_[i], &b = anchors_[i + 1];
  const double within =
      static_cast<double>((tick - a.tick).count()) / static_cast<double>((b.tick - a.tick).count());
  return a.at + Micros(std::llround(within * static_cast<double>((b.at - a.at).count())));
}

double BeatMap::seconds_a_beat(Micros at) const {
  if (anchors_.empty()) return .5;
  const auto i = segment(at);
  return static_cast<double>((anchors_[i + 1].at - anchors_[i].at).count()) / 1e6 /
         (anchors_[i + 1].tick - anchors_[i].tick).beats();
}

}  // namespace undersong::song
