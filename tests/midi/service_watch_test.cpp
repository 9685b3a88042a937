#include "daemon/midi/service_watch.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <condition_variable>
#include <filesystem>
#include <fstream>
#include <mutex>

namespace undersong::midi {
namespace {

class ServiceFiles : public testing::Test {
 protected:
  void SetUp() override {
    const testing::TestInfo& test = *testing::UnitTest::GetInstance()->current_test_info();
    folder_ = std::filesystem::temp_directory_path() /
              ("undersong-" + std::string(test.name()) + "-" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder_);
  }
  void TearDown() override { std::filesystem::remove_all(folder_); }
  void came() {
    const std::lock_guard lock(mutex_);
    ++times_;
    changed_.notify_all();
  }
  int times() {
    const std::lock_guard lock(mutex_);
    return times_;
  }
  bool wait_for(int times) {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, std::chrono::seconds(20), [&] { return times_ >= times; });
  }
  std::filesystem::path folder_;
  std::mutex mutex_;
  std::condition_variable changed_;
  int times_ = 0;
};

TEST_F(ServiceFiles, AFileOfTheWantedNameIsToldAndOthersAreNot) {
  const auto watch = ServiceWatch::begin({{folder_, "jack"}, {folder_ / "missing", ""}}, [this] { came(); });
  ASSERT_TRUE(watch);
  // The kernel tells in order: when the second is told, the first was passed over.
  std::ofstream(folder_ / "browser") << "";
  std::ofstream(folder_ / "jack_default_0_0") << "";
  EXPECT_TRUE(wait_for(1));
  EXPECT_EQ(times(), 1) << "only for the file of JACK";
  std::ofstream(folder_ / "jack_default_0_1") << "";
  EXPECT_TRUE(wait_for(2));
  EXPECT_EQ(times(), 2);
}

TEST_F(ServiceFiles, NothingToWatchIsSaidAndTheEndWaitsForNoFile) {
  EXPECT_FALSE(ServiceWatch::begin({{folder_ / "missing", "jack"}}, [] {}));
  const auto watch = ServiceWatch::begin({{folder_, "jack"}}, [this] { came(); });
  EXPECT_TRUE(watch);
  EXPECT_EQ(times(), 0);
}

}  // namespace
}  // namespace undersong::midi
