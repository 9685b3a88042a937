// The lattice of pulses: every way in which beats could have run up to now, each with how well it explains
// the notes.
//
// A hypothesis is a beat at frame s with the next beat an interval later; a note adds the logarithm of how
// much likelier it is at its place in that interval than anywhere. Intervals change from beat to beat at a
// cost, and at any time there may be no pulse at all, which explains every note as chance. The causal tracker
// (beat_tracker.h) reads the best hypothesis as it stands; the tracker that works afterwards (takes/beats.h)
// keeps the way back.
//
// Units: frames of kBeatFrame; scores are natural logarithms. Threads: one owner. Heap: at construction only.
// Total. Source: bar-pointer models, Whiteley, Cemgil & Godsill (2006), with the state space of Krebs, Boeck
// & Widmer (2015); dynamic programming over beats, Ellis (2007). Weights fitted by us on performances apart
// from the measured ones.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr Micros kBeatFrame{10'000};

// How much a key press says about where the beats lie.
struct BeatOnset {
  Micros at{};
  float weight = 1;  // 0 and up: louder, and the first of a chord, says more
  float bass = 0;    // 0..1: how much it is a bass note or brings a new chord
  float beat = -1;   // 0..1: how probably it lies on a beat, where that was judged; then bass counts no more
};

// Weighs key presses one after another, from what was struck before. Threads: one owner. No heap.
class BeatWeigher {
 public:
  BeatOnset weigh(Micros at, Pitch pitch, Velocity velocity);

 private:
  struct Recent {
    Micros at{-10'000'000};
    Pitch pitch;
    float weight = 0;
  };
  std::array<Recent, 12> recent_{};
  std::size_t next_ = 0;
  std::array<Micros, 12> last_heard_ = filled();  // by pitch class
  float loudness_ = 64, bass_level_ = 48;
  static constexpr std::array<Micros, 12> filled() {
    std::array<Micros, 12> a{};
    a.fill(Micros(-10'000'000));
    return a;
  }
};

// What is known of the pulse before a note is heard. As it stands it is for a player of whom nothing is
// known; whoever hears a take again knows more.
struct BeatPrior {
  double usual = 65;       // frames a beat that are likeliest
  double width = 0.403;    // of their logarithm
  double strength = 1.06;  // how much that counts, a second
  double change = 10.3;    // cost of another interval, by its share of the old one
  double begin = 16.3;     // cost of beginning a pulse
  double stop = 2.64;      // cost of ending one
  double rent = 0;         // cost of having one, a second
  double least = 0;        // cost of having one, for each note of weight 1: what it must explain at least
};

class BeatLattice {
 public:
  static constexpr int kShortest = 25, kLongest = 160;  // frames a beat
  static constexpr int kIntervals = kLongest - kShortest + 1;

  BeatLattice();
  explicit BeatLattice(const BeatPrior& prior);

  // Frames count from 0; the next frame to be stepped is now() + 1.
  int now() const { return now_; }
  void step();
  // A note in frame now().
  void note(const BeatOnset& onset);

  struct Best {
    int beat = 0;      // frame of its last beat
    int interval = 0;  // frames from there to the next
    float score = 0;   // above that of no pulse
  };
  // The best hypothesis that has a pulse; nothing when no pulse explains the notes better.
  std::optional<Best> best();
  // How well the best hypothesis, with a pulse or without, explains all notes up to now; 0 is chance.
  float total();

  // The way back to the last step, for whoever keeps it. From interval i (index) at this beat: the interval
  // that came before, or kStart.
  static constexpr std::uint8_t kStart = 255;
  const std::array<std::uint8_t, kIntervals>& came_from() const { return came_from_; }
  // The interval whose pulse ended here, when that is the best way to have no pulse now; else kStart.
  std::uint8_t stopped_from() const { return stopped_from_; }

 private:
  static constexpr int kRing = kLongest + 1;
  float* row(int frame) { return values_.data() + static_cast<std::size_t>(frame % kRing) * kIntervals; }
  const float* row(int frame) const {
    return values_.data() + static_cast<std::size_t>(frame % kRing) * kIntervals;
  }

  void find_best();

  // What a beat and the change from one to the next cost.
  struct Costs;
  static std::shared_ptr<const Costs> costs_of(const BeatPrior& prior);
  std::shared_ptr<const Costs> costs_;

  int now_ = -1;
  float none_ = 0;             // score of no pulse now
  std::vector<float> values_;  // [frame of the last beat][interval]
  std::array<float, kIntervals> arrived_{};
  std::array<std::int32_t, kIntervals> from_{};
  Best best_;  // its score still with that of no pulse
  bool best_known_ = false;
  std::array<std::uint8_t, kIntervals> came_from_{};
  std::uint8_t stopped_from_ = kStart;
};

}  // namespace undersong::harmony
