// BeatLattice: every way in which the beats could have run so far, each with a score for how well it explains
// the notes.
//
// A hypothesis is a beat at frame s whose next beat comes one interval later. A note adds the logarithm of
// how much likelier it is at its place in that interval than anywhere. An interval may change from one beat
// to the next at a cost. At any time there may also be no pulse, which explains every note as chance. The
// causal tracker (beat_tracker.h) reads the best hypothesis at each moment; the tracker that works on
// finished takes (takes/beats.h) keeps the way back.
//
// Units: frames of kBeatFrame; scores are natural logarithms.
// Threads: one owner. No allocation after construction.
// Errors: none; all functions are total. REQUIRES: note() after the first step().
// Source: bar-pointer models, Whiteley, Cemgil & Godsill (2006), with the state space of Krebs, Boeck &
// Widmer (2015); dynamic programming over beats, Ellis (2007). We fitted the weights on other performances
// than those used for measuring.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/pitch.h"
#include "daemon/harmony/strike_net.h"

namespace undersong::harmony {

inline constexpr Micros kBeatFrame{10'000};

// What a key press says about the place of the beats.
struct BeatOnset {
  Micros at{};
  float weight = 1;  // 0 and up; loud notes and the first note of a chord weigh more
  float bass = 0;    // 0..1: how far it is a bass note or brings a new chord
  // 0..1: the probability that it lies on a beat, where that was judged; `bass` is then ignored. -1: not
  // judged.
  float beat = -1;
  // The logarithm of how likely each length of a beat is here, where that was judged; it counts `lasts`
  // times.
  const BeatLengths* lengths = nullptr;
  float lasts = 0;
};

// A judged strike as evidence. `since`: time from the strike before or to the strike after it, for which its
// judgement of the length of a beat counts. `judged` must outlive the onset.
struct StrikeShares {
  float strikes = 1;  // weight of a strike's place
  // Flattens the networks' probabilities: they are less certain of new takes than of those they learnt from.
  float temper = .75f;
  float lengths = .3f;  // what a judged length weighs, a second
};
BeatOnset strike_onset(Micros at, const Judgement& judged, Micros since, const StrikeShares& shares = {});

// Weighs key presses in order, each by what was struck before it. Threads: one owner. No allocation.
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
  std::array<Micros, 12> last_heard_ = filled();  // indexed by pitch class
  float loudness_ = 64, bass_level_ = 48;
  static constexpr std::array<Micros, 12> filled() {
    std::array<Micros, 12> a{};
    a.fill(Micros(-10'000'000));
    return a;
  }
};

// What is known about the pulse before any note is heard. The defaults are for an unknown player; a tracker
// that hears a take again knows more.
struct BeatPrior {
  double usual = 65;       // the likeliest number of frames per beat
  double width = 0.403;    // standard deviation of its logarithm
  double strength = 1.06;  // weight of these two, per second
  double change = 10.3;    // cost of a change of interval, per relative change
  double begin = 16.3;     // cost of starting a pulse
  double stop = 2.64;      // cost of ending one
  double rent = 0;         // cost of having a pulse, per second
  // Cost of having a pulse, for each note of weight 1: the least that the pulse must explain.
  double least = 0;
};

class BeatLattice {
 public:
  static constexpr int kShortest = 25, kLongest = 160;  // frames per beat
  static constexpr int kIntervals = kLongest - kShortest + 1;

  BeatLattice();
  explicit BeatLattice(const BeatPrior& prior);

  // Frames count from 0. step() moves on to frame now() + 1.
  int now() const { return now_; }
  void step();
  // Adds a note, or several at once, in frame now().
  void note(const BeatOnset& onset) { note({&onset, 1}); }
  void note(std::span<const BeatOnset> onsets);

  struct Best {
    int beat = 0;      // frame of the last beat
    int interval = 0;  // frames from there to the next beat
    float score = 0;   // score above that of no pulse
  };
  // The best hypothesis with a pulse; nullopt when no pulse explains the notes better than chance.
  std::optional<Best> best();
  // The score of the best hypothesis, with or without a pulse, for all notes so far; 0 is chance.
  float total();

  // The way back from the last step, for callers that keep it. For each interval (index) at this beat: the
  // index of the interval before it, or kStart.
  static constexpr std::uint8_t kStart = 255;
  const std::array<std::uint8_t, kIntervals>& came_from() const { return came_from_; }
  // The index of the interval whose pulse ended here, if ending it is the best way to have no pulse now;
  // otherwise kStart.
  std::uint8_t stopped_from() const { return stopped_from_; }

 private:
  static constexpr int kRing = kLongest + 1;
  float* row(int frame) { return values_.data() + static_cast<std::size_t>(frame % kRing) * kIntervals; }
  const float* row(int frame) const {
    return values_.data() + static_cast<std::size_t>(frame % kRing) * kIntervals;
  }

  void find_best();
  void add_lengths(const BeatOnset& onset);

  // The costs of a beat and of the change from one beat to the next.
  struct Costs;
  static std::shared_ptr<const Costs> costs_of(const BeatPrior& prior);
  std::shared_ptr<const Costs> costs_;

  int now_ = -1;
  float none_ = 0;                               // score of having no pulse now
  std::vector<float> values_;                    // [frame of the last beat][interval]
  std::array<float, kIntervals + 2> arrived_{};  // with a place on either side that is never reached
  Best best_;                                    // its score still includes that of no pulse
  bool best_known_ = false;
  std::array<std::uint8_t, kIntervals> came_from_{};
  std::uint8_t stopped_from_ = kStart;
};

}  // namespace undersong::harmony
