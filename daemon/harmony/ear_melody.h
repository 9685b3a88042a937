// EarMelody: finds the line that a listener would sing. Every key press is judged kMelodyDelay after it,
// against the notes around it, the line so far and the accompaniment so far.
//
// Decisions come in the order in which they are made. decided_at is onset + kMelodyDelay, so that a file and
// a live performance agree.
//
// Units: Micros of one stream; log-odds are natural logarithms.
// Threads: one owner. No allocation.
// Errors: none; all functions are total. Of more than kRecent undecided presses, the oldest is dropped
// without a decision.
// Source: features by us after common practice (register, continuity, loudness); weights learnt,
// daemon/harmony/learning.
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
  // Report an event after all decisions that are due by then were taken with `decide`.
  void note_on(Micros t, Pitch p, Velocity v);
  void note_off(Micros t, Pitch p);

  // When the oldest undecided press is due; nullopt if there is none.
  std::optional<Micros> next_deadline() const;
  // Decides one press that is due at or before t; nullopt if there is none. `keys` is the current state of
  // the keys.
  std::optional<EarMelodyNote> decide(Micros t, const EarFeatures& keys);
  // For training: like decide, but passes the input to `judge` and uses its answer. `judge` runs on the
  // calling thread.
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
    Micros off{0};  // 0 while the key is down
    int pitch = 0, velocity = 0;
    enum Verdict { kOpen, kMelody, kOther } verdict = kOther;
  };
  static constexpr int kRecent = 64;  // presses remembered; the newest overwrite the oldest
  Press& press(int i) { return recent_[static_cast<std::size_t>(i)]; }
  const Press& press(int i) const { return recent_[static_cast<std::size_t>(i)]; }
  // The k-th newest press.
  const Press& back(int k) const { return press((next_ - 1 - k + 2 * kRecent) % kRecent); }
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
