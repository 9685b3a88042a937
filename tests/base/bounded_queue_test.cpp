#include "daemon/base/bounded_queue.h"

#include <gtest/gtest.h>

#include <thread>
#include <vector>

namespace undersong {
namespace {

TEST(BoundedQueue, GivesMessagesBackInOrder) {
  BoundedQueue<int> queue(4);
  EXPECT_TRUE(queue.empty());
  EXPECT_EQ(queue.pop(), std::nullopt);
  for (int i = 0; i < 4; ++i) EXPECT_TRUE(queue.push(i));
  EXPECT_FALSE(queue.empty());
  for (int i = 0; i < 4; ++i) EXPECT_EQ(queue.pop(), i);
  EXPECT_EQ(queue.pop(), std::nullopt);
  EXPECT_EQ(queue.dropped(), 0u);
}

TEST(BoundedQueue, CountsWhatDidNotFitAndKeepsWhatWasThere) {
  BoundedQueue<int> queue(3);
  for (int i = 0; i < 10; ++i) EXPECT_EQ(queue.push(i), i < 3);
  EXPECT_EQ(queue.dropped(), 7u);
  std::vector<int> got;
  EXPECT_EQ(queue.consume([&](int v) { got.push_back(v); }), 3u);
  EXPECT_EQ(got, (std::vector<int>{0, 1, 2}));
  EXPECT_TRUE(queue.push(11)) << "room again after reading";
  EXPECT_EQ(queue.pop(), 11);
}

TEST(BoundedQueue, PushPromisesNotToThrow) {
  static_assert(noexcept(std::declval<BoundedQueue<int>&>().push(1)));
}

TEST(BoundedQueue, LosesNothingBetweenTwoThreadsWithoutCountingIt) {
  BoundedQueue<std::uint64_t> queue(64);
  constexpr std::uint64_t kMessages = 200'000;
  std::atomic<bool> done{false};
  std::thread writer([&] {
    for (std::uint64_t i = 1; i <= kMessages; ++i) queue.push(i);
    done = true;
  });
  std::uint64_t received = 0, last = 0;
  bool ordered = true;
  for (;;) {
    const bool finished = done;  // read before draining, so that everything pushed earlier is drained now
    const std::size_t n = queue.consume([&](std::uint64_t v) {
      ordered = ordered && v > last;
      last = v;
      ++received;
    });
    if (n == 0 && finished) break;
    if (n == 0) std::this_thread::yield();
  }
  writer.join();
  EXPECT_TRUE(ordered);
  EXPECT_EQ(received + queue.dropped(), kMessages);
}

}  // namespace
}  // namespace undersong
