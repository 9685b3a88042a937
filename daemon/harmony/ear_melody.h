// The line a listener would sing: every key press is judged kMelodyDelay after it, against the notes around
// it, the line so far and the accompaniment so far.
//
// Decisions come in the order in which they are made. `decided_at` is always onset + kMelodyDelay, so that a
// file and a live performance agree; before it, a note is undecided. Units: Micros. Threads: one owner. No
// allocation. Total; of more than kPending undecided presses the oldest is decided early. Source: features by
// us after common practice (register, continuity, loudness); weights learnt, daemon/harmony/learning.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/ear_features.h"
#include "daemon/harmony/ear_net.h"

namespace undersong::harmony {

inline constexpr Micros kMelodyDelay{30'000};

struct EarMelodyNote {
  Pitch pitch;
  Micros onset{0};
  Micros decided_at{0};
  bool is_melody = false;
  float log_odds = 0;
};

class EarMelody {
 public:
  EarMelody();
  // Tell of an event after every decision due by then was taken with `decide`.
  void note_on(Micros t, Pitch p, Velocity v);
  void note_off(Micros t, Pitch p);

  // When the next undecided press is due.
  std::optional<Micros> next_deadline() const;
  // Decides one press due at or before t; nothing if there is none. `keys` is what the hands hold now.
  std::optional<EarMelodyNote> decide(Micros t, const EarFeatures& keys);
  // For training: as decide, but shows the input and takes the answer from the caller.
  template <typename Judge>
  std::optional<EarMelodyNote> decide_with(Micros t, const EarFeatures& keys, Judge judge) {
    const int i = due(t);
    if (i < 0) return std::nullopt;
    MelodyNet::Input x;
    describe(press(i), keys, x);
    const float odds = judge(x, press(i).pitch, press(i).onset);
    return settle(i, odds);
  }

 private:
  struct Press {
    Micros onset{0};
    Micros off{0};  // 0 while down
    int pitch = 0, velocity = 0;
    enum Verdict { kOpen, kMelody, kOther } verdict = kOther;
  };
  static constexpr int kRecent = 64;  // presses remembered, newest overwrite oldest
  Press& press(int i) { return recent_[static_cast<std::size_t>(i)]; }
  const Press& press(int i) const { return recent_[static_cast<std::size_t>(i)]; }
  const Press& back(int k) const { return press((next_ - 1 - k + 2 * kRecent) % kRecent); }  // k-th newest
  int due(Micros t) const;
  void describe(const Press& n, const EarFeatures& keys, MelodyNet::Input& x) const;
  EarMelodyNote settle(int i, float log_odds);

  MelodyNet net_;
  std::array<Press, kRecent> recent_{};
  int next_ = 0, count_ = 0;
  int open_ = 0;
  float mean_velocity_ = 70, line_velocity_ = 75, other_velocity_ = 65;
  float line_pitch_ = 70, other_pitch_ = 55, other_top_ = 60, cluster_top_ = 66, top_rate_ = 0.5F,
        inner_rate_ = 0.1F;
};

}  // namespace undersong::harmony
