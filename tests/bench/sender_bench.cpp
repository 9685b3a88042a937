// Measures how punctual our playing is: the time when a message was handed to the MIDI service, minus the
// time when it was due.
//
// usage: sender_bench [SECONDS]
//
// Plays over JACK if a server is there (tests/transport/with_jack.sh), otherwise into nothing. It measures
// once with nothing else to do, and once while another thread analyses 400 notes a second.
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <thread>

#include "daemon/listen/analysis.h"
#include "daemon/midi/output.h"
#include "daemon/midi/source.h"

namespace {

using namespace undersong;
using namespace std::chrono_literals;

class Nothing final : public midi::Sink {
 public:
  Result<void> tend() override { return {}; }
  bool connected() const override { return true; }
  const std::string& port_name() const override { return name_; }
  bool send(const midi::Event&) override { return true; }

 private:
  std::string name_ = "nothing";
};

void listen_hard(const std::atomic<bool>& stop) {
  listen::Analysis analysis;
  for (int i = 0; !stop; ++i) {
    const Micros at = midi::steady_now();
    const Pitch pitch(36 + i * 7 % 48);
    listen::drive(analysis, midi::note_on(at, 0, pitch, Velocity(70)), [](const auto&) {});
    listen::drive(analysis, midi::note_off(midi::steady_now(), 0, Pitch(36 + (i + 44) * 7 % 48)),
                  [](const auto&) {});
    std::this_thread::sleep_for(2500us);
  }
}

void measure(const char* name, int seconds, bool traffic) {
  std::vector<std::int64_t> late;
  late.reserve(1'000'000);
  auto output = std::make_unique<midi::Output>(
      midi::OutputOptions{
          .backend = midi::BackendKind::kAuto, .name = "", .client_name = "Bench", .virtual_port = "out"},
      midi::Say{});
  std::unique_ptr<midi::Sink> sink;
  const bool real = static_cast<bool>(output->tend());
  if (real)
    sink = std::move(output);
  else
    sink = std::make_unique<Nothing>();
  midi::Sender sender(
      std::move(sink), [] {},
      [&](const midi::Event& event) { late.push_back((midi::steady_now() - event.at).count()); });
  while (!sender.connected()) std::this_thread::sleep_for(5ms);
  auto score = std::make_shared<midi::Score>();
  for (int i = 0; i < seconds * 40; ++i) {  // chords at uneven times
    const Micros at(25'000 * i + i * i % 7919);
    for (int key = 0; key < 4; ++key) {
      score->events.push_back(midi::note_on(at, 0, Pitch(48 + 4 * key + i % 3), Velocity(1)));
      score->events.push_back(midi::note_off(at + Micros(9'000), 0, Pitch(48 + 4 * key + i % 3)));
    }
  }
  std::stable_sort(score->events.begin(), score->events.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
  score->length = score->events.back().at;
  std::atomic<bool> stop{false};
  std::thread other;
  if (traffic) other = std::thread([&] { listen_hard(stop); });
  const std::size_t all = score->events.size();
  const Micros end = midi::steady_now() + Micros(100'000) + score->length + Micros(500'000);
  sender.play(std::move(score), midi::steady_now() + Micros(100'000));
  while (midi::steady_now() < end) std::this_thread::sleep_for(20ms);
  sender.stop();
  stop = true;
  if (other.joinable()) other.join();
  std::sort(late.begin(), late.end());
  const auto at = [&](double share) {
    return late.empty() ? -1
                        : late[std::min(late.size() - 1,
                                        static_cast<std::size_t>(share * static_cast<double>(late.size())))];
  };
  std::printf(
      "%-22s %-8s %6zu of %zu messages  p50 %5lld  p99 %5lld  p99.9 %5lld  max %6lld microseconds late\n",
      name, real ? "JACK" : "nothing", late.size(), all, static_cast<long long>(at(.5)),
      static_cast<long long>(at(.99)), static_cast<long long>(at(.999)),
      static_cast<long long>(late.empty() ? -1 : late.back()));
}

}  // namespace

int main(int argc, char** argv) {
  const int seconds = argc > 1 ? std::max(1, std::atoi(argv[1])) : 10;
  measure("idle", seconds, false);
  measure("with analysis traffic", seconds, true);
}
