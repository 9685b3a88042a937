#include "daemon/midi/echo_guard.h"

#include <algorithm>

namespace undersong::midi {
namespace {

constexpr std::uint8_t kKeyPressure = 0xA0;

bool is_note(const Event& e) {
  return e.size == 3 && (e.kind() == kNoteOn || e.kind() == kNoteOff);
}
bool is_on(const Event& e) {
  return e.size == 3 && e.kind() == kNoteOn && e.bytes[2] > 0;
}
std::size_t key_of(const Event& e) {
  return std::size_t{e.channel()} * 128 + (e.bytes[1] & 0x7F);
}

}  // namespace

Event EchoGuard::comparable(const Event& message) {
  Event plain{Micros(0), message.bytes, message.size, kNoPort};
  if (message.size < 3) plain.bytes[2] = 0;
  if (message.size < 2) plain.bytes[1] = 0;
  if (is_note(message))
    plain.bytes = {static_cast<std::uint8_t>((is_on(message) ? kNoteOn : kNoteOff) | message.channel()),
                   message.bytes[1], 0};
  return plain;
}

std::optional<EchoGuard::Probe> EchoGuard::probe_before(const Event& message) {
  if (!is_on(message) || (probed_ && message.at - *probed_ < kProbeEvery)) return std::nullopt;
  probed_ = message.at;
  // Use a new value each time, so that an answer can be matched to its probe.
  const auto value = static_cast<std::uint8_t>(1 + (++probes_ * 37) % 127);
  const auto status = static_cast<std::uint8_t>(kKeyPressure | message.channel());
  return Probe{Event{message.at, {status, 0, value}, 3, kNoPort},
               Event{message.at, {status, 1, static_cast<std::uint8_t>(128 - value)}, 3, kNoPort}};
}

void EchoGuard::sent(const Event& message, bool probe) {
  Sent& now = slot(++count_);
  now.message = comparable(message);
  now.message.at = message.at;
  now.velocity = is_on(message) ? message.bytes[2] : 0;
  now.probe = probe;
  now.note = is_note(message);
  now.on = is_on(message);
  now.returned.reset();
}

void EchoGuard::port_gone(PortNumber port) {
  if (port < ports_.size()) ports_[port] = {};
}

void EchoGuard::events_lost(PortNumber port) {
  if (port >= ports_.size()) return;
  ports_[port].passed.reset();
  ports_[port].withheld.reset();
}

void EchoGuard::forget_where_silent(Port& port, Micros now) {
  if (!port.loop) return;
  int missed = 0;
  for (std::uint64_t number = std::max(port.last + 1, oldest()); number <= count_; ++number) {
    const Sent& owed = slot(number);
    if (owed.message.at + kWindow >= now) return;
    if (owed.note) ++missed;
    if (missed < kMissed && !(owed.probe && port.probed)) continue;
    // Notes are missing but probes are not: the notes may have come back with another velocity.
    if (missed >= kMissed) port.rewrites = true;
    port.loop = port.probed = false;
    port.exact = 0;
    port.row = {};
    return;
  }
}

// The number of the sent message that explains `received`; 0 when there is none.
std::uint64_t EchoGuard::explanation(const Port& port, PortNumber number, const Event& received) {
  Event plain = comparable(received);
  const Micros early = port.loop ? std::max(port.least - kEarly, -kBefore) : -kBefore;
  // Search from the oldest, so that the echoes of a repeated note are matched in the order in which it was
  // sent.
  std::uint64_t first = count_ + 1;
  while (first > oldest() && slot(first - 1).message.at + kWindow >= received.at) --first;
  for (std::uint64_t sent = first; sent <= count_; ++sent) {
    const Sent& owed = slot(sent);
    const Micros delay = received.at - owed.message.at;
    if (delay < early) continue;
    plain.at = owed.message.at;
    if (owed.message != plain || owed.returned[number]) continue;
    if (port.loop && port.exact >= kLoudness && !port.rewrites && owed.on &&
        received.bytes[2] != owed.velocity)
      continue;
    return sent;
  }
  return 0;
}

bool EchoGuard::proves(const Row& row) {
  return row.probes >= 2 || row.chord.count() >= 3 ||
         (row.messages >= 24 && row.on >= 10 && row.off >= 10 && row.most - row.least <= kSteady);
}

// Either a message came back, or somebody played what we had sent. A run of such messages shows which it is.
void EchoGuard::returned(Port& port, std::uint64_t number, const Event& received) {
  const Sent& sent = slot(number);
  const Micros delay = received.at - sent.message.at;
  const bool exact = sent.on && received.bytes[2] == sent.velocity;
  Row& row = port.row;
  std::uint64_t next = port.last + 1;
  while (next < number && !slot(next).note) ++next;  // some instruments send back notes and nothing else
  if (row.messages == 0 || next != number ||
      std::max(row.most, delay) - std::min(row.least, delay) > kEarly) {
    row = {};
    row.least = row.most = delay;
  }
  ++row.messages;
  row.on += sent.on;
  row.off += sent.note && !sent.on;
  row.exact += exact;
  row.probes += sent.probe;
  row.least = std::min(row.least, delay);
  row.most = std::max(row.most, delay);
  if (sent.note && !exact) row.chord.reset();  // any other note ends the chord
  if (exact) {
    if (row.chord.none() || sent.message.at - row.chord_begin > kChord) {
      row.chord.reset();
      row.chord_begin = sent.message.at;
    }
    row.chord.set(received.bytes[1] & 0x7F);
  }
  port.last = std::max(port.last, number);
  if (!port.loop && proves(row)) {
    port.loop = true;
    port.rewrites |= row.exact < row.on;
    port.exact = row.exact - exact;
    port.least = row.least;
  }
  if (!port.loop) return;
  port.probed |= row.probes >= 2;
  port.least = std::min(port.least, delay);
  port.exact += exact;
  port.rewrites |= sent.on && !exact;
}

EchoGuard::Verdict EchoGuard::judge(const Event& received) {
  if (received.port >= ports_.size() || received.size == 0) return Verdict::kPlayed;
  Port& port = ports_[received.port];
  forget_where_silent(port, received.at);
  const bool note = is_note(received), on = is_on(received);
  const std::size_t key = key_of(received);
  const std::uint64_t number = explanation(port, received.port, received);
  if (number == 0) {
    if (on) port.passed.set(key);
    if (!note || on) return Verdict::kPlayed;
    // A note-off follows the verdict on its note-on.
    if (port.withheld[key] && !port.passed[key]) {
      port.withheld.reset(key);
      return Verdict::kEcho;
    }
    port.passed.reset(key);
    return Verdict::kPlayed;
  }
  slot(number).returned.set(received.port);
  returned(port, number, received);
  if (slot(number).probe) return Verdict::kProbe;
  if (on) {
    (port.loop ? port.withheld : port.passed).set(key);
    return port.loop ? Verdict::kEcho : Verdict::kPlayed;
  }
  if (!note) return port.loop ? Verdict::kEcho : Verdict::kPlayed;
  // Whatever is known by now, a note-off follows the verdict on its note-on.
  if (port.withheld[key]) {
    port.withheld.reset(key);
    return Verdict::kEcho;
  }
  port.passed.reset(key);
  return Verdict::kPlayed;
}

}  // namespace undersong::midi
