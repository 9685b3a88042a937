// A running server over a real store, a real socket and a real web port, with a desk that only remembers what
// was asked.
#pragma once

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <future>
#include <thread>

#include "daemon/base/worker.h"
#include "daemon/midi/smf.h"
#include "daemon/server/server.h"
#include "daemon/takes/along.h"
#include "daemon/takes/corrected_beats.h"
#include "protocol/connection.h"
#include "tests/takes/store_fixture.h"

namespace undersong::server {

using takes::TemporaryFolder;
using takes::us;

class RememberingDesk final : public Desk {
 public:
  explicit RememberingDesk(std::unique_ptr<takes::Store>& store) : store_(store) {}

  protocol::Status status() override {
    protocol::Status status;
    status.ports.push_back({0, "test keyboard", true, false});
    status.outputs.push_back({"test output", true, ""});
    status.still = still;
    status.settings = now_;
    return status;
  }
  Micros now() override { return us(4711); }
  void mark(std::string text, Answer<std::uint64_t> answer) override {
    store_->append(takes::mark(now(), std::move(text)), answer);
  }
  void end_take(Answer<std::uint64_t> answer) override {
    if (!playing) return answer(unavailable("No take is being played."));
    store_->append(takes::take_end(now(), takes::EndReason::kRequest), answer);
  }
  Result<std::optional<std::string>> hear(const protocol::Hear& wish) override {
    if (wish.stop.value_or(false)) return std::optional<std::string>();
    if (wish.list == 99u) return Error{ErrorCode::kConflict, "The list has changed."};
    return std::optional<std::string>(wish.harte.value_or("C:maj"));
  }
  void play_take(const protocol::PlayTake& wish, Answer<protocol::Playing> answer) override {
    if (wish.take == 99u) return answer(not_found("There is no take 99."));
    answer(protocol::Playing{wish.take.value_or(1), now().count(), wish.from_us.value_or(0),
                             wish.to_us.value_or(9)});
  }
  void play_along(const protocol::PlayAlong& wish, Answer<protocol::Playing> answer) override {
    protocol::PlayingAlong along;
    along.chords.push_back({0, "C:maj"});
    answer(protocol::Playing{wish.take.value_or(1), now().count(), 0, 0, along});
  }
  std::optional<protocol::BeatNow> tap() override { return protocol::BeatNow{}; }
  void correct_beat(const protocol::CorrectBeat& wish, Answer<protocol::Corrected> answer) override {
    store_->edit(takes::LineKind::kBeat, wish.take.value_or(1), now(),
                 takes::beat_data({now(), takes::BeatWord::kMeter, {}, 3}),
                 [answer](Result<takes::LineNumber> number) {
                   if (!number) return answer(number.error());
                   protocol::Corrected out;
                   out.number.emplace(*number);
                   out.beat.emplace(protocol::BeatNow{});
                   answer(out);
                 });
  }
  void take_beats(std::optional<std::uint64_t> take, Answer<protocol::TakeBeats> answer) override {
    if (take == 98u) throw std::bad_alloc();
    if (take == 97u) throw std::runtime_error("a fault");
    protocol::TakeBeats beats;
    beats.take = take.value_or(1);
    beats.at = {1, 2};
    beats.place = {1, 2};
    answer(beats);
  }
  bool stop_playing() override { return true; }
  Result<protocol::ChordVoicings> voicings(const protocol::VoiceChord& wish) override {
    if (wish.harte == "no chord") return invalid_input("\"no chord\" is no chord in Harte syntax.");
    protocol::StyledVoicing open;
    open.left.emplace_back(38);
    open.right.emplace_back(76);
    return protocol::ChordVoicings{{open}};
  }
  bool hold(bool on) override { return still = on; }
  Result<std::uint64_t> play(ClientId client, const std::vector<protocol::PlayedNote>& notes) override {
    players.push_back(client);
    return notes.size();
  }
  void client_gone(ClientId client) override { gone.push_back(client); }
  protocol::Settings settings() override { return now_; }
  Result<protocol::Settings> change_settings(const protocol::SetSettings& change) override {
    if (change.brighter) now_.wishes.brighter = *change.brighter;
    if (change.hear_output == "nowhere") return not_found("There is no output called nowhere.");
    return now_;
  }
  protocol::Settings reset_settings(const protocol::ResetSettings&) override { return now_ = {}; }

  // Used on the server's thread only.
  bool still = false, playing = false;
  std::vector<ClientId> players, gone;

 private:
  protocol::Settings now_;
  std::unique_ptr<takes::Store>& store_;
};

// What the demo performance sends, as lines of a take that began at time 0: it has a loop, sections and a
// melody.
inline std::vector<takes::Entry> demo_played() {
  std::vector<takes::Entry> out;
  const auto file = midi::read_smf_file(std::string(UNDERSONG_SOURCE_DIR) + "/configs/demo.mid");
  EXPECT_TRUE(file);
  for (const midi::Event& event : midi::merged_events(*file)) out.push_back(takes::midi_received(event));
  return out;
}
// The demo as take 1, with these lines besides.
inline std::vector<takes::Entry> demo_take(std::vector<takes::Entry> more = {}) {
  std::vector<takes::Entry> out{takes::take_begin(us(0), 1'790'000'000'000)};
  for (auto& entry : demo_played()) out.push_back(std::move(entry));
  for (auto& entry : more) out.push_back(std::move(entry));
  out.push_back(takes::take_end(us(95'000'000), takes::EndReason::kRequest));
  return out;
}

class Running {
 public:
  explicit Running(std::optional<WebOptions> web = {}) : desk(store) {
    store = open();
    Server::Options options;
    options.socket = folder.path / "run" / "socket";
    options.web = std::move(web);
    options.program_version = "0.1.0";
    options.sketches = folder.path / "sketches";
    options.aside = [this](Worker::Work work) { return study.run(std::move(work)); };
    server = std::make_unique<Server>(io, options, desk, *store);
    socket = options.socket;
    const auto listening = server->start();
    EXPECT_TRUE(listening) << listening.error().message;
    thread_ = std::thread([this] { io.run(); });
  }
  ~Running() {
    study.stop();
    on_server([this] { server->stop(); });
    work_.reset();
    io.stop();
    thread_.join();
    server.reset();
    store.reset();
  }

  // Runs on the server's thread, and waits.
  template <class Job>
  void on_server(Job job) {
    std::promise<void> done;
    boost::asio::post(io, [&] {
      job();
      done.set_value();
    });
    ASSERT_EQ(done.get_future().wait_for(std::chrono::seconds(30)), std::future_status::ready);
  }
  // Entries that are on disk afterwards, and known to the server.
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
  protocol::Connection connect() {
    auto connection = protocol::Connection::open(socket);
    EXPECT_TRUE(connection) << connection.error().sentence;
    return std::move(*connection);
  }

  TemporaryFolder folder;
  boost::asio::io_context io;
  std::unique_ptr<takes::Store> store;
  RememberingDesk desk;
  std::unique_ptr<Server> server;
  std::filesystem::path socket;
  Worker study{"aside"};

 private:
  std::unique_ptr<takes::Store> open() {
    takes::Store::Options options;
    options.path = folder.path / "takes.db";
    options.commit_every = std::chrono::milliseconds(2);
    auto opened =
        takes::Store::open(options, {[this](auto work) { boost::asio::post(io, std::move(work)); },
                                     [this](std::vector<takes::Line> lines) { server->publish_log(lines); },
                                     [this](takes::Health) { server->publish_status(); }});
    EXPECT_TRUE(opened) << opened.error().message;
    return std::move(*opened);
  }
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_{io.get_executor()};
  std::thread thread_;
};

// A plain socket, for what the client library would never send.
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
  // Without its newline; "" when the connection has ended.
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
