// BeatTracker: follows the beat while it is being played: where beats fall, how fast they are, how sure that
// is, and when there is no pulse.
//
//   tracker.note_on(at, pitch, velocity);
//   while (auto beat = tracker.take_beat()) show(*beat);
//
// Feed it key presses in time order and call advance(t) for time without any. A beat is reported kBeatDelay
// after it fell or later, so that a note struck slightly late still counts. A reported beat is never revised.
//
// Units: Micros of one stream.
// Threads: one owner. No allocation after construction.
// Errors: none; all functions are total. A note earlier than the newest time counts at the newest time; after
// a silence longer than kBeatSilence the tracker starts again.
// Source: beat_lattice.h; bars by votes of bass notes and new notes, common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/beat_lattice.h"
#include "daemon/harmony/feel.h"

namespace undersong::harmony {

inline constexpr Micros kBeatDelay{60'000};
inline constexpr Micros kBeatSilence{8'000'000};

struct TrackedBeat {
  Micros at{};           // when the beat fell
  Micros told{};         // when the tracker reported it
  Micros interval{};     // expected time to the next beat
  float confidence = 0;  // 0..1: how steady the recent beats are, and how many have a note on them
  bool downbeat = false;
  int place = 0, meter = 4;  // place in the bar, from 0; beats per bar
};

class BeatTracker {
 public:
  void note_on(Micros at, Pitch pitch, Velocity velocity);
  void advance(Micros at);
  // The oldest beat that has not been taken. At most kWaiting beats wait; then the oldest is dropped.
  std::optional<TrackedBeat> take_beat();
  // The newest beat, taken or not; nullopt while there is no pulse.
  const std::optional<TrackedBeat>& newest() const { return newest_; }
  // How its beats are divided.
  const FeelNow& feel() const { return feel_now_; }

 private:
  static constexpr std::size_t kWaiting = 64;
  static constexpr int kLook = 4;  // frames between two readings of the lattice
  void to_frame(int frame);
  void look();
  void place_in_bar(TrackedBeat& beat);
  void hear_feel(const TrackedBeat& beat);
  float confidence(Micros at);

  std::optional<Micros> origin_;  // time of frame 0
  Micros last_note_{};
  BeatLattice lattice_;
  BeatWeigher weigher_;
  std::optional<TrackedBeat> newest_;
  int newest_frame_ = -1;
  // Decaying sums over beats: change of interval, beats with a note on them, all beats.
  float change_ = 0, struck_ = 0, told_ = 0;
  std::array<Micros, 32> notes_{};  // the newest key presses
  std::size_t next_note_ = 0;
  struct Strike {
    Micros at{};
    float weight = 0;
  };
  std::array<Strike, 32> strikes_{};  // bass notes; the newest is at next_strike_ - 1
  std::size_t next_strike_ = 0;
  std::array<std::array<float, 4>, 2> votes_{};  // [3 or 4 beats in a bar][place]
  int count_ = 0;                                // beats since the pulse started
  Feel feel_;
  FeelNow feel_now_{};
  std::array<TrackedBeat, kWaiting> waiting_{};
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace undersong::harmony
