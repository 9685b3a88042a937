// Fixture: a running server with a real store, socket, web port and stage, which hears what is pushed into
// its inputs. Only the MIDI output is a stand-in, which accepts everything and makes no sound.
//
//   Running running;
//   auto client = running.connect();
//
// Threads: the server runs on a thread of its own; on_server() runs a job there.
// Errors: a failed step fails the test.
#pragma once

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <functional>
#include <future>
#include <new>
#include <stdexcept>
#include <thread>

#include "daemon/base/worker.h"
#include "daemon/live/stage.h"
#include "daemon/midi/smf.h"
#include "daemon/server/server.h"
#include "daemon/server/songs.h"
#include "daemon/server/stage_loop.h"
#include "daemon/server/wire.h"
#include "daemon/song/studies.h"
#include "daemon/takes/along.h"
#include "daemon/takes/corrected_beats.h"
#include "protocol/connection.h"
#include "tests/base/times.h"
#include "tests/takes/store_fixture.h"

namespace undersong::server {

using takes::TemporaryFolder;

// An output that accepts everything.
class SilentOutput final : public midi::Sink {
 public:
  // Opening an output with one of these names throws.
  static constexpr const char* kNoMemory = "no memory";
  static constexpr const char* kFault = "a fault";
  static std::unique_ptr<midi::Sink> open(const std::string& name) {
    if (name == kNoMemory) throw std::bad_alloc();
    if (name == kFault) throw std::runtime_error("a fault");
    return std::make_unique<SilentOutput>();
  }
  Result<void> tend() override { return {}; }
  bool connected() const override { return true; }
  const std::string& port_name() const override { return name_; }
  bool send(const midi::Event&) override { return true; }

 private:
  std::string name_ = "test output";
};

// The events of the demo performance, as log entries of a take that began at time 0. The demo has a loop,
// sections and a melody.
inline std::vector<takes::Entry> demo_played() {
  std::vector<takes::Entry> out;
  const auto file = midi::read_smf_file(std::string(UNDERSONG_SOURCE_DIR) + "/configs/demo.mid");
  EXPECT_TRUE(file);
  for (const midi::Event& event : midi::merged_events(*file)) out.push_back(takes::midi_received(event));
  return out;
}
// The demo as a whole take, with these entries added.
inline std::vector<takes::Entry> demo_take(std::vector<takes::Entry> more = {}) {
  std::vector<takes::Entry> out{takes::take_begin(us(0), 1'790'000'000'000)};
  for (auto& entry : demo_played()) out.push_back(std::move(entry));
  for (auto& entry : more) out.push_back(std::move(entry));
  out.push_back(takes::take_end(us(95'000'000), takes::EndReason::kRequest));
  return out;
}

// Where the example of store.backup writes, for the server that was made last.
inline std::filesystem::path& backup_file() {
  static std::filesystem::path file;
  return file;
}

class Running {
 public:
  static constexpr const char* kKeyboard = "test keyboard";

  // `devices`: its folder is ours, and its port any free one of this machine alone, if none is given.
  explicit Running(std::optional<WebOptions> web = {}, PairingOptions devices = {}) {
    store = open();
    fetcher = std::make_unique<takes::Fetcher>(*store, on(answers));
    studies = std::make_unique<song::Studies>(*store, on(study));
    stage = std::make_unique<live::Stage>(
        live::StageOptions{},
        live::Stage::World{
            .inputs = inputs,
            .store = *store,
            .studies = *studies,
            .fetcher = *fetcher,
            .echoes = echoes,
            .open_output = SilentOutput::open,
            .changed_output = [this] { boost::asio::post(io, [this] { stage->output_changed(); }); },
            .changed_moment = [this] { loop.changed_moment(); },
            .changed_status = [this] { loop.changed_status(); },
            .changed_deadline = [this] { loop.changed_deadline(); },
            .utc_ms = [] { return std::int64_t{1'790'000'000'000}; }});
    backup_file() = folder.path / "copy.sqlite";
    Server::Options options;
    options.socket = folder.path / "run" / "socket";
    options.web = std::move(web);
    options.program_version = "0.1.0";
    options.sketches = folder.path / "sketches";
    options.devices = std::move(devices);
    if (options.devices.folder.empty()) options.devices.folder = folder.path / "devices";
    devices_folder = options.devices.folder;
    if (!options.devices.web) options.devices.web.emplace();
    server = std::make_unique<Server>(io, options, *stage, *studies, *fetcher);
    socket = options.socket;
    const auto listening = server->start();
    EXPECT_TRUE(listening) << listening.error().message;
    inputs.lane(kKeyboard);
    loop.begin(*stage);
    thread_ = std::thread([this] { io.run(); });
  }
  ~Running() {
    study.stop();
    answers.stop();
    on_server([this] {
      server->stop();
      loop.stop();
    });
    work_.reset();
    io.stop();
    thread_.join();
    server.reset();
    stage.reset();
    store.reset();
  }

  // Runs a job on the server's thread and waits for it.
  template <class Job>
  void on_server(Job job) {
    std::promise<void> done;
    boost::asio::post(io, [&] {
      job();
      done.set_value();
    });
    ASSERT_EQ(done.get_future().wait_for(std::chrono::seconds(30)), std::future_status::ready);
  }
  // Checks the condition on the server's thread until it holds. False if it never does.
  bool eventually(const std::function<bool()>& condition) {
    bool so = false;
    for (int i = 0; i < 10'000 && !so; ++i) {
      on_server([&] { so = condition(); });
      if (!so) ::usleep(1000);
    }
    return so;
  }
  // Writes entries. Afterwards they are on disk, and the server has published them.
  void keep(std::vector<takes::Entry> entries) {
    for (std::size_t i = 0; i < entries.size(); ++i) {
      if (i + 1 < entries.size())
        store->append(std::move(entries[i]));
      else
        ASSERT_TRUE(takes::appended(*store, std::move(entries[i])));
    }
    on_server([] {});
  }
  void publish(std::uint64_t number) {
    on_server([&] {
      listen::Moment moment;
      moment.number = number;
      server->publish_moment(moment);
    });
  }
  // Plays an even cadence whose last chord is held, and taps four times. Afterwards there are a take, a key,
  // a pulse, and a melody note with alternatives.
  void play_cadence() {
    constexpr Micros kBeat{500'000};
    on_server([&] {
      midi::Lane& keys = *inputs.lane(kKeyboard);
      Micros at = midi::steady_now() - 20 * kBeat;
      const std::vector<std::vector<int>> chords{
          {48, 64, 67, 72}, {53, 65, 69, 72}, {43, 62, 65, 71}, {48, 64, 67, 71}};
      for (std::size_t i = 0; i < 4 * chords.size(); ++i, at += kBeat) {
        const auto& chord = chords[i / 4];
        const bool last = i + 1 == 4 * chords.size();
        for (const int key : chord) keys.push(midi::note_on(at, 0, Pitch(key), Velocity(80)));
        for (const int key : chord)
          if (!last) keys.push(midi::note_off(at + kBeat / 2, 0, Pitch(key)));
      }
    });
    ASSERT_TRUE(eventually([&] {
      const auto& moment = stage->performance().moment();
      return moment.key && !moment.alternatives.empty() && moment.held.size() == 4 &&
             stage->recorder().take() && stage->recorder().take()->id;
    }));
    on_server([&] {
      const Micros now = stage->performance().now();
      for (int beat = 3; beat >= 0; --beat) stage->performance().tap(now - kBeat * beat);
    });
    ASSERT_TRUE(eventually([&] { return stage->performance().beat().has_value(); }));
  }
  protocol::Connection connect() {
    auto connection = protocol::Connection::open(socket);
    EXPECT_TRUE(connection) << connection.error().sentence;
    return std::move(*connection);
  }

  TemporaryFolder folder;
  boost::asio::io_context io;
  midi::Inputs inputs;
  midi::SharedEchoGuard echoes;
  Worker study{"aside"};
  Worker answers{"answers", {}, {.nice = 0, .most_waiting = Server::kMostAnswersWaiting}};
  std::unique_ptr<takes::Store> store;
  std::unique_ptr<takes::Fetcher> fetcher;
  std::unique_ptr<song::Studies> studies;
  std::unique_ptr<live::Stage> stage;
  std::unique_ptr<Server> server;
  std::filesystem::path socket, devices_folder;
  StageLoop loop{io,
                 inputs,
                 {.publish_moment = [this] { server->publish_moment(stage->performance().moment()); },
                  .publish_status = [this] { server->publish_status(); },
                  .failed = [](const Error& error) { ADD_FAILURE() << error.message; }}};

 private:
  Aside on(Worker& worker) {
    return {[&worker](Worker::Work work) { return worker.run(std::move(work)); },
            [this](Worker::Work work) { boost::asio::post(io, std::move(work)); }};
  }
  std::unique_ptr<takes::Store> open() {
    takes::Store::Options options;
    options.path = folder.path / "takes.db";
    options.commit_every = std::chrono::milliseconds(2);
    auto opened = takes::Store::open(options, {[this](auto work) { boost::asio::post(io, std::move(work)); },
                                               [this](std::vector<takes::Line> lines) {
                                                 stage->kept(lines);
                                                 server->publish_log(lines);
                                               },
                                               [this](takes::Health) { server->publish_status(); }});
    EXPECT_TRUE(opened) << opened.error().message;
    return std::move(*opened);
  }
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_{io.get_executor()};
  std::thread thread_;
};

// The protocol's example of a request, changed so that a server with demo_take() can answer it after
// play_cadence().
template <class T>
T example_of() {
  auto read = protocol::read_text<T>(T::kExample, "params");
  EXPECT_TRUE(read) << T::kMethod;
  T out = *read;
  if constexpr (requires { out.take = 1; }) out.take = 1;
  if constexpr (std::is_same_v<T, protocol::BackUpTakes> || std::is_same_v<T, protocol::RestoreTakes>)
    out.file = backup_file().string();
  if constexpr (std::is_same_v<T, protocol::CorrectBeat>) out.at = 30'000'000;
  if constexpr (std::is_same_v<T, protocol::Hear>) out.list.reset();
  if constexpr (std::is_same_v<T, protocol::PlayAlong>) out.chords.reset();
  return out;
}

// A plain socket, for messages that the client library would never send.
class RawClient {
 public:
  explicit RawClient(const std::filesystem::path& path, int receive_buffer = 0) {
    descriptor_ = ::socket(AF_UNIX, SOCK_STREAM, 0);
    if (receive_buffer > 0)
      ::setsockopt(descriptor_, SOL_SOCKET, SO_RCVBUF, &receive_buffer, sizeof receive_buffer);
    timeval patience{30, 0};
    ::setsockopt(descriptor_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::strncpy(address.sun_path, path.c_str(), sizeof address.sun_path - 1);
    EXPECT_EQ(::connect(descriptor_, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
  }
  ~RawClient() { close(); }
  void close() {
    if (descriptor_ >= 0) ::close(std::exchange(descriptor_, -1));
  }
  void send(std::string_view bytes) {
    while (!bytes.empty()) {
      const ssize_t n = ::send(descriptor_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (n <= 0) return;
      bytes.remove_prefix(static_cast<std::size_t>(n));
    }
  }
  // The next line, without its newline; "" if the connection has ended.
  std::string line() {
    for (;;) {
      if (const auto end = unread_.find('\n'); end != std::string::npos) {
        std::string line = unread_.substr(0, end);
        unread_.erase(0, end + 1);
        return line;
      }
      char bytes[65536];
      const ssize_t n = ::recv(descriptor_, bytes, sizeof bytes, 0);
      if (n <= 0) return {};
      unread_.append(bytes, static_cast<std::size_t>(n));
    }
  }

 private:
  int descriptor_ = -1;
  std::string unread_;
};

}  // namespace undersong::server
