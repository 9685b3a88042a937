#include "daemon/midi/rtmidi_source.h"

#include <pthread.h>
#include <rtmidi/RtMidi.h>
#include <spdlog/fmt/fmt.h>
#include <unistd.h>

#include <algorithm>
#include <condition_variable>
#include <list>
#include <map>
#include <thread>

namespace undersong::midi {
namespace {

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(c < 128 ? std::tolower(c) : c); });
  return text;
}

constexpr std::chrono::milliseconds kSoon{100};
constexpr int kSoonTries = 20;

constexpr RtMidi::Api api_of(BackendKind kind) {
  return kind == BackendKind::kJack ? RtMidi::UNIX_JACK : RtMidi::LINUX_ALSA;
}

// One open input. RtMidi keeps its address, so it must not move.
struct Open {
  std::string raw_name;  // as the MIDI service lists it
  std::string name;      // as Undersong shows it
  std::string own_port;  // end of the name of our own port of this connection
  Lane* lane = nullptr;
  bool pass_clock = false;
  ArrivalClock clock;   // used by the callback only
  bool failed = false;  // set by RtMidi's error callback, on the watcher thread
  std::unique_ptr<RtMidiIn> in;
};

// Called by RtMidi on its own thread. Real-time safe: no lock, no allocation, no logging.
void on_message(double delta, std::vector<unsigned char>* message, void* self) noexcept {
  Open& open = *static_cast<Open*>(self);
  // Asked for every message, because each delta counts from the message before.
  const Micros at = open.clock.at(delta, steady_now());
  if (!is_wanted_message(message->data(), message->size(), open.pass_clock)) return;
  Event event{at, {}, static_cast<std::uint8_t>(message->size()), kNoPort};
  std::copy(message->begin(), message->end(), event.bytes.begin());
  open.lane->push(event);
}

void on_error(RtMidiError::Type type, const std::string&, void* self) {
  if (type != RtMidiError::WARNING && type != RtMidiError::DEBUG_WARNING)
    static_cast<Open*>(self)->failed = true;
}

}  // namespace

Result<PortNames> PortNames::parse(const std::vector<std::string>& names) {
  PortNames out;
  out.all_ = names.empty();
  for (const std::string& name : names) {
    if (name.size() >= 2 && name.front() == '/' && name.back() == '/') {
      try {
        out.expressions_.emplace_back(name.substr(1, name.size() - 2),
                                      std::regex::ECMAScript | std::regex::icase);
      } catch (const std::regex_error& error) {
        return invalid_input(
            fmt::format("The port name {} is not a valid regular expression: {}.", name, error.what()));
      }
    } else {
      out.parts_.push_back(lower(name));
    }
  }
  return out;
}

bool PortNames::match(const std::string& port) const {
  if (all_) return true;
  const std::string small = lower(port);
  return std::any_of(parts_.begin(), parts_.end(),
                     [&](const auto& p) { return small.find(p) != std::string::npos; }) ||
         std::any_of(expressions_.begin(), expressions_.end(),
                     [&](const auto& e) { return std::regex_search(port, e); });
}

bool is_wanted_message(const std::uint8_t* bytes, std::size_t size, bool pass_clock) noexcept {
  if (size == 0 || size > 3) return false;
  for (std::size_t i = 1; i < size; ++i) {
    if (bytes[i] & 0x80) return false;
  }
  const std::uint8_t status = bytes[0];
  if (status < 0x80) return false;
  if (status < 0xF0) return size == ((status & 0xE0) == 0xC0 ? 2u : 3u);
  if (!pass_clock) return false;
  if (status == 0xF2) return size == 3;
  return size == 1 && (status == 0xF8 || status == 0xFA || status == 0xFB || status == 0xFC);
}

class RtMidiSource::Watcher {
 public:
  Watcher(PortsOptions options, Inputs& inputs, Say say)
      : options_(std::move(options)), inputs_(inputs), say_(std::move(say)) {}
  ~Watcher() { stop(); }

  Result<void> start() {
    auto names = PortNames::parse(options_.names);
    if (!names) return names.error();
    names_ = *names;
    thread_ = std::thread([this] { run(); });
    pthread_setname_np(thread_.native_handle(), "midi-watch");
    return {};
  }

  void stop() {
    if (!thread_.joinable()) return;
    {
      const std::lock_guard lock(mutex_);
      stopping_ = true;
    }
    changed_.notify_all();
    thread_.join();
  }

 private:
  void run() {
    for (;;) {
      try {
        look();
      } catch (const std::exception& error) {  // RtMidi throws where it has no error callback
        lose(fmt::format("The MIDI service failed ({}) and is being opened again.", error.what()));
      }
      std::unique_lock lock(mutex_);
      // A port that is listed but refuses the connection is tried again soon, and at the usual pace once it
      // has refused kSoonTries times. Our own attempts make ports appear and disappear, so a poke means
      // nothing after a refusal.
      const bool refused = std::exchange(refused_now_, false);
      refused_ = refused ? refused_ + 1 : 0;
      const auto pause =
          refused && refused_ <= kSoonTries ? std::min(kSoon, options_.look_every) : options_.look_every;
      changed_.wait_for(lock, pause, [&] { return stopping_ || (poked_ && !refused); });
      if (stopping_) break;
      poked_ = false;
    }
    close_all();
  }

  void poke() {
    {
      const std::lock_guard lock(mutex_);
      poked_ = true;
    }
    changed_.notify_all();
  }

  void look() {
    if (backend_ && !backend_->alive())
      lose("The JACK server has gone; all its inputs are closed until it is back.");
    if (!backend_ && !find_backend()) return;
    const bool ports_changed = backend_->take_ports_changed();
    const std::map<std::string, std::string> listed = list_ports();  // our name -> raw name
    if (!backend_->alive()) return;  // the list is unreliable; the next look closes everything
    for (auto it = open_.begin(); it != open_.end();) {
      const auto found = listed.find(it->name);
      // By now another port may have this name, and nothing is connected to it yet. If no port came or went,
      // somebody has disconnected us on purpose, and the input stays as it is.
      const bool same = found != listed.end() && found->second == it->raw_name &&
                        (!ports_changed || backend_->is_connected(it->raw_name, it->own_port));
      if (same) {
        ++it;
      } else {
        close(*it);
        it = open_.erase(it);
      }
    }
    for (const auto& port : listed) {
      const auto known = [&](const Open& o) { return o.name == port.first; };
      if (std::none_of(open_.begin(), open_.end(), known)) open_port(port.first, port.second);
    }
  }

  bool find_backend() {
    auto backend = Backend::open(options_.backend, options_.client_name, [this] { poke(); });
    if (!backend) {
      say_once(backend.error().message + " Undersong keeps looking for it.");
      return false;
    }
    backend_ = std::move(*backend);
    const bool jack = backend_->kind() == BackendKind::kJack;
    say_once(jack && options_.backend == BackendKind::kAuto
                 ? "ALSA's sequencer isn't there; MIDI comes through JACK."
             : jack ? "MIDI comes through JACK."
                    : "MIDI comes through ALSA.");
    own_.in = std::make_unique<RtMidiIn>(api_of(backend_->kind()), options_.client_name);
    prepare(own_);
    if (!options_.virtual_port.empty()) {
      own_.name = options_.virtual_port;
      own_.lane = inputs_.lane(own_.name);
      if (own_.lane) {
        own_.in->setCallback(&on_message, &own_);
        own_.in->openVirtualPort(options_.virtual_port);
        if (own_.failed) {
          say_(fmt::format("The MIDI input \"{}\" could not be made.", options_.virtual_port));
          own_.lane = nullptr;
        } else {
          inputs_.announce(Notice::kPortCame, *own_.lane);
        }
      }
    }
    return true;
  }

  void prepare(Open& open) {
    open.pass_clock = options_.pass_clock;
    open.failed = false;
    open.clock = ArrivalClock();
    open.in->setErrorCallback(&on_error, &open);
    // RtMidi drops system-exclusive data. All other messages come to us, because each delta counts from the
    // message before.
    open.in->ignoreTypes(true, false, false);
  }

  std::map<std::string, std::string> list_ports() {
    std::map<std::string, std::string> listed;
    const unsigned count = own_.in->getPortCount();
    for (unsigned i = 0; i < count; ++i) {
      const std::string raw = own_.in->getPortName(i);
      if (raw.empty() || is_own_port(raw, options_.client_name)) continue;
      const bool alsa = backend_->kind() == BackendKind::kAlsa;
      const std::string plain(alsa ? without_alsa_numbers(raw) : std::string_view(raw));
      if (!names_.match(plain)) continue;
      std::string name = plain;  // two keyboards of the same model: the second is "NAME (2)"
      for (int n = 2; listed.contains(name); ++n) name = fmt::format("{} ({})", plain, n);
      listed.emplace(name, raw);
    }
    return listed;
  }

  void open_port(const std::string& name, const std::string& raw) {
    if (!backend_->alive()) return;
    Lane* lane = inputs_.lane(name);
    if (!lane) {
      say_once(
          fmt::format("\"{}\" cannot be opened: there are already {} inputs.", name, Inputs::kMostInputs));
      return;
    }
    Open& open = open_.emplace_back();
    open.name = name, open.raw_name = raw, open.lane = lane;
    open.in = std::make_unique<RtMidiIn>(api_of(backend_->kind()), options_.client_name + " ear");
    prepare(open);
    open.in->setCallback(&on_message, &open);
    const unsigned count = open.in->getPortCount();
    unsigned index = 0;
    while (index < count && open.in->getPortName(index) != raw) ++index;
    if (index == count) {  // it has gone since the list was read
      open_.pop_back();
      return;
    }
    const std::string own = fmt::format("in {}-{}", ::getpid(), ++opened_);
    open.own_port = ":" + own;
    open.in->openPort(index, own);
    if (open.failed || !backend_->is_connected(raw, open.own_port)) {
      open_.pop_back();
      refused_now_ = true;
      return;
    }
    // Only now: whoever is told that an input is there may rely on being heard.
    inputs_.announce(Notice::kPortCame, *lane);
    say_(fmt::format("Listening to \"{}\".", name));
  }

  void close(Open& open) {
    open.in.reset();  // no callback runs once this returns
    inputs_.announce(Notice::kPortGone, *open.lane);
    say_(fmt::format("\"{}\" has gone.", open.name));
  }

  void close_all() {
    for (Open& open : open_) {
      open.in.reset();
      inputs_.announce(Notice::kPortGone, *open.lane);
    }
    open_.clear();
    own_.in.reset();
    if (own_.lane) inputs_.announce(Notice::kPortGone, *own_.lane);
    own_.lane = nullptr;
    backend_.reset();
  }

  void lose(const std::string& why) {
    say_once(why);
    close_all();
  }

  // The watcher looks again and again, so the same sentence is not repeated.
  void say_once(const std::string& sentence) {
    if (sentence == said_) return;
    said_ = sentence;
    say_(sentence);
  }

  const PortsOptions options_;
  Inputs& inputs_;
  const Say say_;
  PortNames names_;

  std::thread thread_;
  std::mutex mutex_;  // guards stopping_ and poked_
  std::condition_variable changed_;
  // stopping_: written by the owner. poked_: written by JACK's notification thread and the watcher. Both are
  // read by the watcher.
  bool stopping_ = false, poked_ = false;

  // The watcher thread alone uses what follows, with one exception: while an Open is connected, RtMidi's
  // thread uses its lane, pass_clock and clock in on_message.
  std::unique_ptr<Backend> backend_;
  Open own_;  // the virtual port; its RtMidiIn also lists the ports
  std::list<Open> open_;
  std::string said_;
  unsigned opened_ = 0;       // numbers our ports, to recognise our own connections
  bool refused_now_ = false;  // a listed port refused the connection in this look
  int refused_ = 0;           // looks in a row with a refusal
};

RtMidiSource::RtMidiSource(PortsOptions options, Inputs& inputs, Say say)
    : watcher_(std::make_unique<Watcher>(
          std::move(options), inputs, say ? std::move(say) : [](const std::string&) {})) {}
RtMidiSource::~RtMidiSource() = default;
Result<void> RtMidiSource::start() {
  return watcher_->start();
}
void RtMidiSource::stop() {
  watcher_->stop();
}

}  // namespace undersong::midi
