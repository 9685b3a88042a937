#include "daemon/base/caught.h"

#include <gtest/gtest.h>

#include <limits>
#include <new>
#include <vector>

namespace undersong {
namespace {

TEST(Guarded, GivesTheResultOrWhatWasThrownInASentence) {
  EXPECT_EQ(*guarded<int>("it was tried", []() -> Result<int> { return 7; }), 7);
  EXPECT_EQ(
      guarded<int>("it was tried", []() -> Result<int> { return not_found("Nothing."); }).error().message,
      "Nothing.");
  const auto memory = guarded<int>("it was tried", []() -> Result<int> { throw std::bad_alloc(); });
  EXPECT_EQ(memory.error().code, ErrorCode::kExhausted);
  EXPECT_EQ(memory.error().message,
            "There was not enough memory while it was tried; everything else goes on.");
  const auto length = guarded<int>("it was tried", []() -> Result<int> {
    std::vector<int>().reserve(std::numeric_limits<std::size_t>::max());
    return 0;
  });
  EXPECT_EQ(length.error().code, ErrorCode::kExhausted);
  const auto fault =
      guarded<int>("it was tried", []() -> Result<int> { throw std::out_of_range("place 7"); });
  EXPECT_EQ(fault.error().code, ErrorCode::kInternal);
  EXPECT_EQ(fault.error().message,
            "An internal error occurred while it was tried (place 7); everything else goes on.");
  EXPECT_EQ(guarded<int>("it was tried", []() -> Result<int> { throw 7; }).error().code,
            ErrorCode::kInternal);
}

}  // namespace
}  // namespace undersong
