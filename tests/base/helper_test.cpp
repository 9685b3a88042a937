#include "daemon/base/helper.h"

#include <gtest/gtest.h>

#include <stdexcept>
#include <thread>

namespace undersong {
namespace {

TEST(Helper, WorksOnAnotherThreadAndGivesItsResult) {
  const auto mine = std::this_thread::get_id();
  Helper<bool> other("helper", [mine] { return std::this_thread::get_id() != mine; });
  EXPECT_TRUE(other.get());
}

TEST(Helper, ThrowsWhatTheJobThrows) {
  Helper<int> failing("helper", []() -> int { throw std::runtime_error("no"); });
  EXPECT_THROW(failing.get(), std::runtime_error);
}

TEST(Helper, IsOverWhenItsScopeIsLeft) {
  bool done = false;
  {
    Helper<int> unasked("helper", [&] { return done = true, 1; });
  }
  EXPECT_TRUE(done);
}

}  // namespace
}  // namespace undersong
