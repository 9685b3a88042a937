// The beat while it is being played: where beats fall, how fast, how sure; and when there is no pulse.
//
// Feed it key presses in time order, call advance(t) for time without any, and take the beats. A beat is told
// kBeatDelay after it fell at the earliest, so that a note struck a little late still counts for it; what was
// told is not revised.
//
// Times: Micros of one stream. Threads: one owner. Heap: at construction only. Total: a note before the
// newest time is taken at that time; a silence longer than kBeatSilence begins anew. Source: beat_lattice.h;
// bars by votes of bass and fresh notes, common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/beat_lattice.h"

namespace undersong::harmony {

inline constexpr Micros kBeatDelay{60'000};
inline constexpr Micros kBeatSilence{8'000'000};

struct TrackedBeat {
  Micros at{};           // when it fell
  Micros told{};         // when the tracker knew
  Micros interval{};     // to the next, as expected
  float confidence = 0;  // 0..1: how steadily the beats of late came, and how many of them a note fell on
  bool downbeat = false;
  int place = 0, meter = 4;  // in the bar, from 0; beats a bar
};

class BeatTracker {
 public:
  void note_on(Micros at, Pitch pitch, Velocity velocity);
  void advance(Micros at);
  // The oldest beat that has not been taken. Up to kWaiting wait; beyond, the oldest is dropped.
  std::optional<TrackedBeat> take_beat();
  // Nothing while there is no pulse: the newest beat, whether taken or not.
  const std::optional<TrackedBeat>& newest() const { return newest_; }

 private:
  static constexpr std::size_t kWaiting = 64;
  static constexpr int kLook = 4;  // frames between two looks at the lattice
  void to_frame(int frame);
  void look();
  void place_in_bar(TrackedBeat& beat);
  float confidence(Micros at);

  std::optional<Micros> origin_;  // of frame 0
  Micros last_note_{};
  BeatLattice lattice_;
  BeatWeigher weigher_;
  std::optional<TrackedBeat> newest_;
  int newest_frame_ = -1;
  float change_ = 0, struck_ = 0,
        told_ = 0;                  // decaying sums over beats: change of interval, beats with a note, beats
  std::array<Micros, 32> notes_{};  // newest key presses
  std::size_t next_note_ = 0;
  struct Strike {
    Micros at{};
    float weight = 0;
  };
  std::array<Strike, 32> strikes_{};  // bass strikes, newest at next_strike_ - 1
  std::size_t next_strike_ = 0;
  std::array<std::array<float, 4>, 2> votes_{};  // [3 or 4 in a bar][place]
  int count_ = 0;                                // beats since the pulse began
  std::array<TrackedBeat, kWaiting> waiting_{};
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace undersong::harmony
