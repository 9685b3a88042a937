// Measures the time from a MIDI message in the queue to a complete moment at a client of the socket, and
// compares it with the floor: the same number of bytes through a queue, an Asio thread and a Unix socket
// without any analysis. Both alternate in one run.
//
// Messages that wait together are answered by one moment with the time of the last; the others of them are
// counted as "in a later moment".
//
// usage: taskset -c 1 latency_bench [SECONDS]
//
// Run it on one core if idle cores of the machine wake late; then the figures are steady.
#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <map>
#include <mutex>
#include <random>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/live/stage.h"
#include "daemon/midi/smf.h"
#include "daemon/server/server.h"
#include "daemon/song/studies.h"

namespace {

using namespace undersong;
namespace asio = boost::asio;
using Stream = asio::local::stream_protocol;

constexpr auto kBetween = std::chrono::microseconds(5000);  // 200 messages a second
// Each message comes at a random time within this part of its 5 ms. On an exact grid, a deadline 30 ms after
// one key would always coincide with another key, which does not happen when a person plays.
constexpr int kWithinMicros = 2000;

// An output that is never connected, because this program plays nothing.
class Nowhere : public midi::Sink {
 public:
  Result<void> tend() override { return {}; }
  bool connected() const override { return false; }
  const std::string& port_name() const override { return name_; }
  bool send(const midi::Event&) override { return false; }

 private:
  std::string name_;
};

[[noreturn]] void die(const std::string& sentence) {
  fmt::print(stderr, "latency_bench: {}\n", sentence);
  std::exit(1);
}

struct Figures {
  std::vector<double> micros;
  double at(double share) {
    std::sort(micros.begin(), micros.end());
    return micros.empty()
               ? 0
               : micros[std::min(micros.size() - 1,
                                 static_cast<std::size_t>(share * static_cast<double>(micros.size())))];
  }
};

// Reads lines from a socket and reports when each was complete.
class Reader {
 public:
  explicit Reader(int fd) : fd_(fd) {}
  template <class Use>
  bool read(Use use) {
    char chunk[65536];
    const auto got = ::read(fd_, chunk, sizeof chunk);
    if (got <= 0) return false;
    const auto when = midi::steady_now();
    text_.append(chunk, static_cast<std::size_t>(got));
    for (std::size_t end; (end = text_.find('\n')) != std::string::npos; text_.erase(0, end + 1))
      use(text_.substr(0, end), when);
    return true;
  }

 private:
  int fd_;
  std::string text_;
};

std::int64_t member(const std::string& line, const char* name) {
  const auto at = line.find(name);
  return at == std::string::npos ? -1 : std::atoll(line.c_str() + at + std::strlen(name));
}

int connect_to(const std::filesystem::path& path) {
  const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::strncpy(address.sun_path, path.c_str(), sizeof address.sun_path - 1);
  if (connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) != 0)
    die("can't connect to " + path.string());
  return fd;
}

}  // namespace

int main(int argc, char** argv) {
  const int seconds = argc > 1 ? std::atoi(argv[1]) : 30;
  if (seconds < 1 || seconds > 600) die("seconds must be 1 to 600");
  char folder_name[] = "/tmp/undersong-bench-XXXXXX";
  if (!mkdtemp(folder_name)) die("no temporary folder");
  const std::filesystem::path folder = folder_name;
  {
    // Only notes, because each of them makes a moment.
    const auto file = midi::read_smf_file(UNDERSONG_SOURCE_DIR "/configs/demo.mid");
    if (!file) die(file.error().message);
    std::vector<midi::Event> notes;
    for (const auto& event : midi::merged_events(*file))
      if (event.kind() == midi::kNoteOn || event.kind() == midi::kNoteOff) notes.push_back(event);

    asio::io_context io{1};
    midi::Inputs inputs, floor_inputs;
    auto store =
        takes::Store::open({.path = folder / "takes.sqlite"},
                           {.deliver = [&](takes::Store::Work work) { asio::post(io, std::move(work)); },
                            .on_lines = {},
                            .on_health = {}});
    if (!store) die(store.error().message);
    std::unique_ptr<server::Server> server;
    bool moved = false;
    midi::SharedEchoGuard echoes;
    const Aside nowhere{[](auto) { return false; }, [](auto) {}};  // no request here needs another thread
    takes::Fetcher fetcher(**store, nowhere);
    song::Studies studies(**store, nowhere);
    live::Stage stage(live::StageOptions{},
                      {.inputs = inputs,
                       .store = **store,
                       .studies = studies,
                       .fetcher = fetcher,
                       .echoes = echoes,
                       .open_output = [](const std::string&) { return std::make_unique<Nowhere>(); },
                       .changed_output = [] {},
                       .changed_moment = [&] { moved = true; },
                       .changed_status = [] {},
                       .changed_deadline = [] {},
                       .utc_ms = [] { return std::int64_t{0}; }});
    server = std::make_unique<server::Server>(io,
                                              server::Server::Options{.socket = folder / "run/socket",
                                                                      .web = std::nullopt,
                                                                      .program_version = "bench",
                                                                      .places = {},
                                                                      .sketches = {},
                                                                      .devices = {}},
                                              stage, studies, fetcher);
    if (auto listening = server->start(); !listening) die(listening.error().message);

    asio::posix::stream_descriptor wake(io, inputs.wake_fd()), floor_wake(io, floor_inputs.wake_fd());
    std::vector<double> analysis_micros;
    // Deadlines between two messages are handled when they are reached, as in the daemon.
    asio::steady_timer due(io);
    std::optional<Micros> armed;
    std::function<void()> publish = [&] {
      for (int time = 0; time < 2; ++time) {  // the second time publishes what catch_up() changed
        const bool published = std::exchange(moved, false);
        if (published) server->publish_moment(stage.performance().moment());
        if (time == 0 && published) std::this_thread::yield();
        if (time == 0) stage.catch_up();
      }
      const auto next = stage.next_deadline();
      if (next == armed) return;
      armed = next;
      if (!next) return void(due.cancel());
      due.expires_at(
          asio::steady_timer::time_point(std::chrono::duration_cast<asio::steady_timer::duration>(*next)));
      due.async_wait([&](boost::system::error_code error) {
        if (error) return;
        armed.reset();
        stage.advance(midi::steady_now());
        publish();
      });
    };
    std::function<void()> listen = [&] {
      wake.async_wait(asio::posix::stream_descriptor::wait_read, [&](boost::system::error_code error) {
        if (error) return;
        inputs.drain([&](const midi::Event& event) {
          const auto before = std::chrono::steady_clock::now();
          stage.received(event);
          if (event.size == 3)
            analysis_micros.push_back(
                std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - before).count());
        });
        publish();
        listen();
      });
    };
    listen();
    // The other end of the floor: reads events and writes lines of the same length.
    Stream::acceptor acceptor(io, Stream::endpoint((folder / "floor").string()));
    Stream::socket floor_client(io);
    std::atomic<std::size_t> line_bytes{6000};
    std::string floor_line;
    std::function<void()> floor_listen = [&] {
      floor_wake.async_wait(asio::posix::stream_descriptor::wait_read, [&](boost::system::error_code error) {
        if (error) return;
        floor_inputs.drain([&](const midi::Event& event) {
          if (event.size != 3) return;
          floor_line = fmt::format("{{\"at\":{},\"", event.at.count());
          floor_line.resize(std::max<std::size_t>(line_bytes, 64) - 1, 'x');
          floor_line += '\n';
          boost::system::error_code ignored;
          asio::write(floor_client, asio::buffer(floor_line), ignored);
        });
        floor_listen();
      });
    };
    floor_listen();

    auto guard = asio::make_work_guard(io);
    std::thread io_thread([&] { io.run(); });
    const int real = connect_to(folder / "run/socket"), bare = connect_to(folder / "floor");
    acceptor.accept(floor_client);
    const std::string subscribe =
        "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"subscribe\",\"params\":{\"topics\":[\"moment\"]}}\n";
    if (::write(real, subscribe.data(), subscribe.size()) < 0) die("can't subscribe");

    std::mutex mutex;
    std::map<std::int64_t, bool> sent_real, sent_bare;  // times of events whose lines have not arrived
    Figures ours, floor;
    std::size_t fewest = 1000;
    std::atomic<bool> done{false};
    std::thread client([&] {
      Reader from_real(real), from_bare(bare);
      pollfd fds[2] = {{real, POLLIN, 0}, {bare, POLLIN, 0}};
      while (!done) {
        if (poll(fds, 2, 100) <= 0) continue;
        if (fds[0].revents & POLLIN)
          from_real.read([&](const std::string& line, Micros when) {
            const auto at = member(line, "\"at\":");
            const std::lock_guard held(mutex);
            if (sent_real.erase(at)) {
              ours.micros.push_back(static_cast<double>((when - Micros(at)).count()));
              line_bytes = line.size() + 1;
              std::size_t alternatives = 0;
              for (std::size_t p = 0; (p = line.find("\"degrees\"", p)) != std::string::npos; ++p)
                ++alternatives;
              fewest = std::min(fewest, alternatives ? alternatives : 1000);
            }
          });
        if (fds[1].revents & POLLIN)
          from_bare.read([&](const std::string& line, Micros when) {
            const auto at = member(line, "\"at\":");
            const std::lock_guard held(mutex);
            if (sent_bare.erase(at)) floor.micros.push_back(static_cast<double>((when - Micros(at)).count()));
          });
      }
    });

    midi::Lane* lane = inputs.lane("bench");
    midi::Lane* floor_lane = floor_inputs.lane("bench");
    auto next = std::chrono::steady_clock::now() + std::chrono::milliseconds(200);
    const int messages = seconds * 200;
    std::minstd_rand random(1);
    for (int i = 0; i < messages; ++i) {
      for (const bool is_real : {true, false}) {
        std::this_thread::sleep_until(next + std::chrono::microseconds(random() % kWithinMicros));
        next += kBetween / 2;
        midi::Event event = notes[static_cast<std::size_t>(i) % notes.size()];
        event.at = midi::steady_now();
        {
          const std::lock_guard held(mutex);
          (is_real ? sent_real : sent_bare)[event.at.count()] = true;
        }
        (is_real ? lane : floor_lane)->push(event);
      }
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    done = true;
    client.join();
    io.stop();
    io_thread.join();
    due.cancel();
    wake.release();
    floor_wake.release();
    ::close(real);
    ::close(bare);
    server->stop();

    Figures alone{std::move(analysis_micros)};
    fmt::print(
        "{} messages, 200 a second; {} bytes a moment, at least {} alternatives; {} in a later moment\n",
        messages, line_bytes.load(), fewest, sent_real.size());
    fmt::print("{:<28} {:>9} {:>9} {:>9}\n", "microseconds", "p50", "p99", "p99.9");
    const auto row = [](const char* name, Figures& f) {
      fmt::print("{:<28} {:>9.0f} {:>9.0f} {:>9.0f}\n", name, f.at(.5), f.at(.99), f.at(.999));
    };
    row("floor, nothing heard", floor);
    row("ours, to the moment", ours);
    row("analysis and log alone", alone);
    fmt::print("{:<28} {:>9.2f} {:>9.2f} {:>9.2f}\n", "ours as multiple of floor", ours.at(.5) / floor.at(.5),
               ours.at(.99) / floor.at(.99), ours.at(.999) / floor.at(.999));
  }
  std::filesystem::remove_all(folder);
}
