// Measures how long each request of the protocol keeps the thread `io` busy, with a take of 65 minutes:
// processor time in all, and of its longest piece.
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
#include <ctime>
#include <filesystem>
#include <memory>
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

// Of this thread's processor time: what others do on a busy machine does not count.
double micros() {
  timespec time{};
  ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) * 1e6 + static_cast<double>(time.tv_nsec) / 1e3;
}

// Runs io on this thread and records how long its handlers take.
struct Io {
  asio::io_context context{1};
  double sum = 0, worst = 0;
  template <class Done>
  void run_until(Done done) {
    while (!done()) {
      const double before = micros();
      if (context.poll_one() == 0) {
        context.restart();
        std::this_thread::sleep_for(std::chrono::microseconds(100));
        continue;
      }
      const double took = micros() - before;
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

// The demo performance, over and over.
std::vector<midi::Event> played_for(Micros wanted) {
  const auto file = midi::read_smf_file(UNDERSONG_SOURCE_DIR "/configs/demo.mid");
  if (!file) die(file.error().message);
  const auto once = midi::merged_events(*file);
  const Micros length = once.back().at + Micros(1'000'000);
  std::vector<midi::Event> events;
  for (Micros from{}; from < wanted; from += length)
    for (midi::Event event : once) {
      event.at += from + Micros(1'000'000);
      events.push_back(event);
    }
  return events;
}

std::unique_ptr<takes::Store> open_store(const std::filesystem::path& file, Io& io) {
  auto opened = takes::Store::open(
      {.path = file}, {.deliver = [&io](takes::Store::Work work) { asio::post(io.context, std::move(work)); },
                       .on_lines = {},
                       .on_health = {}});
  if (!opened) die(opened.error().message);
  return std::move(*opened);
}

// A daemon's inside on one thread, and one client.
class Bench {
 public:
  explicit Bench(const std::filesystem::path& folder) : store_(open_store(folder / "takes.sqlite", io_)) {
    server_ = std::make_unique<server::Server>(io_.context,
                                               server::Server::Options{.socket = folder / "run/socket",
                                                                       .web = std::nullopt,
                                                                       .program_version = "bench",
                                                                       .places = {},
                                                                       .sketches = folder / "sketches",
                                                                       .devices = {}},
                                               stage_, studies_, fetcher_);
    if (auto listening = server_->start(); !listening) die(listening.error().message);
    wait_for([&] {
      fd_ = connect_to(folder / "run/socket");
      (void)read_line(fd_);
    });
  }
  ~Bench() {
    server_->stop();
    answers_.stop();
    worker_.stop();
    ::close(fd_);
  }

  // Becomes take 1.
  void record(const std::vector<midi::Event>& events) {
    for (const auto& event : events) hear(event);
    bool ended = false;
    stage_.performance().end_take(events.back().at, takes::EndReason::kRequest,
                                  [&](Result<std::uint64_t> number) {
                                    if (!number) die(number.error().message);
                                    ended = true;
                                  });
    io_.run_until([&] { return ended; });
  }
  // Something to ask about: a melody note over a chord, and a steady pulse.
  void hold_a_chord(Micros at) {
    constexpr Micros kBeat{600'000};
    constexpr int kBeats = 24;
    for (int beat = 0; beat < kBeats; ++beat)
      for (const int key : {48, 55, 64, 71, 76}) {
        hear(midi::note_on(at + kBeat * beat, 0, Pitch(key), Velocity(70)));
        if (beat + 1 < kBeats) hear(midi::note_off(at + kBeat * beat + kBeat / 2, 0, Pitch(key)));
      }
  }
  // Asks so many times, and prints what it cost.
  void ask(const std::string& method, const std::string& params, int times) {
    std::vector<double> sums;
    double worst = 0;
    std::string answer;
    for (int time = 0; time < times; ++time) {
      io_.forget();
      const std::string id = std::to_string(++id_);
      wait_for([&] {
        const std::string text =
            R"({"jsonrpc":"2.0","id":)" + id + R"(,"method":")" + method + R"(","params":)" + params + "}\n";
        if (::write(fd_, text.data(), text.size()) < 0) die("can't ask");
        do answer = read_line(fd_);
        while (!answer.ends_with(R"("id":)" + id + "}"));
      });
      sums.push_back(io_.sum);
      worst = std::max(worst, io_.worst);
    }
    std::sort(sums.begin(), sums.end());
    const auto error = answer.find(R"("error")");
    fmt::print("{:<20} {:>12.0f} {:>12.0f} {:>12}  {}\n", method, sums[sums.size() / 2], worst, answer.size(),
               error == std::string::npos ? "" : answer.substr(error, 90));
    std::fflush(stdout);
  }

 private:
  Aside on(Worker& thread) {
    return {[&thread](Worker::Work work) { return thread.run(std::move(work)); },
            [this](Worker::Work work) { asio::post(io_.context, std::move(work)); }};
  }
  void hear(const midi::Event& event) {
    stage_.received(event);
    stage_.catch_up();
  }
  // Does it on a thread of its own, while io runs here.
  template <class Job>
  void wait_for(Job job) {
    std::atomic<bool> done{false};
    std::thread other([&] {
      job();
      done = true;
    });
    io_.run_until([&] { return done.load(); });
    other.join();
  }

  Io io_;
  midi::Inputs inputs_;
  midi::SharedEchoGuard echoes_;
  std::unique_ptr<takes::Store> store_;
  Worker answers_{"answers", {}, {.nice = 0, .most_waiting = server::Server::kMostAnswersWaiting}};
  Worker worker_{"aside"};
  takes::Fetcher fetcher_{*store_, on(answers_)};
  song::Studies studies_{*store_, on(worker_)};
  live::Stage stage_{live::StageOptions{},
                     {.inputs = inputs_,
                      .store = *store_,
                      .studies = studies_,
                      .fetcher = fetcher_,
                      .echoes = echoes_,
                      .open_output = [](const std::string&) { return std::make_unique<Taker>(); },
                      .changed_output = [] {},
                      .changed_moment = [] {},
                      .changed_status = [] {},
                      .changed_deadline = [] {},
                      .utc_ms = [] { return std::int64_t{1'790'000'000'000}; },
                      .follows_file = true}};
  std::unique_ptr<server::Server> server_;
  int fd_ = -1;
  int id_ = 0;
};

// The example of a request, asking as much as can be asked of take 1.
template <class T>
std::string params_of() {
  auto params = protocol::read_text<T>(T::kExample, "params");
  if constexpr (requires { params->take = 1; }) params->take = 1;
  if constexpr (requires { params->takes = {1}; }) params->takes = {1};
  if constexpr (requires { params->revision.reset(); }) params->revision.reset();
  if constexpr (std::is_same_v<T, protocol::GetEvents>) params->limit = 2000, params->from = 1;
  if constexpr (std::is_same_v<T, protocol::GetThumbnail>) params->spans = 1000;
  if constexpr (std::is_same_v<T, protocol::PlayTake>) params->from_us.reset(), params->to_us.reset();
  if constexpr (std::is_same_v<T, protocol::PlayAlong>) params->chords.reset();
  if constexpr (std::is_same_v<T, protocol::Hear>) params->list.reset();
  if constexpr (std::is_same_v<T, protocol::CorrectTake>) params->at = 30'000'000;
  if constexpr (std::is_same_v<T, protocol::CorrectBeat>) params->at = 30'000'000;
  if constexpr (std::is_same_v<T, protocol::FindMoments>)
    params->question = "any chord under G", params->limit = 200;
  return protocol::to_json(*params);
}

}  // namespace

int main(int argc, char** argv) {
  const int times = argc > 1 ? std::atoi(argv[1]) : 5;
  if (times < 1 || times > 1000) die("times must be 1 to 1000");
  char folder_name[] = "/tmp/undersong-bench-XXXXXX";
  if (!mkdtemp(folder_name)) die("no temporary folder");
  {
    Bench bench(folder_name);
    const auto events = played_for(std::chrono::minutes(65));
    bench.record(events);
    bench.hold_a_chord(events.back().at + Micros(5'000'000));
    fmt::print("a take of {:.0f} minutes, {} events\n",
               std::chrono::duration<double>(events.back().at).count() / 60, events.size());
    fmt::print("{:<20} {:>12} {:>12} {:>12}  {}\n", "microseconds on io", "median sum", "worst piece",
               "bytes", "answer");
    boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>(
        [&](auto message) {
          using T = typename decltype(message)::type;
          // Neither what is told unasked nor a take that is gone should be in the way of the others.
          if constexpr (!std::is_same_v<T, protocol::Subscribe> && !std::is_same_v<T, protocol::DeleteTake>)
            bench.ask(T::kMethod, params_of<T>(), times);
        });
  }
  std::filesystem::remove_all(folder_name);
}
