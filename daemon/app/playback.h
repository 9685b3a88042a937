// Playback: what is being played on the MIDI output, and how loud.
//
// Owns the Sender. A suggestion is struck by an Audition; a take is a score of its own. There is one score at
// a time. Threads: the io thread; `changed_output` of the constructor is called from the sender's thread, and
// the owner then calls output_changed() on io. Errors: sentences in Results.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "daemon/midi/audition.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/sender.h"
#include "daemon/server/desk.h"
#include "daemon/takes/along.h"
#include "daemon/takes/store.h"

namespace undersong::app {

class Playback {
 public:
  struct World {
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    std::function<void()> changed_output;  // called from another thread
    std::function<void()> changed_status, changed_deadline;
  };
  Playback(std::string output, World world);

  // Nothing when a sentence could be played; otherwise why it can't.
  Result<void> ready();
  void set_output(const std::string& name);
  void output_changed();
  protocol::OutputPort output() const;

  void strike(std::span<const Pitch> chord, const midi::Strike& strike);
  void stop_striking();
  // `velocity`: the mean loudness that a take is brought down to.
  Result<protocol::Playing> play_take(const takes::Store::Midi& take, const protocol::PlayTake& wish,
                                      Velocity velocity);
  // The score of `along`, so many rounds or for ever, over the loop of take `of`.
  Result<protocol::Playing> play_along(takes::TakeId of, const takes::Along& along, bool listen);
  bool stop();
  const std::optional<protocol::Playing>& playing() const { return playing_; }

  void advance(Micros now);
  std::optional<Micros> next_deadline() const;

 private:
  static constexpr Micros kLead{30'000};  // a score begins so long after it was asked for, to be on time
  midi::Audition::Send send() {
    return [this](const midi::Event& event) { sender_.send(event); };
  }

  std::string name_;  // as configured; empty: our own port
  const World world_;
  midi::Audition audition_;
  std::optional<protocol::Playing> playing_;
  Micros ends_{};  // of what is playing
  midi::Sender sender_;
};

}  // namespace undersong::app
