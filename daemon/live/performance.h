// The performance: events in, the moment out. Every event passes here once: echoes and orders are taken out
// of it, the analysis hears it, the pulse counts it, the take recorder keeps it.
//
// Time is data: the owner calls `advance` when next_deadline() has come, and gives every event its own time.
// What falls due does so in the order of its times, so that an event that comes late finds the same state as
// one that does not. What the moment doesn't wait for, the log and the beat, is done by `catch_up`: after the
// moment was published, and before anything else is asked.
//
// Threads: the io thread. Errors: sentences in Results; nothing throws but memory exhaustion.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/listen/analysis.h"
#include "daemon/listen/controls.h"
#include "daemon/listen/meetings.h"
#include "daemon/listen/pulse.h"
#include "daemon/live/settings.h"
#include "daemon/live/take_recorder.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/inputs.h"

namespace undersong::live {

class Performance {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // outlives this
    const midi::Inputs& inputs;
    midi::SharedEchoGuard& echoes;  // of what is sent to the output
    TakeRecorder& recorder;
    std::optional<midi::PortNumber> clients;  // input of the clients' keys: they came over a socket, so they
                                              // are no echo
    std::function<void()> changed_moment, changed_status;
    std::function<void()>
        changed_deadline;  // next_deadline() may be earlier now although nothing was received
    std::function<void(const listen::Order&)> obey;
    // What is heard comes from a file, perhaps faster or slower than it was played: until it has ended, time
    // is what its events say (file_source.h), and nothing falls due by the clock on the wall.
    bool follows_file = false;
  };
  Performance(const Settings& settings, const std::vector<listen::Mapping>& controls, World world);

  void received(const midi::Event& event);
  void catch_up();
  void advance(Micros now);
  // The earliest time at which `advance` has something to do.
  std::optional<Micros> next_deadline() const;
  // On the clock of the event stream.
  Micros now() const;

  // With the beat; valid until the next call.
  const listen::Moment& moment();
  const std::optional<listen::BeatNow>& beat() const { return pulse_.now(); }
  bool still() const { return analysis_.moment().still; }
  // A slow mean of the velocities that are played; 0 before the first note.
  float loudness() const { return loudness_; }
  harmony::Hands hands() const { return analysis_.hands(); }
  // A chord under the hands as they are now; empty while there is no melody note.
  harmony::Voicings voicings(const harmony::Chord& chord) const;

  // Holds the list of alternatives still, or lets it follow; gives whether it is still now.
  bool hold(bool on);
  void tap(Micros at);
  // Holds at once and until the take is over; to be written by the caller.
  listen::Correction correct(const takes::BeatLine& said);
  // Answered with the line's number. Error without a take.
  void mark(Micros at, std::string text, Answer<takes::LineNumber> answer);
  void end_take(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer);

  void use(const Settings& settings);
  void use(const std::vector<listen::Mapping>& controls);

 private:
  void advance_to(Micros at);
  void beat_changed(bool changed);
  void keep_findings();
  void boundary(const takes::Boundary::Change& change);
  void obey(std::span<const listen::Order> orders);
  void name_ports();

  const World world_;
  TakeRecorder& recorder_;
  listen::Analysis analysis_;
  listen::Meetings meetings_;
  listen::Pulse pulse_;
  listen::Controls controls_;
  listen::Moment shown_;
  std::uint64_t beat_changes_ = 0;
  Micros latest_{};                   // of all events
  bool in_file_ = false;              // the file goes on
  std::optional<midi::Event> heard_;  // by the analysis, and nobody else yet
  float loudness_ = 0;
};

}  // namespace undersong::live
