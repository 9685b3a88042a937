#include "daemon/midi/jack_ears.h"

#include <rtmidi/RtMidi.h>
#include <spdlog/fmt/fmt.h>
#include <unistd.h>

#include <list>

namespace undersong::midi {
namespace {

// One open input. RtMidi keeps its address, so it must not move.
struct OpenEar {
  std::string raw_name;
  std::string own_port;  // end of the name of our own port of this connection
  Lane* lane = nullptr;
  bool pass_clock = false;
  ArrivalClock clock;   // used by the callback only
  bool failed = false;  // set by RtMidi's error callback, on the watcher thread
  JackOwned<RtMidiIn> in;
};

// Called by RtMidi on its own thread. Real-time safe: no lock, no allocation, no logging.
void on_message(double delta, std::vector<unsigned char>* message, void* self) noexcept {
  OpenEar& open = *static_cast<OpenEar*>(self);
  // Asked for every message, because each delta counts from the message before.
  const Micros at = open.clock.at(delta, steady_now());
  push_received(*open.lane, at, message->data(), message->size(), open.pass_clock);
}

void on_error(RtMidiError::Type type, const std::string&, void* self) {
  if (type != RtMidiError::WARNING && type != RtMidiError::DEBUG_WARNING)
    static_cast<OpenEar*>(self)->failed = true;
}

class JackEars final : public Ears {
 public:
  JackEars(Backend& backend, std::string client_name, bool pass_clock)
      : backend_(backend), client_name_(std::move(client_name)), pass_clock_(pass_clock) {
    own_.in = JackOwned(std::make_unique<RtMidiIn>(RtMidi::UNIX_JACK, client_name_));
    prepare(own_);
  }

  // Not from RtMidi, which opens a client whenever it has none.
  std::vector<std::string> listed() override { return backend_.senders(); }

  bool make_own(const std::string& name, Lane& lane) override {
    const auto turn = Backend::turn_to_open();
    if (!turn || own_.in.swept()) return false;
    own_.lane = &lane;
    own_.own_port = fmt::format("{}:{}", client_name_, name);
    own_.in->setCallback(&on_message, &own_);
    own_.in->openVirtualPort(name);
    return !own_.failed;
  }

  Opened open(const std::string& raw_name, Lane& lane) override {
    const auto turn = Backend::turn_to_open();
    if (!turn) return Opened::kRefused;
    OpenEar& open = open_.emplace_back();
    open.raw_name = raw_name;
    open.lane = &lane;
    open.in = JackOwned(std::make_unique<RtMidiIn>(RtMidi::UNIX_JACK, client_name_ + " ear"));
    prepare(open);
    open.in->setCallback(&on_message, &open);
    const unsigned count = open.in->getPortCount();
    unsigned index = 0;
    while (index < count && open.in->getPortName(index) != raw_name) ++index;
    if (index == count) {  // it has gone since the list was read
      open_.pop_back();
      return Opened::kGone;
    }
    const std::string own = fmt::format("in {}-{}", ::getpid(), ++opened_);
    open.own_port = ":" + own;
    open.in->openPort(index, own);
    if (!open.failed && backend_.is_connected(raw_name, open.own_port)) return Opened::kYes;
    open_.pop_back();
    return Opened::kRefused;
  }

  bool connected(const std::string& raw_name) override {
    for (const OpenEar& open : open_)
      if (open.raw_name == raw_name) return backend_.is_connected(raw_name, open.own_port);
    return false;
  }

  void close(const std::string& raw_name) override {
    open_.remove_if([&](const OpenEar& open) { return open.raw_name == raw_name; });
  }

  bool heard_on_own(const std::string& raw_name) override {
    return own_.lane && backend_.is_connected(raw_name, own_.own_port);
  }

 private:
  void prepare(OpenEar& open) const {
    open.pass_clock = pass_clock_;
    open.in->setErrorCallback(&on_error, &open);
    // RtMidi drops system-exclusive data. All other messages come to us, because each delta counts from the
    // message before.
    open.in->ignoreTypes(true, false, false);
  }

  Backend& backend_;
  const std::string client_name_;
  const bool pass_clock_;
  // While an OpenEar is connected, RtMidi's thread uses its lane, pass_clock and clock in on_message.
  OpenEar own_;  // the virtual port; its RtMidiIn also lists the ports
  std::list<OpenEar> open_;
  unsigned opened_ = 0;  // numbers our ports, to recognise our own connections
};

}  // namespace

Result<std::unique_ptr<Ears>> jack_ears(Backend& backend, const std::string& client_name, bool pass_clock) {
  const auto turn = Backend::turn_to_open();
  if (!turn) return turn.error();
  return std::unique_ptr<Ears>(std::make_unique<JackEars>(backend, client_name, pass_clock));
}

}  // namespace undersong::midi
