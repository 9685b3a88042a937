// For tests: a store on a real file in its own directory, and everything it reports.
//
// Units: Micros on a clock that the test chooses.
// Threads: the test's thread; reports arrive on the store's thread and are kept under a lock.
// Errors: a failed expectation fails the test.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <condition_variable>
#include <filesystem>
#include <future>
#include <mutex>

#include "daemon/takes/store.h"
#include "tests/base/times.h"

namespace undersong::takes {

struct TemporaryFolder {
  TemporaryFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "undersong-test-XXXXXX").string();
    path = ::mkdtemp(name.data());
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path, ignored);
  }
  std::filesystem::path path;
};

// Collects what a store reports. Waits for conditions, never only for time to pass.
class Reported {
 public:
  Store::Reports reports() {
    return {{},
            [this](std::vector<Line> lines) {
              std::lock_guard lock(mutex_);
              for (Line& line : lines) lines_.push_back(std::move(line));
              changed_.notify_all();
            },
            [this](Health health) {
              std::lock_guard lock(mutex_);
              health_ = std::move(health);
              changed_.notify_all();
            }};
  }
  template <class Condition>
  bool wait(Condition condition) {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, std::chrono::seconds(30), [&] { return condition(lines_, health_); });
  }
  bool wait_for_lines(std::size_t n) {
    return wait([n](const auto& lines, const auto&) { return lines.size() >= n; });
  }
  std::vector<Line> lines() {
    std::lock_guard lock(mutex_);
    return lines_;
  }
  Health health() {
    std::lock_guard lock(mutex_);
    return health_;
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<Line> lines_;
  Health health_;
};

inline std::unique_ptr<Store> open_store(const std::filesystem::path& path, Reported& reported,
                                         Store::Options options = {}) {
  options.path = path;
  options.retry_every = std::chrono::milliseconds(20);
  auto store = Store::open(std::move(options), reported.reports());
  EXPECT_TRUE(store) << store.error().message;
  return store ? std::move(*store) : nullptr;
}

// Sends a request and waits for the answer: now<Found>([&](auto answer) { store.list({}, answer); }).
template <class T, class Ask>
Result<T> now(Ask ask) {
  auto promise = std::make_shared<std::promise<Result<T>>>();
  auto future = promise->get_future();
  ask([promise](Result<T> result) { promise->set_value(std::move(result)); });
  if (future.wait_for(std::chrono::seconds(30)) != std::future_status::ready)
    return unavailable("no answer in 30 s");
  return future.get();
}
inline Result<LineNumber> appended(Store& store, Entry entry) {
  return now<LineNumber>([&](auto answer) { store.append(std::move(entry), answer); });
}
inline std::vector<Line> lines_of(Store& store, std::optional<TakeId> take = {}, LineNumber from = 1,
                                  std::size_t limit = 1'000'000) {
  auto lines = now<std::vector<Line>>([&](auto answer) { store.lines(take, from, limit, {}, answer); });
  EXPECT_TRUE(lines) << lines.error().message;
  return lines ? *lines : std::vector<Line>{};
}
inline void expect_no_gaps(const std::vector<Line>& lines, LineNumber first = 1) {
  for (std::size_t i = 0; i < lines.size(); ++i) ASSERT_EQ(lines[i].number, first + i);
}

inline Entry note(std::int64_t at, int key, int velocity = 80) {
  return midi_received(midi::note_on(us(at), 0, Pitch(key), Velocity(velocity)));
}

inline listen::Reading reading(int root, std::string_view quality, int fifths, int bass = -1) {
  listen::Reading r;
  r.chord = {PitchClass(root), harmony::quality(quality), PitchClass(bass < 0 ? root : bass)};
  r.root_name = harmony::NoteName(fifths);
  r.confidence = 0.8125f;
  return r;
}

}  // namespace undersong::takes
