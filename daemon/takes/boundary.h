// Decides where takes begin and end. A take begins with a note. It ends when nothing has sounded for a while,
// or on request.
//
// Time is an argument, so a file gives the same takes as a live performance. The reported end is the time at
// which the silence began, however late the question comes.
//
// Units: Micros on one clock, ascending.
// Threads: one owner; not synchronised.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/pitch.h"

namespace undersong::takes {

class Boundary {
 public:
  static constexpr Micros kDefaultSilence = std::chrono::seconds(20);
  // How long keys or a pedal may stay down without new events. A string has died away by then, so the take
  // ends.
  static constexpr Micros kForgotten = std::chrono::minutes(3);

  explicit Boundary(Micros silence = kDefaultSilence) : silence_(silence) {}
  void set_silence(Micros silence) { silence_ = silence; }

  struct Change {
    std::optional<Micros> ended;  // when a take ended, if one did
    std::optional<Micros> begun;  // when a take began, if one did; later than `ended` if both are set
  };
  // Something was played at `at`. `new_note`: it starts a note. `sounding`: something sounds after it.
  Change played(Micros at, bool new_note, bool sounding);
  // The time is now `now`, and nothing was played since the last call.
  Change passed(Micros now);
  // The player or the daemon ends the take. `ended` is empty if no take was open.
  Change end(Micros at);

  // The earliest time at which `passed` can report an end, if nothing is played before; empty if no take is
  // open.
  std::optional<Micros> next_deadline() const;
  std::optional<Micros> began() const { return began_; }  // empty: no take is open

 private:
  Micros silence_;
  std::optional<Micros> began_;
  Micros last_played_{};
  bool sounding_ = false;
};

}  // namespace undersong::takes
