#include "daemon/midi/ports_source.h"

#include <pthread.h>
#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <list>
#include <map>
#include <thread>

#include "daemon/base/caught.h"
#include "daemon/midi/alsa_ears.h"
#include "daemon/midi/jack_ears.h"
#include "daemon/midi/service_watch.h"

namespace undersong::midi {
namespace {

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(c < 128 ? std::tolower(c) : c); });
  return text;
}

constexpr std::chrono::milliseconds kSoon{100};
// While there is no service, the pause between looks doubles up to this many times `look_every`: the kernel
// tells of one that comes, so a look is only there for what it does not tell.
constexpr int kLongestPause = 24;
constexpr int kSoonTries = 20;

// How long the service may take to answer before that is told.
constexpr std::chrono::seconds kPatience{5};

// What wakes the watcher. Others may hold it longer than the watcher lives.
struct Bell {
  std::mutex mutex;  // guards what follows, and Opening
  std::condition_variable changed;
  // stopping: written by the owner. poked: written by a thread of the MIDI service and the watcher. Both are
  // read by the watcher.
  bool stopping = false, poked = false;

  void ring() {
    {
      const std::lock_guard lock(mutex);
      poked = true;
    }
    changed.notify_all();
  }
};

// The service being opened on a thread of its own: libjack may wait for ever when another program died while
// it was connecting. What is opened after the watcher has gone is closed again.
struct Opening {
  std::optional<Result<std::unique_ptr<Backend>>> result;  // guarded by the bell's mutex

  static std::shared_ptr<Opening> begin(BackendKind kind, const std::string& client,
                                        const std::shared_ptr<Bell>& bell) {
    auto opening = std::make_shared<Opening>();
    std::thread([opening, kind, client, bell] {
      pthread_setname_np(pthread_self(), "midi-open");
      auto backend = guarded<std::unique_ptr<Backend>>("the MIDI service was opened", [&] {
        return Backend::open(kind, client, [bell] { bell->ring(); });
      });
      {
        const std::lock_guard lock(bell->mutex);
        opening->result.emplace(std::move(backend));
      }
      bell->changed.notify_all();
    }).detach();
    return opening;
  }
};

struct Open {
  std::string raw_name;  // as the MIDI service lists it
  std::string name;      // as Undersong shows it
  Lane* lane = nullptr;
};

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

bool is_through(const std::string& port) {
  return lower(port).find("midi through") != std::string::npos;
}

bool PortNames::match(const std::string& port) const {
  if (all_) return !is_through(port);
  const std::string small = lower(port);
  return std::any_of(parts_.begin(), parts_.end(),
                     [&](const auto& p) { return small.find(p) != std::string::npos; }) ||
         std::any_of(expressions_.begin(), expressions_.end(),
                     [&](const auto& e) { return std::regex_search(port, e); });
}

class PortsSource::Watcher {
 public:
  Watcher(PortsOptions options, Inputs& inputs, Say say)
      : options_(std::move(options)), inputs_(inputs), say_(std::move(say)) {}
  ~Watcher() { stop(); }

  Result<void> start() {
    auto names = PortNames::parse(options_.names);
    if (!names) return names.error();
    names_ = *names;
    files_ = ServiceWatch::begin(service_folders(), [bell = bell_] { bell->ring(); });
    thread_ = std::thread([this] { run(); });
    pthread_setname_np(thread_.native_handle(), "midi-watch");
    return {};
  }

  void stop() {
    if (!thread_.joinable()) return;
    {
      const std::lock_guard lock(bell_->mutex);
      bell_->stopping = true;
    }
    bell_->changed.notify_all();
    thread_.join();
  }

 private:
  void run() {
    bool again = false;  // JACK tells of a connection before it shows it, so a poke is worth two looks
    int soon_looks = 0;
    int quiet = 1;  // how many times `look_every` the next pause lasts
    for (;;) {
      try {
        look();
      } catch (const std::exception& error) {  // RtMidi throws where it has no error callback
        lose(fmt::format("The MIDI service failed ({}) and is being opened again.", error.what()));
      }
      std::unique_lock lock(bell_->mutex);
      // A port that is listed but refuses the connection is tried again soon, and at the usual pace once it
      // has refused kSoonTries times. Our own attempts make ports appear and disappear, so a poke means
      // nothing after a refusal.
      const bool refused = std::exchange(refused_now_, false);
      refused_ = refused ? refused_ + 1 : 0;
      // A service that comes has its files before it answers.
      if (again) soon_looks = backend_ ? 1 : kSoonTries;
      const bool soon = soon_looks > 0 || (refused && refused_ <= kSoonTries);
      soon_looks = std::max(0, soon_looks - 1);
      if (soon || backend_ || !files_) quiet = 1;
      const auto pause = soon ? std::min(kSoon, options_.look_every) : quiet * options_.look_every;
      quiet = std::min(2 * quiet, kLongestPause);
      bell_->changed.wait_for(lock, pause,
                              [&] { return bell_->stopping || opened() || (bell_->poked && !refused); });
      if (bell_->stopping) break;
      again = std::exchange(bell_->poked, false);
    }
    close_all();
  }

  void look() {
    if (backend_ && !backend_->alive())
      lose("The JACK server has gone; all its inputs are closed until it is back.");
    if (!backend_ && !find_backend()) return;
    tell_losses();
    const bool ports_changed = backend_->take_ports_changed() || std::exchange(ears_changed_, false);
    const std::map<std::string, std::string> listed = list_ports();  // our name -> raw name
    if (!backend_->alive()) return;  // the list is unreliable; the next look closes everything
    for (auto it = open_.begin(); it != open_.end();) {
      const auto found = listed.find(it->name);
      // By now another port may have this name, and nothing is connected to it yet. If no port came or went,
      // somebody has disconnected us on purpose, and the input stays as it is.
      const bool same = found != listed.end() && found->second == it->raw_name &&
                        (!ports_changed || ears_->connected(it->raw_name));
      if (same && !ears_->heard_on_own(it->raw_name)) {
        ++it;
      } else {
        close(*it, same);
        it = open_.erase(it);
      }
    }
    for (const auto& port : listed) {
      const auto known = [&](const Open& o) { return o.name == port.first; };
      if (std::none_of(open_.begin(), open_.end(), known) && !ears_->heard_on_own(port.second))
        open_port(port.first, port.second);
    }
  }

  bool find_backend() {
    auto found = open_in_time();
    if (!found) return false;
    auto& backend = *found;
    if (!backend) return lack(backend.error().message);
    const bool jack = (*backend)->kind() == BackendKind::kJack;
    auto ears = jack ? jack_ears(**backend, options_.client_name, options_.pass_clock)
                     : alsa_ears(options_.client_name, options_.pass_clock, [this] { port_came_or_went(); });
    if (!ears) return lack(ears.error().message);
    backend_ = std::move(*backend);
    ears_ = std::move(*ears);
    inputs_.set_trouble({});
    say_once(jack && options_.backend == BackendKind::kAuto
                 ? "ALSA's sequencer isn't there; MIDI comes through JACK."
             : jack ? "MIDI comes through JACK."
                    : "MIDI comes through ALSA.");
    if (options_.virtual_port.empty()) return true;
    own_ = inputs_.lane(options_.virtual_port);
    if (!own_) return true;
    if (ears_->make_own(options_.virtual_port, *own_)) {
      inputs_.announce(Notice::kPortCame, *own_);
    } else {
      say_(fmt::format("The MIDI input \"{}\" could not be made.", options_.virtual_port));
      own_ = nullptr;
    }
    return true;
  }

  bool opened() const { return opening_ && opening_->result; }  // holds the bell's mutex

  // Nothing while the service does not answer, which is told.
  std::optional<Result<std::unique_ptr<Backend>>> open_in_time() {
    if (!opening_) opening_ = Opening::begin(options_.backend, options_.client_name, bell_);
    std::unique_lock lock(bell_->mutex);
    if (!silent_) bell_->changed.wait_for(lock, kPatience, [&] { return bell_->stopping || opened(); });
    if (opened()) {
      auto result = std::move(opening_->result);
      opening_.reset();
      silent_ = false;
      return result;
    }
    const bool stopping = bell_->stopping;
    lock.unlock();
    if (!stopping && !std::exchange(silent_, true)) lack(no_answer());
    return std::nullopt;
  }

  bool lack(const std::string& why) {
    inputs_.set_trouble(why);
    say_once(why + " Undersong keeps looking for it.");
    return false;
  }

  // Called on the thread of ALSA's ears.
  void port_came_or_went() {
    ears_poked_ = true;
    bell_->ring();
  }

  void tell_losses() {
    if (ears_poked_.exchange(false)) ears_changed_ = true;
    if (ears_->take_losses() == 0) return;
    say_once(
        "MIDI messages came faster than they could be read, and some were lost. Notes that sounded were "
        "ended. "
        "The log of the take says when.");
  }

  std::map<std::string, std::string> list_ports() {
    std::map<std::string, std::string> listed;
    const bool alsa = backend_->kind() == BackendKind::kAlsa;
    for (const std::string& raw : ears_->listed()) {
      if (raw.empty() || is_own_port(raw, options_.client_name)) continue;
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
    const auto opened = ears_->open(raw, *lane);
    if (opened == Ears::Opened::kRefused) refused_now_ = true;
    if (opened != Ears::Opened::kYes) return;
    open_.push_back({raw, name, lane});
    // Only now: whoever is told that an input is there may rely on being heard.
    inputs_.announce(Notice::kPortCame, *lane);
    say_(fmt::format("Listening to \"{}\".", name));
  }

  void close(Open& open, bool by_hand) {
    ears_->close(open.raw_name);
    inputs_.announce(Notice::kPortGone, *open.lane);
    say_(by_hand ? fmt::format("\"{}\" is also connected to \"{}\", and is heard there.", open.name,
                               options_.virtual_port)
                 : fmt::format("\"{}\" has gone.", open.name));
  }

  void close_all() {
    ears_.reset();
    for (Open& open : open_) inputs_.announce(Notice::kPortGone, *open.lane);
    open_.clear();
    if (own_) inputs_.announce(Notice::kPortGone, *own_);
    own_ = nullptr;
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
  const std::shared_ptr<Bell> bell_ = std::make_shared<Bell>();

  std::unique_ptr<ServiceWatch> files_;  // of the owner

  std::atomic<bool> ears_poked_{false};  // written by the thread of the ears and the watcher

  // The watcher thread alone uses what follows.
  std::shared_ptr<Opening> opening_;
  bool silent_ = false;  // the service did not answer in time
  std::unique_ptr<Backend> backend_;
  std::unique_ptr<Ears> ears_;
  Lane* own_ = nullptr;  // of the virtual port, while it is there
  std::list<Open> open_;
  bool ears_changed_ = false;
  std::string said_;
  bool refused_now_ = false;  // a listed port refused the connection in this look
  int refused_ = 0;           // looks in a row with a refusal
};

PortsSource::PortsSource(PortsOptions options, Inputs& inputs, Say say)
    : watcher_(std::make_unique<Watcher>(
          std::move(options), inputs, say ? std::move(say) : [](const std::string&) {})) {}
PortsSource::~PortsSource() = default;
Result<void> PortsSource::start() {
  return watcher_->start();
}
void PortsSource::stop() {
  watcher_->stop();
}

}  // namespace undersong::midi
