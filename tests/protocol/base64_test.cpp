#include "protocol/base64.h"

#include <gtest/gtest.h>

namespace undersong::protocol {
namespace {

std::string encoded(std::string_view text) {
  return base64(std::vector<std::uint8_t>(text.begin(), text.end()));
}

// Source: test vectors of RFC 4648, section 10.
TEST(Base64, IsThatOfTheStandardBothWays) {
  const std::pair<const char*, const char*> kVectors[] = {{"", ""},
                                                          {"f", "Zg=="},
                                                          {"fo", "Zm8="},
                                                          {"foo", "Zm9v"},
                                                          {"foob", "Zm9vYg=="},
                                                          {"fooba", "Zm9vYmE="},
                                                          {"foobar", "Zm9vYmFy"}};
  for (const auto& [plain, text] : kVectors) {
    EXPECT_EQ(encoded(plain), text);
    const auto back = from_base64(text);
    ASSERT_TRUE(back) << text;
    EXPECT_EQ(std::string(back->begin(), back->end()), plain);
  }
}

TEST(Base64, EveryByteComesBack) {
  std::vector<std::uint8_t> bytes;
  for (int i = 0; i < 256 * 3; ++i) bytes.push_back(static_cast<std::uint8_t>(i * 7));
  for (std::size_t length = 0; length <= bytes.size(); ++length) {
    const std::vector<std::uint8_t> some(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(length));
    EXPECT_EQ(from_base64(base64(some)), some);
  }
}

TEST(Base64, WhatIsNoneIsRefused) {
  for (const char* text :
       {"Z", "Zg", "Zg=", "Zg==Zg==", "=", "====", "Z===", "Zm9!", "Zm 9", "Zh==", "Zm9=", "Zg=a"})
    EXPECT_FALSE(from_base64(text)) << text;
}

}  // namespace
}  // namespace undersong::protocol
