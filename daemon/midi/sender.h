// Sender: plays everything that Undersong plays, on time, from one thread of its own.
//
//   Sender sender(std::make_unique<Output>(options, say), changed);
//   sender.send(note_on(steady_now(), 0, Pitch(60), Velocity(60)));
//   sender.play(score, steady_now() + Micros(100'000));
//
// A Sink (an Output, except in tests) is opened, checked and written to by that thread only, so that a MIDI
// service that takes seconds to answer blocks nobody else. Music comes as single messages, which are sent at
// once, or as a Score, whose messages are sent at their times. Everything that was switched on is switched
// off when the score ends or is stopped, when another sink replaces this one, and when the Sender is
// destroyed.
//
// The thread sleeps until the next message is due. It runs in the real-time class where the system permits
// it, otherwise as an ordinary thread with the shortest timer slack.
//
// Units: Micros of steady_now().
// Threads: every public function from any thread; each returns without waiting for the MIDI service.
// `changed` and `sent` are called on the Sender's thread.
// Errors: a sink that throws loses the message being sent; trouble() then has one sentence, and the thread
// goes on. At most kMostWaiting single messages wait; a score is as long as its owner made it.
// Source: none needed.
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

// Where messages go. Used by the Sender's thread only.
class Sink {
 public:
  virtual ~Sink() = default;
  // Opens the port if it is not open. Errors: one sentence that says why it is still closed.
  virtual Result<void> tend() = 0;
  virtual bool connected() const = 0;
  virtual const std::string& port_name() const = 0;  // empty while closed
  virtual bool send(const Event& message) = 0;       // sends at once; false while closed
  // How many ports are connected to our own port; nullopt for a port of another program, or if it is not
  // known.
  virtual std::optional<unsigned> listeners() { return std::nullopt; }
  // Calls `look`, on any thread, whenever ports or connections changed and a call of tend() is worth while.
  virtual void watch(std::function<void()> /*look*/) {}
  // Whether `look` tells as well when the port can be opened, so that nobody need try often.
  virtual bool tells_when_it_can() const { return false; }
  // Names of the ports that could be opened instead.
  virtual std::vector<std::string> offered() { return {}; }
};

// Messages in ascending order of their time from the beginning of the score. With `repeat_from`, the part
// from `repeat_from` to `length` repeats for ever; without it, the score ends at `length`.
struct Score {
  std::vector<Event> events;
  Micros length{};
  std::optional<Micros> repeat_from;
};

class Sender {
 public:
  static constexpr std::size_t kMostWaiting = 1024;
  static constexpr std::chrono::seconds kTendEvery{5}, kTendRarely{120};
  static constexpr Micros kTendSoon{250'000};

  // Both functions may be empty and are called on the Sender's thread. `changed`: connected(), port_name(),
  // trouble(), listeners() or offered() changed. `sent`: a message of a score was sent; it carries the time
  // at which it was due. Used for measuring.
  Sender(std::unique_ptr<Sink> sink, std::function<void()> changed,
         std::function<void(const Event&)> sent = {});
  ~Sender();
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;

  // Sends a message at once. False when nothing is connected or kMostWaiting messages wait.
  bool send(const Event& message);
  // Ends what is being played and starts `score` at `begin`.
  void play(std::shared_ptr<const Score> score, Micros begin);
  // Ends the score and releases everything that sounds.
  void stop();
  // Replaces the sink.
  void use(std::unique_ptr<Sink> sink);
  // Looks for a missing port now instead of at the next regular check.
  void look();

  bool connected() const { return connected_; }
  std::string port_name() const;
  std::optional<unsigned> listeners() const;  // as the sink said when it was looked at last
  std::vector<std::string> offered() const;   // as above
  std::string trouble() const;                // one sentence: why it is not connected; empty when all is well

 private:
  using Lock = std::unique_lock<std::mutex>;
  void run();
  void turn(Lock& lock, Micros& tend_at);
  void tend(Lock& lock);
  void emit(Lock& lock, Event message, bool of_score);
  void silence(Lock& lock);
  void end_sounds();
  Micros due() const;  // when the next message of the score is due
  void next_event();

  const std::function<void()> changed_;
  const std::function<void(const Event&)> sent_;

  // Guards everything below except what the Sender's thread alone uses. Any thread writes waiting_, score_,
  // begin_, next_, new_sink_ and the flags; the Sender's thread reads and clears them. The Sender's thread
  // writes port_name_, trouble_, listeners_ and offered_ (use() resets them); any thread reads them.
  mutable std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Event> waiting_;
  std::shared_ptr<const Score> score_;
  Micros begin_{};                 // start of the score, or of the current repetition
  std::size_t next_ = 0;           // index into the score's events
  Micros tend_every_{kTendEvery};  // the Sender's thread alone uses it
  bool silence_ = false, quit_ = false, look_ = false;
  std::unique_ptr<Sink> new_sink_;
  std::string port_name_, trouble_ = "The MIDI output is being opened.";
  std::optional<unsigned> listeners_;
  std::vector<std::string> offered_;
  // Written by the Sender's thread and by use(), under mutex_; read by any thread without it.
  std::atomic<bool> connected_{false};

  std::unique_ptr<Sink> sink_;  // used by the Sender's thread only
  Sounding sounding_;           // used by the Sender's thread only
  std::thread thread_;
};

}  // namespace undersong::midi
