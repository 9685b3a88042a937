// Over 400 lines, so that the order in which everything begins and ends is in one place.
#include "daemon/app/daemon.h"

#include <fmt/format.h>
#include <pthread.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <fstream>
#include <thread>
#include <utility>

#include "daemon/app/kept_settings.h"
#include "daemon/app/settings_writer.h"
#include "daemon/app/version.h"
#include "daemon/base/caught.h"
#include "daemon/base/private_folder.h"
#include "daemon/base/worker.h"
#include "daemon/live/stage.h"
#include "daemon/midi/output.h"
#include "daemon/midi/sender.h"
#include "daemon/midi/sources.h"
#include "daemon/server/digest_wire.h"
#include "daemon/server/notify.h"
#include "daemon/server/server.h"
#include "daemon/server/stage_loop.h"
#include "daemon/song/describer.h"
#include "daemon/song/studies.h"
#include "daemon/takes/instance_lock.h"
#include "daemon/takes/relistener.h"

namespace undersong::app {
namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

// Together with the output's own thread (Sender::kTendEvery), this wakes an idle machine less than once a
// second.
constexpr auto kLookForPorts = 2500ms;

std::int64_t utc_ms() {
  return std::chrono::duration_cast<std::chrono::milliseconds>(
             std::chrono::system_clock::now().time_since_epoch())
      .count();
}

void say(const std::string& sentence) {
  spdlog::info("{}", sentence);
}
void say_error(const Error& error) {
  spdlog::error("{}", error.message);
}

class Running final : public Daemon {
 public:
  explicit Running(RunOptions options)
      : options_(std::move(options)), signals_(io_, SIGTERM, SIGINT, SIGHUP) {}

  ~Running() override {
    // In the reverse order of the start: first no new events, then no clients, and last the store writes what
    // it still has.
    source_.reset();
    answers_.stop();
    if (describer_) describer_->stop();
    describing_.stop();
    worker_.stop();
    if (server_) server_->stop();
    loop_.stop();
    chords_.reset();
    chord_sender_.reset();
    server_.reset();
    stage_.reset();
    store_.reset();
  }

  Result<void> begin() {
    const Config& config = options_.config;
    const Places places = default_places();
    std::signal(SIGPIPE, SIG_IGN);  // the reader of our log or a client may be gone; we go on
    std::signal(SIGXFSZ, SIG_IGN);  // a size limit is like a full disk: the store reports it and waits
    const auto takes_file = config.takes_file.empty() ? places.takes_file : config.takes_file;
    const auto socket = config.socket.empty() ? places.socket : config.socket;

    std::error_code error;
    if (takes_file.empty())
      return invalid_input(
          "You have no home folder (HOME is not set): say with --takes where to keep the takes.");
    if (auto made = make_private_folder(takes_file.parent_path()); !made) return made.error();
    auto lock =
        takes::InstanceLock::take(takes_file, "use that one, or give this one another file with --takes");
    if (!lock) return lock.error();
    lock_ = std::move(*lock);
    takes::Store::Options keep{.path = takes_file};
    keep.check = true;
    keep.backups = takes_file.parent_path() / "backups";
    keep.keep_backups = static_cast<std::size_t>(config.backups);
    keep.spill_folders = {places.state_folder, std::filesystem::temp_directory_path(error),
                          places.socket.parent_path()};
    auto opened = takes::Store::open(
        keep, {.deliver = [this](takes::Store::Work work) { asio::post(io_, std::move(work)); },
               .on_lines = [this](std::vector<takes::Line> lines) { kept(lines); },
               .on_health = [this](takes::Health health) { store_health(health); }});
    if (!opened) return opened.error();
    store_ = std::move(*opened);

    fetcher_ = std::make_unique<takes::Fetcher>(*store_, on(answers_));
    studies_ = std::make_unique<song::Studies>(*store_, on(worker_));
    set_stage(config, takes_file);
    if (auto listening = start_server(config, socket, takes_file); !listening) return listening.error();

    relistener_ = std::make_unique<takes::Relistener>(takes::Relistener::World{
        *store_, [this](Worker::Work work) { return worker_.run(std::move(work)); },
        [this](Worker::Work work) { asio::post(io_, std::move(work)); },
        [this](std::uint64_t takes) {
          if (takes == 0) return;
          spdlog::info("{} kept takes were analysed again: which chord met which melody note.", takes);
          stage_->own().heard_again();
        }});

    describer_ = std::make_unique<song::Describer>(
        song::Describer::World{*store_, on(describing_), [this] { return !stage_->recorder().take(); },
                               [this](const takes::Store::Midi& take, const takes::StudyReached& reached) {
                                 return studies_->in_passing(take, reached);
                               },
                               server::answers_of,
                               [this](std::uint64_t takes) {
                                 stage_->studied(takes);
                                 server_->publish_status();
                               }});

    if (auto told = start_followers(config); !told) return told.error();
    if (auto heard = start_source(config); !heard) return heard.error();
    loop_.begin(*stage_);
    wait_for_signals();
    asio::post(io_, [this] { relistener_->nudge(); });
    asio::post(io_, [this] { make_find_prints(); });
    asio::post(io_, [this] { describer_->nudge(); });
    return {};
  }

  int run() override {
    // This thread is `io` in the documentation. Its name is that of the process, so it stays undersongd.
    server::notify_service_manager("READY=1");
    feed_watchdog();
    // An exception in the work for one client or one event must not end the daemon for all.
    for (bool running = true; running;)
      running = !attempted("the daemon did something for a client", say_error, [this] { io_.run(); });
    server::notify_service_manager("STOPPING=1");
    const int status = close_takes();
    worker_.stop();  // it may still be writing the settings
    settings_writer_->finish();
    return status;
  }

 private:
  static constexpr std::size_t kPrintsAtOnce = 5, kShelfAtOnce = 100;

  void set_stage(const Config& config, const std::filesystem::path& takes_file) {
    const auto settings_file = kept_settings_file(takes_file);
    settings_writer_ = std::make_unique<SettingsWriter>(settings_file, on(worker_));
    stage_ = std::make_unique<live::Stage>(
        config.stage,
        live::Stage::World{
            .inputs = inputs_,
            .store = *store_,
            .studies = *studies_,
            .fetcher = *fetcher_,
            .echoes = *echoes_,
            .open_output = [this](const std::string& name) { return open_output(name); },
            .changed_output = [this] { asio::post(io_, [this] { stage_->output_changed(); }); },
            .changed_moment = [this] { loop_.changed_moment(); },
            .changed_status = [this] { loop_.changed_status(); },
            .changed_deadline = [this] { loop_.changed_deadline(); },
            .utc_ms = utc_ms,
            .follows_file = options_.play.has_value(),
            .keep_settings = [this](const live::Settings& configured,
                                    const live::Settings& now) { settings_writer_->keep(configured, now); },
            .say = [](const std::string& sentence) { spdlog::warn("{}", sentence); }});
    stage_->own().begin();
    const auto kept = read_kept(config.stage.settings, settings_file);
    if (!kept) return spdlog::warn("{}", kept.error().message);
    stage_->settings().take_kept(*kept);
    settings_writer_->known(config.stage.settings, *kept);
  }

  Result<void> start_server(const Config& config, const std::filesystem::path& socket,
                            const std::filesystem::path& takes_file) {
    std::error_code error;
    server::Server::Options serve{.socket = socket,
                                  .web = std::nullopt,
                                  .program_version = std::string(kVersion),
                                  .places = {},
                                  .sketches = takes_file.parent_path() / "sketches",
                                  .devices = {}};
    serve.places.configuration = options_.config_file.string();
    serve.places.configured = std::filesystem::exists(options_.config_file, error);
    serve.places.takes = takes_file.string();
    if (config.web_port != 0)
      serve.web = server::WebOptions{.address = config.web_address,
                                     .port = static_cast<std::uint16_t>(config.web_port),
                                     .page_folder = options_.page_folder,
                                     .more_hosts = {},
                                     .tls = nullptr};
    serve.devices.folder = takes_file.parent_path() / "devices";
    serve.devices.token = config.token;
    serve.devices.tls = config.tls;
    if (config.devices_port != 0)
      serve.devices.web = server::WebOptions{.address = config.devices_address,
                                             .port = static_cast<std::uint16_t>(config.devices_port),
                                             .page_folder = options_.page_folder,
                                             .more_hosts = {},
                                             .tls = nullptr};
    server_ = std::make_unique<server::Server>(io_, serve, *stage_, *studies_, *fetcher_);
    if (auto listening = server_->start(); !listening) return listening;
    if (const auto& trouble = server_->page_trouble())
      spdlog::warn("{} Going on without the page.", trouble->message);
    spdlog::info("Clients connect at {}{}.", socket.string(),
                 server_->page() ? fmt::format(" and {}", *server_->page()) : "");
    return {};
  }

  // What tells lights and synthesisers which chord sounds.
  Result<void> start_followers(const Config& config) {
    if (config.osc.port != 0) {
      auto osc = server::OscOutput::open(config.osc);
      if (!osc) return osc.error();
      osc_ = std::move(*osc);
      spdlog::info("Open Sound Control goes to {}, port {}.", config.osc.address, config.osc.port);
    }
    if (config.chords.carries == live::Carries::kNothing) return {};
    chord_sender_ = std::make_unique<midi::Sender>(
        std::make_unique<midi::Output>(
            midi::OutputOptions{
                .backend = config.service, .name = config.chords_output, .virtual_port = "Undersong chords"},
            say, echoes_),
        std::function<void()>());
    chords_ = std::make_unique<live::ChordOutput>(
        config.chords, [this](const midi::Event& event) { return chord_sender_->send(event); });
    return {};
  }

  void publish_moment() {
    const listen::Moment& moment = stage_->performance().moment();
    server_->publish_moment(moment);
    const auto& settings = stage_->settings().now();
    if (osc_) osc_->publish(moment, settings.symbol_style);
    if (chords_) chords_->follow(moment, stage_->performance().hands(), settings.voicing, midi::steady_now());
  }

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

  // Runs work on the worker's thread and answers on io.
  Aside on(Worker& worker) {
    return {[&worker](Worker::Work work) { return worker.run(std::move(work)); },
            [this](Worker::Work work) { asio::post(io_, std::move(work)); }};
  }

  // ---- the store

  void kept(const std::vector<takes::Line>& lines) {
    if (!server_) return;
    stage_->kept(lines);
    server_->publish_log(lines);
    if (relistener_) relistener_->nudge();
    if (describer_ && std::any_of(lines.begin(), lines.end(), tells_of_a_take)) describer_->nudge();
  }

  // A take has ended, or something was said of one.
  static bool tells_of_a_take(const takes::Line& line) {
    return line.kind == takes::LineKind::kTakeEnd || line.kind == takes::LineKind::kBeat ||
           line.kind == takes::LineKind::kCorrection || line.kind == takes::LineKind::kRestore;
  }

  // A store of an older version has none, and they take a few milliseconds each; so some at a time.
  void make_find_prints() {
    store_->make_find_prints(kPrintsAtOnce, [this](Result<std::uint64_t> left) {
      if (!left) return;
      *left > 0 ? make_find_prints() : fill_shelf();
    });
  }

  // Some at a time too, so that nobody who asks for takes meanwhile waits for it.
  void fill_shelf() {
    store_->fill_shelf(kShelfAtOnce, [this](Result<bool> full) {
      if (full && !*full) fill_shelf();
    });
  }

  void store_health(const takes::Health& health) {
    if (health.good) {
      if (!health.sentence.empty()) spdlog::info("{}", health.sentence);
    } else {
      spdlog::warn("{}", health.sentence);
    }
    if (!health.damage.empty() && health.damage != damage_) spdlog::warn("{}", health.damage);
    damage_ = health.damage;
    if (server_) server_->publish_status();
    // What was read back from a damaged file is to be listened to again.
    if (relistener_) relistener_->nudge();
    if (describer_) describer_->nudge();
  }

  // Tells the service manager that `io` still does its work. If it does not for too long, the unit starts the
  // daemon again.
  void feed_watchdog() {
    const auto interval = server::watchdog_interval();
    if (!interval) return;
    server::notify_service_manager("WATCHDOG=1");
    watchdog_.expires_after(*interval);
    watchdog_.async_wait([this](boost::system::error_code error) {
      if (!error) feed_watchdog();
    });
  }

  // ---- signals

  void wait_for_signals() {
    signals_.async_wait([this](boost::system::error_code error, int signal) {
      if (error) return;
      if (signal != SIGHUP) return quit();
      attempted("the configuration was read again", say_error, [this] { reload(); });
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
      stage_->reconfigure(fresh->stage);
      const auto restart = differing_at_start(options_.config, options_.command_line.over(*fresh));
      spdlog::set_level(spdlog::level::from_str(fresh->log_level));
      spdlog::info("The configuration has been read again.");
      if (!restart.empty())
        spdlog::warn("These take effect only after a restart: {}.", fmt::join(restart, ", "));
    }
    server::notify_service_manager("READY=1");
  }

  void quit() {
    spdlog::info("Stopping.");
    attempted("the take was closed", say_error, [this] { stage_->stop(); });
    io_.stop();
  }

  // Closes the store and reports whether everything was written, which is known only afterwards.
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
          "Files in {} do not survive a restart of the machine: make sure that the takes can be written, and "
          "start undersongd before that.",
          folder.string());
    return kNotAllKept;
  }

  RunOptions options_;
  std::string damage_;  // of the store, as it was told last
  asio::io_context io_{1};
  midi::Inputs inputs_;
  const std::shared_ptr<midi::SharedEchoGuard> echoes_ = std::make_shared<midi::SharedEchoGuard>();
  // Declared after io_, because their jobs post to it. Stopped before server_ is destroyed.
  Worker answers_{"answers", say_error, {.nice = 0, .most_waiting = server::Server::kMostAnswersWaiting}};
  Worker worker_{"aside", say_error};
  Worker describing_{"describe", say_error};
  std::unique_ptr<takes::InstanceLock> lock_;
  std::unique_ptr<takes::Store> store_;
  std::unique_ptr<takes::Fetcher> fetcher_;  // on answers_
  std::unique_ptr<song::Studies> studies_;   // on worker_
  std::unique_ptr<SettingsWriter> settings_writer_;
  std::unique_ptr<live::Stage> stage_;
  std::unique_ptr<server::Server> server_;
  std::unique_ptr<takes::Relistener> relistener_;
  std::unique_ptr<song::Describer> describer_;  // on describing_
  std::unique_ptr<server::OscOutput> osc_;
  std::unique_ptr<midi::Sender> chord_sender_;  // has a thread of its own
  std::unique_ptr<live::ChordOutput> chords_;
  std::unique_ptr<midi::Source> source_;
  asio::signal_set signals_;
  asio::steady_timer watchdog_{io_};
  server::StageLoop loop_{io_,
                          inputs_,
                          {.publish_moment = [this] { publish_moment(); },
                           .publish_status = [this] { server_->publish_status(); },
                           .failed = say_error,
                           .ended =
                               [this] {
                                 if (options_.quit_after_file) quit();
                               }}};
};

}  // namespace

Config CommandLine::over(Config config) const {
  if (socket) config.socket = *socket;
  if (takes_file) config.takes_file = *takes_file;
  if (web_port) config.web_port = *web_port;
  return config;
}

Result<std::unique_ptr<Daemon>> Daemon::start(RunOptions options) {
  auto daemon = std::make_unique<Running>(std::move(options));
  if (auto begun = daemon->begin(); !begun) return begun.error();
  return std::unique_ptr<Daemon>(std::move(daemon));
}

}  // namespace undersong::app
