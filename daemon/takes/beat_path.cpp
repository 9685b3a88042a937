#include "daemon/takes/beat_path.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

namespace undersong::takes {

using harmony::BeatLattice;
using harmony::BeatOnset;
using harmony::kBeatFrame;

namespace {

constexpr double kGapAccent = 0.667;     // exponent of the time to the next note nearby
constexpr double kLengthAccent = 0.113;  // exponent of how long the note is held

struct WayBack {
  std::vector<std::array<std::uint8_t, BeatLattice::kIntervals>> came_from;
  std::vector<std::uint8_t> stopped_from;
};

// Maps time to the frames of the lattice. A silence counts as at most kLongestGap, so the number of frames
// grows with the notes and not with the time; it is at most kMostFrames. There are no beats in so long a
// silence, and a steady pulse continues after it with a phase of its own.
constexpr std::int64_t kMostFrames = 4 * 3600 * 100;

class Frames {
 public:
  explicit Frames(const std::vector<BeatOnset>& onsets) {
    // Start some frames before the first note, so that a beat may lie before it.
    origin_ = onsets.front().at - kBeatFrame * BeatLattice::kShortest;
    pieces_.push_back({0, origin_});
    frames_.reserve(onsets.size());
    for (std::size_t i = 0; i < onsets.size(); ++i) {
      const Micros gap = i > 0 ? onsets[i].at - onsets[i - 1].at : Micros(0);
      // From the middle of the silence on, frames are aligned with the note after it.
      if (gap > kLongestGap) {
        const std::int64_t here = frames_.back() + kLongestGap / kBeatFrame;
        pieces_.push_back({here - kLongestGap / kBeatFrame / 2, onsets[i].at - kLongestGap / 2});
      }
      const Piece& piece = pieces_.back();
      frames_.push_back(piece.first + (onsets[i].at - piece.begin + kBeatFrame / 2) / kBeatFrame);
    }
    count_ = static_cast<int>(std::min(kMostFrames, frames_.back() + 1));
  }
  int count() const { return count_; }
  int of(std::size_t onset) const {
    return static_cast<int>(std::min<std::int64_t>(frames_[onset], kMostFrames));
  }
  Micros time(int frame) const {
    auto piece = std::upper_bound(pieces_.begin(), pieces_.end(), frame,
                                  [](int f, const Piece& p) { return f < p.first; });
    --piece;
    return piece->begin + kBeatFrame * (frame - piece->first);
  }

 private:
  struct Piece {
    std::int64_t first;  // frame
    Micros begin;        // the time of that frame
  };
  Micros origin_{};
  std::vector<Piece> pieces_;  // frames within a piece are evenly spaced in time
  std::vector<std::int64_t> frames_;
  int count_ = 0;
};

// Moves a beat to the weighted mean of the notes near it, if there are any.
Micros refined(Micros at, Micros interval, const std::vector<BeatOnset>& onsets) {
  const Micros reach = std::min(Micros(60'000), interval / 6);
  auto it = std::lower_bound(onsets.begin(), onsets.end(), at - reach,
                             [](const BeatOnset& o, Micros t) { return o.at < t; });
  double sum = 0, weight = 0;
  for (; it != onsets.end() && it->at <= at + reach; ++it) {
    const double d = static_cast<double>((it->at - at).count()) / 30'000,
                 w = it->weight * (1 + it->bass) * std::exp(-.5 * d * d);
    sum += w * static_cast<double>((it->at - at).count());
    weight += w;
  }
  return weight > 0 ? at + Micros(static_cast<std::int64_t>(sum / weight)) : at;
}

// Removes beats inside long silences: those well after the last note and before the next one.
void drop_silent(std::vector<Beat>& beats, const std::vector<BeatOnset>& onsets) {
  constexpr Micros kSilence{4'000'000}, kLingers{900'000}, kAhead{80'000};
  std::vector<Beat> kept;
  bool gap = false;
  for (const Beat& beat : beats) {
    const auto next = std::lower_bound(onsets.begin(), onsets.end(), beat.at - kAhead,
                                       [](const BeatOnset& o, Micros t) { return o.at < t; });
    const bool silent = next != onsets.end() && next != onsets.begin() &&
                        next->at - (next - 1)->at > kSilence && beat.at - (next - 1)->at > kLingers &&
                        next->at - beat.at > kAhead;
    if (!silent) {
      kept.push_back(beat);
      kept.back().begins = kept.back().begins || gap;
    }
    gap = silent;
  }
  beats = std::move(kept);
}

}  // namespace

Micros played_for(const std::vector<BeatOnset>& onsets) {
  Micros sum{};
  for (std::size_t i = 1; i < onsets.size(); ++i)
    sum += std::min(onsets[i].at - onsets[i - 1].at, kLongestGap);
  return sum;
}

std::vector<BeatOnset> weighed(const std::vector<PlayedNote>& notes) {
  harmony::BeatWeigher weigher;
  std::vector<BeatOnset> out;
  out.reserve(notes.size());
  double usual_gap = 250'000, usual_length = 300'000;
  for (std::size_t i = 0; i < notes.size(); ++i) {
    const PlayedNote& note = notes[i];
    BeatOnset onset = weigher.weigh(note.at, note.pitch, note.velocity);
    // Time until the next note of the same hand or voice, estimated as the next one within eight semitones.
    double gap = 2'000'000;
    for (std::size_t k = i + 1; k < notes.size() && notes[k].at - note.at < Micros(2'000'000); ++k)
      if (notes[k].at - note.at > Micros(70'000) &&
          std::abs(notes[k].pitch.value() - note.pitch.value()) < 9) {
        gap = static_cast<double>((notes[k].at - note.at).count());
        break;
      }
    const double length = std::clamp(static_cast<double>(note.length.count()), 30'000., 2'000'000.);
    const double accent =
        std::pow(gap / usual_gap, kGapAccent) * std::pow(length / usual_length, kLengthAccent);
    usual_gap += .04 * (gap - usual_gap);
    usual_length += .04 * (length - usual_length);
    onset.weight *= static_cast<float>(std::clamp(accent, .3, 2.5));
    out.push_back(onset);
  }
  return out;
}

Path best_path(const std::vector<BeatOnset>& onsets, const harmony::BeatPrior& prior) {
  const Frames frames_of(onsets);
  BeatLattice lattice(prior);
  WayBack way;
  way.came_from.reserve(static_cast<std::size_t>(frames_of.count()));
  way.stopped_from.reserve(static_cast<std::size_t>(frames_of.count()));
  for (std::size_t i = 0, end = 0; i < onsets.size() && frames_of.of(i) < frames_of.count(); i = end) {
    while (lattice.now() < frames_of.of(i)) {
      lattice.step();
      way.came_from.push_back(lattice.came_from());
      way.stopped_from.push_back(lattice.stopped_from());
    }
    for (end = i + 1; end < onsets.size() && frames_of.of(end) == frames_of.of(i);) ++end;
    lattice.note({onsets.data() + i, end - i});
  }
  Path out;
  out.score = lattice.total();
  // Follow the path back from the last beat.
  std::vector<std::pair<int, bool>> frames;  // frame, begins
  const auto best = lattice.best();
  int at = lattice.now(), interval = -1;
  if (best) at = best->beat, interval = best->interval - BeatLattice::kShortest;
  while (at >= 0) {
    if (interval < 0) {  // no pulse here
      if (const auto stopped = way.stopped_from[static_cast<std::size_t>(at)];
          stopped != BeatLattice::kStart) {
        frames.emplace_back(at, false);
        interval = stopped;
        at -= BeatLattice::kShortest + interval;
      } else {
        --at;
      }
      continue;
    }
    const auto from = way.came_from[static_cast<std::size_t>(at)][static_cast<std::size_t>(interval)];
    frames.emplace_back(at, from == BeatLattice::kStart);
    if (from == BeatLattice::kStart) {
      // The pulse begins at this frame. Before it was either no pulse or another one.
      interval = -1;
      const auto stopped = way.stopped_from[static_cast<std::size_t>(at)];
      if (stopped == BeatLattice::kStart) {
        --at;
        continue;
      }
      interval = stopped;
      at -= BeatLattice::kShortest + interval;
    } else {
      interval = from;
      at -= BeatLattice::kShortest + interval;
    }
  }
  std::reverse(frames.begin(), frames.end());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const int next = i + 1 < frames.size() ? frames[i + 1].first - frames[i].first
                     : i > 0               ? frames[i].first - frames[i - 1].first
                                           : 50;
    Beat beat;
    beat.at = std::max(Micros{}, refined(frames_of.time(frames[i].first), kBeatFrame * next, onsets));
    beat.begins = frames[i].second;
    if (out.beats.empty() || beat.at > out.beats.back().at) out.beats.push_back(beat);
  }
  drop_silent(out.beats, onsets);
  return out;
}

}  // namespace undersong::takes
