#include "daemon/midi/jack_turn.h"

#include <jack/jack.h>

#include <atomic>
#include <string_view>

namespace undersong::midi {
namespace {

std::recursive_timed_mutex mutex;
std::atomic<std::uint32_t> sweep_count{0};    // written in a turn, read by any thread
std::atomic<void (*)()> when_swept{nullptr};  // written in a turn

}  // namespace

std::optional<JackTurn> JackTurn::take(std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex, patience);
  if (!lock) return std::nullopt;
  return JackTurn(std::move(lock));
}

void JackTurn::watch_sweeps(void (*swept)()) {
  when_swept = swept;
  // libjack writes to stderr at every failed attempt to reach a server. We report that ourselves, once.
  jack_set_info_function([](const char*) {});
  jack_set_error_function([](const char* message) {
    if (std::string_view(message).find("clients are still allocated") == std::string_view::npos) return;
    ++sweep_count;
    if (const auto told = when_swept.load()) told();
  });
}

std::uint32_t JackTurn::sweeps() {
  return sweep_count;
}

}  // namespace undersong::midi
