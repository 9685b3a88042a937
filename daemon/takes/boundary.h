// Where takes begin and end: a take begins with a note and ends when nothing has sounded for a while, or on
// request.
//
// Time is an argument, so that a file gives the same takes as a live performance: the end that is reported is
// the time at which it fell silent, however late the question comes. Threads: one at a time. Errors: none,
// total. Source: common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/pitch.h"

namespace undersong::takes {

class Boundary {
 public:
  static constexpr Micros kDefaultSilence = std::chrono::seconds(20);
  // Keys or a pedal that lie down without anything being played: strings have died away by then.
  static constexpr Micros kForgotten = std::chrono::minutes(3);

  explicit Boundary(Micros silence = kDefaultSilence) : silence_(silence) {}
  void set_silence(Micros silence) { silence_ = silence; }

  struct Change {
    std::optional<Micros> ended;  // a take ended, then
    std::optional<Micros> begun;  // a take began, then; after the end if both
  };
  // Something was played at `at` (times ascend): `new_note` if it is a note that begins, `sounding` if
  // anything sounds after it.
  Change played(Micros at, bool new_note, bool sounding);
  // Time passes without anything being played.
  Change passed(Micros now);
  // The player or the daemon ends the take; `ended` is empty if there was none.
  Change end(Micros at);

  // When `passed` will say something if nothing is played until then.
  std::optional<Micros> next_deadline() const;
  std::optional<Micros> began() const { return began_; }  // empty: no take is open

 private:
  Micros silence_;
  std::optional<Micros> began_;
  Micros last_played_{};
  bool sounding_ = false;
};

}  // namespace undersong::takes
