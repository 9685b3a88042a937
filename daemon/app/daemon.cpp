#include "daemon/app/daemon.h"

#include <fmt/format.h>
#include <pthread.h>
#include <spdlog/spdlog.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <fstream>
#include <thread>
#include <utility>

#include "daemon/app/desk.h"
#include "daemon/app/instance_lock.h"
#include "daemon/app/kept_settings.h"
#include "daemon/app/version.h"
#include "daemon/base/caught.h"
#include "daemon/base/private_folder.h"
#include "daemon/base/worker.h"
#include "daemon/midi/output.h"
#include "daemon/midi/sources.h"
#include "daemon/server/notify.h"
#include "daemon/server/server.h"
#include "daemon/takes/relistener.h"

namespace undersong::app {
namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

// Idle, the watcher and the output's own thread together wake the machine less than once a second.
constexpr auto kLookForPorts = 2500ms;

std::int64_t utc_ms() {
  return std::chrono::duration_cast<std::chrono::milliseconds>(
             std::chrono::system_clock::now().time_since_epoch())
      .count();
}

void say(const std::string& sentence) {
  spdlog::info("{}", sentence);
}

// Does it, and says what it threw. False when it threw.
template <class Job>
bool attempt(std::string_view while_what, Job&& job) {
  try {
    std::forward<Job>(job)();
    return true;
  } catch (...) {
    try {
      spdlog::error("{}", caught(while_what).message);
    } catch (...) {  // not even memory for a sentence
    }
    return false;
  }
}

class Running final : public Daemon {
 public:
  explicit Running(RunOptions options)
      : options_(std::move(options)), signals_(io_, SIGTERM, SIGINT, SIGHUP), wake_(io_), due_(io_) {}

  ~Running() override {
    // The reverse of the start: nothing new comes in, the clients are let go, the store writes what it has.
    source_.reset();
    worker_.stop();
    if (server_) server_->stop();
    wake_.release();  // the descriptor is that of inputs_
    server_.reset();
    desk_.reset();
    store_.reset();
  }

  Result<void> begin() {
    const Config& config = options_.config;
    const Places places = default_places();
    std::signal(SIGPIPE,
                SIG_IGN);  // whoever read our log or asked us something may be gone; the playing goes on
    std::signal(SIGXFSZ,
                SIG_IGN);  // a file that may not grow is a disk that is full: the store says so and waits
    const auto takes_file = config.takes_file.empty() ? places.takes_file : config.takes_file;
    const auto socket = config.socket.empty() ? places.socket : config.socket;

    std::error_code error;
    if (auto made = make_private_folder(takes_file.parent_path()); !made) return made.error();
    auto lock = InstanceLock::take(takes_file);
    if (!lock) return lock.error();
    lock_ = std::move(*lock);
    takes::Store::Options keep{.path = takes_file};
    keep.spill_folders = {places.state_folder, std::filesystem::temp_directory_path(error),
                          places.socket.parent_path()};
    auto opened = takes::Store::open(
        keep, {.deliver = [this](takes::Store::Work work) { asio::post(io_, std::move(work)); },
               .on_lines = [this](std::vector<takes::Line> lines) { kept(lines); },
               .on_health = [this](takes::Health health) { store_health(health); }});
    if (!opened) return opened.error();
    store_ = std::move(*opened);

    desk_ = std::make_unique<Desk>(
        config,
        Desk::World{.inputs = inputs_,
                    .store = *store_,
                    .echoes = *echoes_,
                    .open_output = [this](const std::string& name) { return open_output(name); },
                    .changed_output = [this] { asio::post(io_, [this] { desk_->output_changed(); }); },
                    .changed_moment = [this] { changed(moment_changed_); },
                    .changed_status = [this] { changed(status_changed_); },
                    .changed_deadline = [this] { changed(deadline_changed_); },
                    .utc_ms = utc_ms,
                    .aside = [this](auto work) { return aside(std::move(work)); },
                    .studies = studies_,
                    .follows_file = options_.play.has_value(),
                    .keep_settings = [this](std::string text) { keep_settings(std::move(text)); }});
    settings_file_ = kept_settings_file(takes_file);
    if (auto kept = read_kept(config, settings_file_)) {
      desk_->take_kept(*kept);
    } else {
      spdlog::warn("{}", kept.error().message);
    }

    server::Server::Options serve{
        .socket = socket,
        .web = std::nullopt,
        .program_version = std::string(kVersion),
        .places = {},
        .sketches = takes_file.parent_path() / "sketches",
        .studies = studies_,
        .aside = [this](Worker::Work work) { return worker_.run(std::move(work)); }};
    serve.places.configuration = options_.config_file.string();
    serve.places.configured = std::filesystem::exists(options_.config_file, error);
    serve.places.takes = takes_file.string();
    if (config.web_port != 0)
      serve.web = server::WebOptions{.address = config.web_address,
                                     .port = static_cast<std::uint16_t>(config.web_port),
                                     .page_folder = options_.page_folder,
                                     .token = config.token,
                                     .more_hosts = {}};
    server_ = std::make_unique<server::Server>(io_, serve, *desk_, *store_);
    if (auto listening = server_->start(); !listening) return listening.error();
    if (const auto& trouble = server_->page_trouble())
      spdlog::warn("{} Going on without the page.", trouble->message);
    spdlog::info("Clients connect at {}{}.", socket.string(),
                 serve.web && !server_->page_trouble()
                     ? fmt::format(" and http://{}:{}", config.web_address, server_->web_port())
                     : "");

    relistener_ = std::make_unique<takes::Relistener>(takes::Relistener::World{
        *store_, [this](Worker::Work work) { return worker_.run(std::move(work)); },
        [this](Worker::Work work) { asio::post(io_, std::move(work)); },
        [](std::uint64_t takes) {
          if (takes > 0)
            spdlog::info("{} kept takes have been listened to again, for what was met under which note.",
                         takes);
        }});

    if (auto heard = start_source(config); !heard) return heard.error();
    wake_.assign(inputs_.wake_fd());
    wait_for_events();
    wait_for_signals();
    flush();
    asio::post(io_, [this] { relistener_->nudge(); });
    return {};
  }

  int run() override {
    pthread_setname_np(pthread_self(), "io");
    server::notify_service_manager("READY=1");
    // What is done for one client or one event must not end it for all.
    for (bool running = true; running;)
      running = !attempt("something was done for a client", [this] { io_.run(); });
    server::notify_service_manager("STOPPING=1");
    const int status = close_takes();
    worker_.stop();  // it may be writing the settings
    if (settings_to_write_)
      settings_written(*settings_to_write_, write_kept(*settings_to_write_, settings_file_));
    return status;
  }

 private:
  Result<void> start_source(const Config& config) {
    midi::SourceOptions sources;
    sources.say = say;
    sources.ports.backend = config.service;
    sources.ports.names = config.inputs;
    sources.ports.look_every = kLookForPorts;
    sources.ports.pass_clock = true;
    if (!config.virtual_input) sources.ports.virtual_port.clear();
    if (options_.play) sources.file = {*options_.play, options_.speed};
    auto source = midi::make_source(options_.play ? "file" : "ports", sources, inputs_);
    if (!source) return source.error();
    if (auto started = (*source)->start(); !started) return started.error();
    source_ = std::move(*source);
    return {};
  }

  std::unique_ptr<midi::Sink> open_output(const std::string& name) {
    return std::make_unique<midi::Output>(
        midi::OutputOptions{.backend = options_.config.service, .name = name}, say, echoes_);
  }

  bool aside(std::function<std::function<void()>()> work) {
    return worker_.run([this, work = std::move(work)] { asio::post(io_, work()); });
  }

  // ---- settings that clients changed

  // Written aside, the newest only: a slider gives many in a second.
  void keep_settings(std::string text) {
    settings_to_write_ = std::move(text);
    write_settings();
  }

  void write_settings() {
    if (writing_settings_ || !settings_to_write_) return;
    writing_settings_ = aside([this, text = *settings_to_write_] {
      const auto written = write_kept(text, settings_file_);
      return [this, text, written] {
        writing_settings_ = false;
        settings_written(text, written);
        write_settings();
      };
    });
  }

  void settings_written(const std::string& text, const Result<void>& written) {
    if (settings_to_write_ == text) settings_to_write_.reset();
    if (!written && !std::exchange(settings_failed_, true)) spdlog::warn("{}", written.error().message);
    if (written) settings_failed_ = false;
  }

  // ---- events and time

  void wait_for_events() {
    wake_.async_wait(asio::posix::stream_descriptor::wait_read, [this](boost::system::error_code error) {
      if (error) return;
      busy_ = true;
      bool ended = false;
      attempt("what was played was taken in", [&] {
        inputs_.drain([&](const midi::Event& event) {
          attempt("what was played was heard", [&] { desk_->received(event); });
          ended |= midi::notice_of(event) == midi::Notice::kEnded;
        });
      });
      busy_ = false;
      attempt("what was heard was told", [this] { flush(); });
      if (ended && options_.quit_after_file) return quit();
      wait_for_events();
    });
  }

  void arm() {
    const auto next = desk_->next_deadline();
    if (next == armed_) return;
    armed_ = next;
    if (!next) {
      due_.cancel();
      return;
    }
    due_.expires_at(
        asio::steady_timer::time_point(std::chrono::duration_cast<asio::steady_timer::duration>(*next)));
    due_.async_wait([this](boost::system::error_code error) {
      if (error) return;
      armed_.reset();
      busy_ = true;
      attempt("something fell due", [this] { desk_->advance(midi::steady_now()); });
      busy_ = false;
      attempt("what fell due was told", [this] { flush(); });
    });
  }

  void changed(bool& what) {
    what = true;
    if (busy_ || flush_posted_) return;
    flush_posted_ = true;
    asio::post(io_, [this] {
      flush_posted_ = false;
      flush();
    });
  }

  // Publishes once what many events may have changed.
  void flush() {
    // Who reads the moment goes first, should there be one processor for both.
    if (publish_moment()) std::this_thread::yield();
    busy_ = true;
    attempt("what was heard was kept", [this] { desk_->catch_up(); });
    busy_ = false;
    attempt("the moment was told", [this] { (void)publish_moment(); });
    if (std::exchange(status_changed_, false))
      attempt("the status was told", [this] { server_->publish_status(); });
    deadline_changed_ = false;
    arm();
  }

  bool publish_moment() {
    if (!std::exchange(moment_changed_, false)) return false;
    server_->publish_moment(desk_->moment());
    return true;
  }

  // ---- the store

  void kept(const std::vector<takes::Line>& lines) {
    if (!server_) return;
    desk_->kept(lines);
    server_->publish_log(lines);
    if (relistener_) relistener_->nudge();
  }

  void store_health(const takes::Health& health) {
    if (health.good) {
      if (!health.sentence.empty()) spdlog::info("{}", health.sentence);
    } else {
      spdlog::warn("{}", health.sentence);
    }
    if (server_) server_->publish_status();
  }

  // ---- signals

  void wait_for_signals() {
    signals_.async_wait([this](boost::system::error_code error, int signal) {
      if (error) return;
      if (signal != SIGHUP) return quit();
      attempt("the configuration was read again", [this] { reload(); });
      wait_for_signals();
    });
  }

  void reload() {
    server::notify_reloading();
    std::error_code error;
    auto fresh = std::filesystem::exists(options_.config_file, error) ? load_config(options_.config_file)
                                                                      : Result<Config>(Config{});
    if (!fresh) {
      spdlog::error("{} The options stay as they were.", fresh.error().message);
    } else {
      const auto restart = desk_->reconfigure(*fresh);
      spdlog::set_level(spdlog::level::from_str(fresh->log_level));
      spdlog::info("The configuration has been read again.");
      if (!restart.empty()) spdlog::warn("These change only with a new start: {}.", fmt::join(restart, ", "));
    }
    server::notify_service_manager("READY=1");
  }

  void quit() {
    spdlog::info("Stopping.");
    attempt("the take was closed", [this] { desk_->stop(); });
    io_.stop();
  }

  // Says what became of the takes only when it is known.
  int close_takes() {
    const auto closed = store_->close();
    if (closed.all_kept()) {
      spdlog::info("Stopped; the take is closed and kept.");
      return 0;
    }
    spdlog::error("Stopped, but not everything is in the takes. {}", closed.sentence);
    std::error_code ignored;
    const auto folder = closed.spill.parent_path();
    if (closed.spilled != 0 && (folder == std::filesystem::temp_directory_path(ignored) ||
                                folder == default_places().socket.parent_path()))
      spdlog::error(
          "{} does not outlive a restart of the machine: start undersongd before that, when the takes can be "
          "written again.",
          folder.string());
    return kNotAllKept;
  }

  RunOptions options_;
  asio::io_context io_{1};
  midi::Inputs inputs_;
  const std::shared_ptr<midi::SharedEchoGuard> echoes_ = std::make_shared<midi::SharedEchoGuard>();
  const std::shared_ptr<song::Studies> studies_ = std::make_shared<song::Studies>();  // of what runs aside
  Worker worker_{"aside", [](const Error& error) {
                   spdlog::error("{}", error.message);
                 }};  // after io_: it posts there; stopped before server_ goes
  std::unique_ptr<InstanceLock> lock_;
  std::unique_ptr<takes::Store> store_;
  std::unique_ptr<Desk> desk_;
  std::unique_ptr<server::Server> server_;
  std::unique_ptr<takes::Relistener> relistener_;
  std::unique_ptr<midi::Source> source_;
  asio::signal_set signals_;
  asio::posix::stream_descriptor wake_;
  asio::steady_timer due_;
  std::optional<Micros> armed_;
  std::filesystem::path settings_file_;
  std::optional<std::string> settings_to_write_;  // the newest, until it is on disk
  bool writing_settings_ = false, settings_failed_ = false;
  bool busy_ = false, flush_posted_ = false, moment_changed_ = false, status_changed_ = false,
       deadline_changed_ = false;
};

}  // namespace

Result<std::unique_ptr<Daemon>> Daemon::start(RunOptions options) {
  auto daemon = std::make_unique<Running>(std::move(options));
  if (auto begun = daemon->begin(); !begun) return begun.error();
  return std::unique_ptr<Daemon>(std::move(daemon));
}

}  // namespace undersong::app
