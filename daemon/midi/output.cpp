#include "daemon/midi/output.h"

#include <rtmidi/RtMidi.h>
#include <spdlog/fmt/fmt.h>
#include <unistd.h>
#include <thread>

#include "daemon/midi/ports_source.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

Output::Output(OutputOptions options, Say say, std::shared_ptr<SharedEchoGuard> guard)
    : options_(std::move(options)),
      say_(std::move(say)),
      guard_(guard ? std::move(guard) : std::make_shared<SharedEchoGuard>()) {}

Output::~Output() {
  try {
    close();
  } catch (const std::exception&) {  // in a destructor there is nobody left to tell
  }
}

void Output::say(const std::string& sentence) {
  if (sentence == said_) return;
  said_ = sentence;
  if (say_) say_(sentence);
}

bool Output::connected() const {
  return open_ && backend_ && backend_->alive();
}

void Output::watch(std::function<void()> look) {
  look_ = std::move(look);
  files_ = ServiceWatch::begin(service_folders(), look_);
}

Result<void> Output::tend() {
  try {
    if (open_ && !connected()) {
      say("The MIDI output has gone with the JACK server.");
      close();
    }
    if (open_) {
      if (options_.name.empty()) return {};
      const auto turn = backend_->turn_to_ask();
      if (!turn) return {};  // somebody opens a client, or the death of the server is just being told
      // Is the named port still there, and is it still the same one?
      bool listed = false;
      for (unsigned i = 0; i < out_->getPortCount() && !listed; ++i)
        listed = out_->getPortName(i) == raw_name_;
      if (listed && (!backend_->take_ports_changed() || backend_->is_connected(raw_name_, own_port_)))
        return {};
      say(fmt::format("The MIDI output \"{}\" has gone.", port_name_));
      close();
    }
    auto opened = open_port();
    if (!opened) {
      release_port();
      backend_.reset();
      say(opened.error().message);
    }
    return opened;
  } catch (const std::exception& error) {
    close();
    return unavailable(fmt::format("The MIDI output failed: {}.", error.what()));
  }
}

Result<void> Output::open_port() {
  if (!backend_) {
    auto backend = Backend::open(options_.backend, options_.client_name, look_);
    no_service_ = !backend;
    if (!backend) return backend.error();
    backend_ = std::move(*backend);
  }
  const bool alsa = backend_->kind() == BackendKind::kAlsa;
  std::optional<JackTurn> turn;
  if (!alsa) {
    auto mine = Backend::turn_to_open();
    if (!mine) return mine.error();
    turn = std::move(*mine);
  }
  out_ = JackOwned(std::make_unique<RtMidiOut>(alsa ? RtMidi::LINUX_ALSA : RtMidi::UNIX_JACK,
                                               options_.client_name + " out"));
  failed_ = false;
  out_->setErrorCallback(
      [](RtMidiError::Type type, const std::string&, void* self) {
        if (type != RtMidiError::WARNING && type != RtMidiError::DEBUG_WARNING)
          static_cast<Output*>(self)->failed_ = true;
      },
      this);
  if (options_.name.empty()) {
    out_->openVirtualPort(options_.virtual_port);
    if (failed_)
      return unavailable(fmt::format("The MIDI output \"{}\" could not be made.", options_.virtual_port));
    port_name_ = raw_name_ = options_.virtual_port;
  } else {
    auto names = PortNames::parse({options_.name});
    if (!names) return names.error();
    const unsigned count = out_->getPortCount();
    unsigned index = 0;
    for (; index < count; ++index) {
      raw_name_ = out_->getPortName(index);
      if (!is_own_port(raw_name_, options_.client_name) && names->match(raw_name_)) break;
    }
    if (index == count)
      return not_found(fmt::format("There is no MIDI output whose name matches \"{}\".", options_.name));
    const std::string own = fmt::format("out {}-{}", ::getpid(), ++opened_);
    own_port_ = ":" + own;
    out_->openPort(index, own);
    if (failed_ || !backend_->is_connected(raw_name_, own_port_))
      return unavailable(fmt::format("The MIDI output \"{}\" cannot be opened.", raw_name_));
    port_name_ = alsa ? std::string(without_alsa_numbers(raw_name_)) : raw_name_;
  }
  open_ = true;
  say(fmt::format("Playing on \"{}\".", port_name_));
  return {};
}

std::optional<unsigned> Output::listeners() {
  if (!connected() || !options_.name.empty()) return std::nullopt;
  const auto turn = backend_->turn_to_ask(kNow);
  if (!turn) return listeners_;
  return listeners_ = backend_->listeners(options_.client_name + " out", options_.virtual_port);
}

std::vector<std::string> Output::offered() {
  if (!connected()) return {};
  const auto turn = backend_->turn_to_ask(kNow);
  if (!turn) return offered_;
  std::vector<std::string> out;
  const bool alsa = backend_->kind() == BackendKind::kAlsa;
  for (unsigned i = 0; i < out_->getPortCount(); ++i) {
    const std::string raw = out_->getPortName(i);
    if (raw.empty() || is_own_port(raw, options_.client_name) || is_through(raw)) continue;
    out.emplace_back(alsa ? without_alsa_numbers(raw) : std::string_view(raw));
  }
  return offered_ = out;
}

bool Output::send(const Event& message) {
  last_sent_ = steady_now();
  if (!connected() || message.size < 2 || message.size > 3 || message.status() < 0x80 ||
      message.status() >= 0xF0)
    return false;
  // Tell the guard first: the echo may come back before sendMessage returns.
  if (const auto probe = guard_->probe_before(message)) {
    for (const Event& ask : *probe) {
      guard_->sent(ask, true);
      out_->sendMessage(ask.bytes.data(), ask.size);
    }
  }
  guard_->sent(message);
  out_->sendMessage(message.bytes.data(), message.size);
  if (message.size == 3 && (message.kind() == kNoteOn || message.kind() == kNoteOff)) {
    on_[message.channel()][message.bytes[1] & 0x7F] = message.kind() == kNoteOn && message.bytes[2] > 0;
  }
  return true;
}

bool Output::note_on(std::uint8_t channel, Pitch pitch, Velocity velocity) {
  return send(midi::note_on(steady_now(), channel & 0x0F, pitch, velocity));
}
bool Output::note_off(std::uint8_t channel, Pitch pitch) {
  return send(midi::note_off(steady_now(), channel & 0x0F, pitch));
}

void Output::all_notes_off() {
  for (std::uint8_t channel = 0; channel < 16; ++channel) {
    for (int key = 0; key < 128; ++key) {
      if (on_[channel][static_cast<std::size_t>(key)]) note_off(channel, Pitch(key));
    }
  }
  on_ = {};
}

void Output::close() {
  if (connected()) all_notes_off();
  // The back end delivers messages in its own time and discards what is left when the port closes. JACK needs
  // a period or two; the longest usual period is 43 ms (2048 frames at 48 kHz).
  const Micros waited = steady_now() - last_sent_;
  if (connected() && waited < kFlush) std::this_thread::sleep_for(kFlush - waited);
  on_ = {};
  open_ = false;
  release_port();
  backend_.reset();
  port_name_.clear(), raw_name_.clear();
}

void Output::release_port() {
  if (!out_) return;
  if (const auto turn = JackTurn::take(); !out_.swept()) out_->closePort();
  if (backend_ && backend_->kind() == BackendKind::kJack && backend_->alive())
    std::this_thread::sleep_for(kFlush);
  out_.reset();
}

}  // namespace undersong::midi
