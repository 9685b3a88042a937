// EchoGuard: what we play must not be heard back as playing when a port or an instrument sends it back to us.
//
// Nothing is taken for an echo before an echo has been observed on that input. Evidence that no player can
// give:
//   - a probe came back: two messages of key pressure on keys 0 and 1, which sound on no instrument and are
//   on no
//     keyboard. One is sent before the first note of a phrase, so that a loop is known before its first note
//     returns.
//   - for instruments that let no key pressure through: a chord of ours (3 keys or more) came back whole, in
//   order and with
//     our own loudness; or 24 notes-on and -off in a row did, 10 of each among them, with delays that differ
//     by kSteady at most. "In a row": no note that we sent is missing between them. Who doubles some of the
//     notes gives no evidence.
// It is forgotten when the input goes, when a probe stays out where probes came back, and when kMissed notes
// in a row do.
//
// While a loop is known, one message sent explains one echo on that input, so the same key truly played is
// heard beside it. Note messages are compared by on or off, channel and pitch, for services and instruments
// rewrite velocities and note-ons of velocity 0, all others byte for byte. Where kLoudness note-ons or more
// came back, all with our loudness, one with another loudness is the player's. A message that comes kEarly
// before the shortest delay observed is the player's too. One that comes later than any observed may be an
// echo that was held up, up to kWindow: the loop owes us one.
//
// No note hangs: the note-off of a note-on that was let through is let through, and that of a note-on that
// was taken for an echo is taken for one.
//
// Pure: time is data. Fixed memory: the last kRemembered messages sent, kMostPorts inputs; no heap after
// construction. Source: the figures are measured on JACK (a period of 43 ms at the longest that is usual) or
// common practice, no source.
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
  static constexpr Micros kWindow{160'000};  // a USB instrument answers within a few milliseconds, a network
                                             // session within 40, a busy machine later
  static constexpr Micros kBefore{
      5'000};  // an input's stamp may lie so long before its arrival: ArrivalClock::kSlack
  static constexpr Micros kEarly{45'000};  // a JACK period: delays differ by as much
  static constexpr Micros kSteady{25'000};
  static constexpr Micros kChord{100'000};  // the keys of a chord are struck within it
  static constexpr Micros kProbeEvery{2'000'000};
  static constexpr int kMissed = 4, kLoudness = 3;
  static constexpr std::size_t kRemembered = 256;
  static constexpr std::size_t kMostPorts = 64;

  enum class Verdict : std::uint8_t {
    kPlayed,
    kEcho,
    kProbe,  // our own probe: nobody's playing
  };
  using Probe = std::array<Event, 2>;

  EchoGuard() : ports_(kMostPorts) {}

  // What should be sent before this message to learn where it comes back; nothing while that was done of
  // late, or when the message is no note-on.
  std::optional<Probe> probe_before(const Event& message);
  // `message.at` is the time of sending.
  void sent(const Event& message, bool probe = false);
  // Uses up what explains an echo, so call once for each message received, in order.
  Verdict judge(const Event& received);
  bool loop_known(PortNumber port) const { return port < ports_.size() && ports_[port].loop; }
  // The input went: what was known of it doesn't hold for what comes next. Or it lost events, and all its
  // keys ended.
  void port_gone(PortNumber port);
  void events_lost(PortNumber port);

 private:
  struct Sent {
    Event message;  // as compared
    std::uint8_t velocity = 0;
    bool probe = false, note = false, on = false;
    std::bitset<kMostPorts> returned;  // on which inputs
  };
  // Messages that came back one after the other, none missing.
  struct Row {
    int messages = 0, on = 0, off = 0, exact = 0, probes = 0;  // exact: note-ons with our loudness
    Micros least{}, most{};                                    // delay
    Micros chord_begin{};
    std::bitset<128> chord;
  };
  struct Port {
    bool loop = false;
    bool probed = false;     // probes come back too
    bool rewrites = false;   // a note-on came back with another loudness than ours
    int exact = 0;           // note-ons that came back with ours
    Micros least{};          // the shortest delay
    std::uint64_t last = 0;  // number of the newest message that came back
    Row row;
    std::bitset<16 * 128> passed, withheld;  // keys whose note-on was let through, was taken for an echo
  };
  static Event comparable(const Event& message);
  Sent& slot(std::uint64_t number) { return ring_[number % kRemembered]; }
  std::uint64_t oldest() const { return count_ > kRemembered ? count_ - kRemembered + 1 : 1; }
  void forget_where_silent(Port& port, Micros now);
  std::uint64_t explanation(const Port& port, PortNumber number, const Event& received);
  void returned(Port& port, std::uint64_t number, const Event& received);
  static bool proves(const Row& row);

  std::array<Sent, kRemembered> ring_{};
  std::uint64_t count_ = 0;  // messages sent, which are numbered from 1
  std::vector<Port> ports_;
  std::optional<Micros> probed_;  // when the newest probe was sent
  unsigned probes_ = 0;
};

// The same between the thread that sends and the one that hears; each holds the lock for well under a
// microsecond.
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
  std::mutex mutex_;  // guard_
  EchoGuard guard_;
};

}  // namespace undersong::midi
