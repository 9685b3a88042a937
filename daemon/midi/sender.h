// Sender: everything we play, at its time, from one thread of its own.
//
// A Sink (an Output, but for tests) is opened, looked after and written to by that thread alone, so that a
// MIDI service that takes seconds to answer keeps nobody waiting. What is to be played comes as single
// messages, sent at once, or as a Score whose messages are sent at their times. Whatever was switched on is
// switched off when the score ends or is stopped, when another sink takes its place, and when the sender
// goes.
//
// Times: Micros of steady_now(). The thread is of the real-time class where the system permits it, and an
// ordinary one with the shortest timer slack where not; it sleeps until the next message is due. Errors: a
// sink that throws loses that message and no other; `trouble` says so. Threads: send, play, stop, use, look
// and the questions from any thread, never for long; `changed` is called from the sender's own. Bounds:
// kMostWaiting single messages; a score is as long as its owner made it.
#pragma once

#include <atomic>
#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/midi/sounding.h"

namespace undersong::midi {

// Where messages go. One thread.
class Sink {
 public:
  virtual ~Sink() = default;
  // Opens, or opens again, what isn't open. Errors: why it is still closed, in one sentence.
  virtual Result<void> tend() = 0;
  virtual bool connected() const = 0;
  virtual const std::string& port_name() const = 0;  // empty while closed
  virtual bool send(const Event& message) = 0;       // at once; false while closed
};

// Messages by time from the beginning of the score, ascending. From `repeat_from` to `length` it goes round
// for ever; without it, it is over after `length`.
struct Score {
  std::vector<Event> events;
  Micros length{};
  std::optional<Micros> repeat_from;
};

class Sender {
 public:
  static constexpr std::size_t kMostWaiting = 1024;
  static constexpr std::chrono::seconds kTendEvery{5};

  // `changed`: connected(), port_name() or trouble() have changed. `sent` sees every message of a score after
  // it was sent, with the time at which it was meant to be: for measuring.
  Sender(std::unique_ptr<Sink> sink, std::function<void()> changed,
         std::function<void(const Event&)> sent = {});
  ~Sender();
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;

  // At once. False when it can't be: too many wait, or nothing is connected.
  bool send(const Event& message);
  // Ends what is played and begins this one at `begin`.
  void play(std::shared_ptr<const Score> score, Micros begin);
  // Ends the score and everything that sounds.
  void stop();
  // Another sink in place of the one there is.
  void use(std::unique_ptr<Sink> sink);
  // Looks for a sink that isn't there now rather than in a while.
  void look();

  bool connected() const { return connected_; }
  std::string port_name() const;
  std::string trouble() const;  // why it isn't connected, in one sentence; empty when it is

 private:
  using Lock = std::unique_lock<std::mutex>;
  void run();
  void turn(Lock& lock, Micros& tend_at);
  void tend(Lock& lock);
  void emit(Lock& lock, Event message, bool of_score);
  void silence(Lock& lock);
  Micros due() const;  // of the next message of the score
  void next_event();

  const std::function<void()> changed_;
  const std::function<void(const Event&)> sent_;

  mutable std::mutex mutex_;  // all below but what is the thread's own
  std::condition_variable wake_;
  std::deque<Event> waiting_;
  std::shared_ptr<const Score> score_;
  Micros begin_{};        // of the score, or of this time round
  std::size_t next_ = 0;  // in the score
  bool silence_ = false, quit_ = false, look_ = false;
  std::unique_ptr<Sink> new_sink_;
  std::string port_name_, trouble_ = "The MIDI output is being opened.";
  std::atomic<bool> connected_{false};

  std::unique_ptr<Sink> sink_;  // the thread's own
  Sounding sounding_;           // the thread's own
  std::thread thread_;
};

}  // namespace undersong::midi
