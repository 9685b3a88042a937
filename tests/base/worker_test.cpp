#include "daemon/base/worker.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <future>
#include <memory>
#include <vector>

namespace undersong {
namespace {

template <class T>
T within_time(std::future<T> future) {
  EXPECT_EQ(future.wait_for(std::chrono::seconds(30)), std::future_status::ready);
  return future.get();
}

TEST(Worker, RunsWorkInOrderOnAThreadOfItsOwnThatGivesWay) {
  Worker worker("study");
  std::vector<int> order;
  std::promise<std::pair<std::thread::id, int>> where;
  for (int i = 0; i < 10; ++i) ASSERT_TRUE(worker.run([&, i] { order.push_back(i); }));
  ASSERT_TRUE(worker.run([&] {
    where.set_value({std::this_thread::get_id(), getpriority(PRIO_PROCESS, 0)});
  }));
  const auto [thread, nice] = within_time(where.get_future());
  EXPECT_NE(thread, std::this_thread::get_id());
  EXPECT_GT(nice, 0);
  EXPECT_EQ(order, (std::vector<int>{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}));
}

TEST(Worker, RefusesWhatDoesNotFitInItsLine) {
  Worker worker("study");
  std::promise<void> started, release;
  auto go = release.get_future().share();
  ASSERT_TRUE(worker.run([&started, go] {
    started.set_value();
    go.wait();
  }));
  within_time(started.get_future());
  for (std::size_t i = 0; i < Worker::kMostWaiting; ++i) EXPECT_TRUE(worker.run([] {}));
  EXPECT_FALSE(worker.run([] {}));
  release.set_value();
}

TEST(Worker, StopWaitsForWhatIsUnderWayAndDropsTheRest) {
  std::promise<void> started, release;
  auto go = release.get_future().share();
  bool finished = false, begun = false;
  Worker worker("study");
  ASSERT_TRUE(worker.run([&started, go, &finished] {
    started.set_value();
    go.wait();
    finished = true;
  }));
  within_time(started.get_future());
  auto waits = std::make_shared<int>(1);
  ASSERT_TRUE(worker.run([&begun, waits] { begun = true; }));
  std::thread stopper([&] { worker.stop(); });
  while (waits.use_count() > 1) std::this_thread::yield();  // until the worker drops the waiting job
  release.set_value();
  stopper.join();
  EXPECT_TRUE(finished);
  EXPECT_FALSE(begun);
  EXPECT_FALSE(worker.run([] {}));
}

TEST(Worker, WorkThatThrowsIsGivenUpAndTheNextIsDone) {
  std::vector<std::string> said;
  Worker worker("study", [&](const Error& error) { said.push_back(error.message); });
  std::promise<void> done;
  ASSERT_TRUE(worker.run([] { throw std::bad_alloc(); }));
  ASSERT_TRUE(worker.run([] { throw 7; }));
  ASSERT_TRUE(worker.run([&] { done.set_value(); }));
  within_time(done.get_future());
  worker.stop();
  ASSERT_EQ(said.size(), 2u);
  EXPECT_NE(said[0].find("not enough memory"), std::string::npos) << said[0];
}

}  // namespace
}  // namespace undersong
