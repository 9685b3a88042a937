#include "daemon/midi/file_source.h"

#include <pthread.h>
#include <spdlog/fmt/fmt.h>

#include <cmath>
#include <condition_variable>
#include <thread>

#include "daemon/midi/smf.h"

namespace undersong::midi {

class FileSource::Player {
 public:
  Player(FileOptions options, Inputs& inputs) : options_(std::move(options)), inputs_(inputs) {}
  ~Player() { stop(); }

  Result<void> start() {
    if (!(options_.speed > 0))
      return invalid_input(fmt::format("The playback speed must be above 0, not {}.", options_.speed));
    auto file = read_smf_file(options_.path);
    if (!file) return file.error();
    events_ = merged_events(*file);
    lane_ = inputs_.lane(options_.path.filename().string());
    if (!lane_)
      return Error{ErrorCode::kExhausted, fmt::format("{} cannot be played: there are already {} inputs.",
                                                      options_.path.string(), Inputs::kMostInputs)};
    inputs_.announce(Notice::kPortCame, *lane_);
    thread_ = std::thread([this] { run(); });
    pthread_setname_np(thread_.native_handle(), "midi-file");
    return {};
  }

  void stop() {
    if (!thread_.joinable()) return;
    {
      const std::lock_guard lock(mutex_);
      stopping_ = true;
    }
    changed_.notify_all();
    thread_.join();
    inputs_.announce(Notice::kPortGone, *lane_);
  }

 private:
  void run() {
    const auto started = std::chrono::steady_clock::now();
    const Micros base = steady_now();
    Micros last = base;
    for (Event event : events_) {
      // 0 at infinite speed, so nothing waits
      const double wait = static_cast<double>(event.at.count()) / options_.speed;
      event.at += base;
      if (wait > 0 && !wait_until(started, wait, base, event.at)) return;
      last = event.at;
      if (!give(event)) return;
    }
    give(standing_at(last + kAfter));  // so that the last notes are analysed before the end
    give(make_notice(Notice::kEnded, lane_->port(), last));
  }

  static Event standing_at(Micros at) {
    Event nothing;
    nothing.at = at;
    return nothing;
  }

  // Waits `wait` microseconds from `started`, until the event at `next` is due. False when playback was
  // stopped meanwhile.
  bool wait_until(std::chrono::steady_clock::time_point started, double wait, Micros base, Micros next) {
    const auto due = started + Micros(static_cast<std::int64_t>(wait));
    for (;;) {
      const auto now = std::chrono::steady_clock::now();
      if (now + kTell >= due) return sleep_until(due);
      if (!sleep_until(now + kTell)) return false;
      const double passed =
          std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - started).count();
      const Micros here = base + Micros(static_cast<std::int64_t>(passed * options_.speed));
      if (here < next && lane_->has_room()) lane_->push(standing_at(here));
    }
  }

  // False when playback was stopped meanwhile.
  bool sleep_until(std::chrono::steady_clock::time_point when) {
    std::unique_lock lock(mutex_);
    return !changed_.wait_until(lock, when, [&] { return stopping_; });
  }

  // We are the only writer: a lane that has room now still has room when we push. False when playback was
  // stopped meanwhile.
  bool give(const Event& event) {
    while (!lane_->has_room()) {
      if (!sleep_until(std::chrono::steady_clock::now() + std::chrono::milliseconds(1))) return false;
    }
    lane_->push(event);
    return true;
  }

  static constexpr std::chrono::milliseconds kTell{10};
  const FileOptions options_;
  Inputs& inputs_;
  // Written by the owner before the thread starts, then only read by the thread.
  std::vector<Event> events_;
  Lane* lane_ = nullptr;
  std::thread thread_;
  std::mutex mutex_;  // guards stopping_
  std::condition_variable changed_;
  // Written by the owner, read by the player's thread.
  bool stopping_ = false;
};

FileSource::FileSource(FileOptions options, Inputs& inputs)
    : player_(std::make_unique<Player>(std::move(options), inputs)) {}
FileSource::~FileSource() = default;
Result<void> FileSource::start() {
  return player_->start();
}
void FileSource::stop() {
  player_->stop();
}

}  // namespace undersong::midi
