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
// Source: beat_lattice.h for the beats, live_strikes.h for what a strike says of beats and bars.
#pragma once

#include <optional>

#include "daemon/harmony/beat_lattice.h"
#include "daemon/harmony/feel.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/live_strikes.h"

namespace undersong::harmony {

inline constexpr Micros kBeatDelay{150'000};
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
  static constexpr std::size_t kLargestStrike = 24;
  void to_frame(int frame);
  void pass(Micros at);
  void judge_strike();
  static int frame_of(Micros since) { return static_cast<int>((since + kBeatFrame / 2) / kBeatFrame); }
  void look();
  void place_in_bar(TrackedBeat& beat);
  void hear_feel(const TrackedBeat& beat);
  float confidence(Micros at);

  std::optional<Micros> origin_;  // time of frame 0
  Micros last_note_{}, clock_{};
  BeatLattice lattice_;
  BeatWeigher weigher_;
  // The strike that is being played; its times, and those of all that is judged, count from the origin. Its
  // notes enter the lattice when it is complete, with what it says.
  StruckNotes strike_;
  Micros strike_sum_{};                                      // of the times of its notes after the first one
  FixedVector<BeatOnset, kLargestStrike + 1> strike_notes_;  // and what the whole says
  Micros struck_before_{-kBeatSilence};
  LiveStrikes judge_;
  std::optional<TrackedBeat> newest_;
  int newest_frame_ = -1;
  // Decaying sums over beats: change of interval, beats with a note on them, all beats.
  float change_ = 0, struck_ = 0, told_ = 0;
  std::array<Micros, 32> notes_{};  // the newest key presses
  std::size_t next_note_ = 0;
  struct Judged {
    Micros at{-3'600'000'000};
    float downbeat = 0;  // probability that it begins a bar
  };
  std::array<Judged, 8> judged_{};  // the newest strikes
  std::size_t next_judged_ = 0;
  // How well each place of the bar's beginning explains the strikes, for each number of beats a bar;
  // logarithms.
  std::array<std::array<float, kMetres.back()>, kMetres.size()> places_{};
  std::array<float, kMetres.size()> metres_{};  // what the strikes say of the number itself; logarithms
  int count_ = 0;                               // beats since the pulse started
  Feel feel_;
  FeelNow feel_now_{};
  std::array<TrackedBeat, kWaiting> waiting_{};
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace undersong::harmony
