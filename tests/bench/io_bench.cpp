// Measures how long each request of the protocol keeps the thread `io` busy, with a take of 65 minutes: the
// time in all, and its longest piece.
//
// usage: io_bench [TIMES]      sends each request TIMES times; shows the median of the sums and the longest
// piece
#include <fmt/format.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "daemon/base/worker.h"
#include "daemon/live/stage.h"
#include "daemon/midi/smf.h"
#include "daemon/server/server.h"
#include "daemon/song/studies.h"
#include "protocol/messages.h"

namespace {

using namespace undersong;
namespace asio = boost::asio;
using Clock = std::chrono::steady_clock;

[[noreturn]] void die(const std::string& sentence) {
  fmt::print(stderr, "io_bench: {}\n", sentence);
  std::exit(1);
}

// An output that accepts everything.
class Taker : public midi::Sink {
 public:
  Result<void> tend() override { return {}; }
  bool connected() const override { return true; }
  const std::string& port_name() const override { return name_; }
  bool send(const midi::Event&) override { return true; }

 private:
  std::string name_ = "nowhere";
};

double micros(Clock::duration time) {
  return std::chrono::duration<double, std::micro>(time).count();
}

// Runs io on this thread and records how long its handlers take.
struct Io {
  asio::io_context context{1};
  double sum = 0, worst = 0;
  template <class Done>
  void run_until(Done done) {
    while (!done()) {
      const auto before = Clock::now();
      if (context.poll_one() == 0) {
        context.restart();
        std::this_thread::sleep_for(std::chrono::microseconds(100));
        continue;
      }
      const double took = micros(Clock::now() - before);
      sum += took;
      worst = std::max(worst, took);
    }
  }
  void forget() { sum = worst = 0; }
};

int connect_to(const std::filesystem::path& path) {
  const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::strncpy(address.sun_path, path.c_str(), sizeof address.sun_path - 1);
  if (connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) != 0)
    die("can't connect to " + path.string());
  return fd;
}

std::string read_line(int fd) {
  static std::string unread;
  for (;;) {
    if (const auto end = unread.find('\n'); end != std::string::npos) {
      std::string line = unread.substr(0, end);
      unread.erase(0, end + 1);
      return line;
    }
    static char bytes[1 << 16];
    const auto got = ::read(fd, bytes, sizeof bytes);
    if (got <= 0) die("the connection ended");
    unread.append(bytes, static_cast<std::size_t>(got));
  }
}

}  // namespace

int main(int argc, char** argv) {
  const int times = argc > 1 ? std::atoi(argv[1]) : 5;
  char folder_name[] = "/tmp/undersong-bench-XXXXXX";
  if (!mkdtemp(folder_name)) die("no temporary folder");
  const std::filesystem::path folder = folder_name;
  {
    const auto file = midi::read_smf_file(UNDERSONG_SOURCE_DIR "/configs/demo.mid");
    if (!file) die(file.error().message);
    const auto once = midi::merged_events(*file);
    const Micros length = once.back().at + Micros(1'000'000);
    std::vector<midi::Event> events;
    for (Micros from{}; from < std::chrono::minutes(65); from += length)
      for (midi::Event event : once) {
        event.at += from + Micros(1'000'000);
        events.push_back(event);
      }

    Io io;
    Worker answers("answers", {}, {.nice = 0, .most_waiting = server::Server::kMostAnswersWaiting});
    Worker worker("aside");
    const auto on = [&](Worker& thread) {
      return Aside([&thread](Worker::Work work) { return thread.run(std::move(work)); },
                   [&io](Worker::Work work) { asio::post(io.context, std::move(work)); });
    };
    midi::Inputs inputs;
    auto opened = takes::Store::open(
        {.path = folder / "takes.sqlite"},
        {.deliver = [&](takes::Store::Work work) { asio::post(io.context, std::move(work)); },
         .on_lines = {},
         .on_health = {}});
    if (!opened) die(opened.error().message);
    takes::Store& store = **opened;
    midi::SharedEchoGuard echoes;
    takes::Fetcher fetcher(store, on(answers));
    song::Studies studies(store, on(worker));
    live::Stage stage(live::StageOptions{},
                      {.inputs = inputs,
                       .store = store,
                       .studies = studies,
                       .fetcher = fetcher,
                       .echoes = echoes,
                       .open_output = [](const std::string&) { return std::make_unique<Taker>(); },
                       .changed_output = [] {},
                       .changed_moment = [] {},
                       .changed_status = [] {},
                       .changed_deadline = [] {},
                       .utc_ms = [] { return std::int64_t{1'790'000'000'000}; },
                       .follows_file = true});
    server::Server server(io.context,
                          server::Server::Options{.socket = folder / "run/socket",
                                                  .web = std::nullopt,
                                                  .program_version = "bench",
                                                  .places = {},
                                                  .sketches = folder / "sketches"},
                          stage, studies, fetcher);
    if (auto listening = server.start(); !listening) die(listening.error().message);
    for (const auto& event : events) {
      stage.received(event);
      stage.catch_up();
    }
    std::atomic<bool> done{false};
    stage.performance().end_take(events.back().at, takes::EndReason::kRequest,
                                 [&](Result<std::uint64_t> number) {
                                   if (!number) die(number.error().message);
                                   done = true;
                                 });
    io.run_until([&] { return done.load(); });
    fmt::print("a take of {:.0f} minutes, {} events\n",
               std::chrono::duration<double>(events.back().at).count() / 60, events.size());
    // Requests need something to be about: a melody note over a chord, and a steady pulse.
    Micros at = events.back().at + Micros(5'000'000);
    for (int beat = 0; beat < 24; ++beat)
      for (const int key : {48, 55, 64, 71, 76}) {
        stage.received(midi::note_on(at + Micros(600'000) * beat, 0, Pitch(key), Velocity(70)));
        stage.catch_up();
        if (beat < 23)
          stage.received(midi::note_off(at + Micros(600'000) * beat + Micros(400'000), 0, Pitch(key)));
        stage.catch_up();
      }

    std::atomic<int> fd{-1};
    std::thread connecting([&] {
      fd = connect_to(folder / "run/socket");
      (void)read_line(fd);
    });
    std::atomic<bool> greeted{false};
    std::thread waiting([&] {
      connecting.join();
      greeted = true;
    });
    io.run_until([&] { return greeted.load(); });
    waiting.join();

    fmt::print("{:<20} {:>12} {:>12} {:>12}  {}\n", "microseconds on io", "median sum", "worst piece",
               "bytes", "answer");
    int id = 0;
    const auto ask = [&](const std::string& method, const std::string& params) {
      std::vector<double> sums;
      double worst = 0;
      std::string answer;
      for (int time = 0; time < times; ++time) {
        answer.clear();
        io.forget();
        std::atomic<bool> answered{false};
        const std::string number = std::to_string(++id);
        std::thread asking([&] {
          const std::string text = R"({"jsonrpc":"2.0","id":)" + number + R"(,"method":")" + method +
                                   R"(","params":)" + params + "}\n";
          if (::write(fd, text.data(), text.size()) < 0) die("can't ask");
          do answer = read_line(fd);
          while (!answer.ends_with(R"("id":)" + number + "}"));
          answered = true;
        });
        io.run_until([&] { return answered.load(); });
        asking.join();
        sums.push_back(io.sum);
        worst = std::max(worst, io.worst);
      }
      std::sort(sums.begin(), sums.end());
      const auto error = answer.find(R"("error")");
      fmt::print("{:<20} {:>12.0f} {:>12.0f} {:>12}  {}\n", method, sums[sums.size() / 2], worst,
                 answer.size(), error == std::string::npos ? "" : answer.substr(error, 90));
      std::fflush(stdout);
    };
    boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>(
        [&](auto message) {
          using T = typename decltype(message)::type;
          if constexpr (std::is_same_v<T, protocol::Subscribe> || std::is_same_v<T, protocol::DeleteTake>)
            return;
          auto params = protocol::read_text<T>(T::kExample, "params");
          if constexpr (requires { params->take = 1; }) params->take = 1;
          if constexpr (requires { params->takes = {1}; }) params->takes = {1};
          if constexpr (requires { params->revision.reset(); }) params->revision.reset();
          if constexpr (std::is_same_v<T, protocol::GetEvents>) params->limit = 2000, params->from = 1;
          if constexpr (std::is_same_v<T, protocol::GetSketch>) params->spans = 1000;
          if constexpr (std::is_same_v<T, protocol::PlayTake>) params->from_us.reset(), params->to_us.reset();
          if constexpr (std::is_same_v<T, protocol::PlayAlong>) params->chords.reset();
          if constexpr (std::is_same_v<T, protocol::Hear>) params->list.reset();
          if constexpr (std::is_same_v<T, protocol::CorrectTake>) params->at = 30'000'000;
          if constexpr (std::is_same_v<T, protocol::FindMoments>)
            params->question = "any chord under G", params->limit = 200;
          ask(T::kMethod, protocol::to_json(*params));
        });
    ask("beat.correct", R"({"what":"half","take":1})");
    server.stop();
    answers.stop();
    worker.stop();
    ::close(fd);
  }
  std::filesystem::remove_all(folder);
}
