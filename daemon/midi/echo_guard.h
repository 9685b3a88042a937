// EchoGuard: recognises our own output when a port or an instrument sends it back, so that it is not heard as
// playing.
//
//   if (guard.judge(event) == EchoGuard::Verdict::kPlayed) analysis.event(event);
//
// Until an echo has been proved on an input, nothing on that input is taken for one. Only evidence that no
// player can produce counts as proof:
// - A probe came back. A probe is two key-pressure messages on keys 0 and 1, which no keyboard has and which
//   make no sound. One is sent before the first note of a phrase, so that a loop is known before its first
//   note returns.
// - For instruments that do not pass key pressure on: a chord of ours (3 keys or more) came back complete, in
//   order and with our velocities; or 24 note-ons and note-offs in a row came back, at least 10 of each, with
//   delays that differ by at most kSteady. "In a row" means that no note sent in between is missing. A player
//   who doubles some of our notes proves nothing.
//
// The proof is forgotten when the input goes, when a probe stays out although probes came back before, or
// when kMissed notes in a row stay out.
//
// While a loop is known, each message sent explains one echo on that input, so the same key really played is
// still heard. Notes are compared by on or off, channel and pitch, because services and instruments rewrite
// velocities and note-ons of velocity 0. All other messages are compared byte for byte. Where at least
// kLoudness note-ons came back, all with our velocity, a note-on with another velocity is the player's. A
// message that arrives more than kEarly before the shortest delay observed is the player's too. One that
// arrives later than any observed may be an echo that was held up, for up to kWindow.
//
// No note hangs: a note-off is passed on if its note-on was passed on, and is taken for an echo if its
// note-on was.
//
// Units: Micros of steady_now(); time is an argument.
// Threads: EchoGuard has one owner; SharedEchoGuard may be used from any thread.
// Errors: none; all functions are total. Fixed memory: the last kRemembered messages sent and kMostPorts
// inputs; no allocation after construction.
// Source: the figures were measured on JACK with the longest usual period (43 ms), or are common practice, no
// source.
#pragma once

#include <array>
#include <bitset>
#include <cstddef>
#include <mutex>
#include <optional>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::midi {

class EchoGuard {
 public:
  // A USB instrument answers within a few milliseconds, a network session within 40; a busy machine takes
  // longer.
  static constexpr Micros kWindow{160'000};
  // An input's time stamp may lie this long before its arrival: ArrivalClock::kSlack.
  static constexpr Micros kBefore{5'000};
  static constexpr Micros kEarly{45'000};  // one JACK period: delays may differ by this much
  static constexpr Micros kSteady{25'000};
  static constexpr Micros kChord{100'000};  // the keys of a chord are struck within this time
  static constexpr Micros kProbeEvery{2'000'000};
  static constexpr int kMissed = 4, kLoudness = 3;
  static constexpr std::size_t kRemembered = 256;
  static constexpr std::size_t kMostPorts = 64;

  enum class Verdict : std::uint8_t {
    kPlayed,
    kEcho,
    kProbe,  // our own probe, which nobody played
  };
  using Probe = std::array<Event, 2>;

  EchoGuard() : ports_(kMostPorts) {}

  // The probe to send before `message`; nullopt when one was sent within kProbeEvery or when `message` is not
  // a note-on.
  std::optional<Probe> probe_before(const Event& message);
  // Call it for every message sent; `message.at` is the time of sending.
  void sent(const Event& message, bool probe = false);
  // Says what a received message is. Each call uses up the sent message that explains the echo, so call it
  // exactly once for each received message, in order.
  Verdict judge(const Event& received);
  bool loop_known(PortNumber port) const { return port < ports_.size() && ports_[port].loop; }
  // port_gone: the input went, and nothing that was known about it applies to its successor. events_lost: the
  // input lost events, and all its keys count as released.
  void port_gone(PortNumber port);
  void events_lost(PortNumber port);

 private:
  struct Sent {
    Event message;  // in the form that is compared
    std::uint8_t velocity = 0;
    bool probe = false, note = false, on = false;
    std::bitset<kMostPorts> returned;  // inputs on which it came back
  };
  // A run of messages that came back one after another, none missing.
  struct Row {
    int messages = 0, on = 0, off = 0, exact = 0, probes = 0;  // exact: note-ons with our velocity
    Micros least{}, most{};                                    // the shortest and longest delay
    Micros chord_begin{};
    std::bitset<128> chord;
  };
  struct Port {
    bool loop = false;
    bool probed = false;     // probes come back as well
    bool rewrites = false;   // a note-on came back with another velocity than ours
    int exact = 0;           // note-ons that came back with our velocity
    Micros least{};          // the shortest delay observed
    std::uint64_t last = 0;  // number of the newest message that came back
    Row row;
    std::bitset<16 * 128> passed, withheld;  // keys whose note-on was passed on, or taken for an echo
  };
  static Event comparable(const Event& message);
  Sent& slot(std::uint64_t number) { return ring_[number % kRemembered]; }
  std::uint64_t oldest() const { return count_ > kRemembered ? count_ - kRemembered + 1 : 1; }
  void forget_where_silent(Port& port, Micros now);
  std::uint64_t explanation(const Port& port, PortNumber number, const Event& received);
  void returned(Port& port, std::uint64_t number, const Event& received);
  static bool proves(const Row& row);

  std::array<Sent, kRemembered> ring_{};
  std::uint64_t count_ = 0;  // messages sent so far; they are numbered from 1
  std::vector<Port> ports_;
  std::optional<Micros> probed_;  // when the newest probe was sent
  unsigned probes_ = 0;
};

// An EchoGuard shared by the thread that sends and the thread that receives. Any thread may call it; each
// call holds the lock for well under a microsecond.
class SharedEchoGuard {
 public:
  std::optional<EchoGuard::Probe> probe_before(const Event& message) {
    const std::lock_guard lock(mutex_);
    return guard_.probe_before(message);
  }
  void sent(const Event& message, bool probe = false) {
    const std::lock_guard lock(mutex_);
    guard_.sent(message, probe);
  }
  EchoGuard::Verdict judge(const Event& received) {
    const std::lock_guard lock(mutex_);
    return guard_.judge(received);
  }
  void port_gone(PortNumber port) {
    const std::lock_guard lock(mutex_);
    guard_.port_gone(port);
  }
  void events_lost(PortNumber port) {
    const std::lock_guard lock(mutex_);
    guard_.events_lost(port);
  }

 private:
  std::mutex mutex_;  // guards guard_
  EchoGuard guard_;
};

}  // namespace undersong::midi
