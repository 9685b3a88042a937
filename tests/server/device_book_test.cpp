// The paired devices as they are kept, how guessing is slowed, and which address of the machine comes first.
#include "daemon/server/device_book.h"

#include <gtest/gtest.h>

#include <set>

#include "daemon/server/addresses.h"
#include "daemon/server/qr_code.h"
#include "daemon/server/token_brake.h"

namespace undersong::server {
namespace {

using namespace std::chrono_literals;
constexpr UtcMs kNow{1'790'000'000'000};

TEST(DeviceBook, KeepsOnlyHashesAndFindsDevicesByTheirTokens) {
  DeviceBook book;
  const std::string desk = *make_token(), phone = *make_token();
  EXPECT_EQ(desk.size(), 24u) << "144 bits";
  EXPECT_EQ(desk.find_first_not_of("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"),
            std::string::npos);
  ASSERT_TRUE(book.add(" music desk ", desk, kNow));
  ASSERT_TRUE(book.add("", phone, kNow));
  book.open = true;
  book.seen(1, kNow + 5s);
  EXPECT_EQ(book.text().find(desk), std::string::npos);
  const auto read = DeviceBook::read(book.text(), "paired.json");
  ASSERT_TRUE(read) << read.error().message;
  EXPECT_TRUE(read->open);
  ASSERT_EQ(read->devices().size(), 2u);
  EXPECT_EQ(read->devices()[0].name, "music desk");
  EXPECT_EQ(read->devices()[0].seen, kNow + 5s);
  EXPECT_EQ(read->devices()[1].name, "Device 2");
  EXPECT_EQ(read->devices()[1].seen, std::nullopt);
  EXPECT_EQ(read->find(desk), 1u);
  EXPECT_EQ(read->find(phone), 2u);
  EXPECT_EQ(read->find(desk + "x"), std::nullopt);
  EXPECT_EQ(read->find(""), std::nullopt);
}

TEST(DeviceBook, TokensDiffer) {
  std::set<std::string> all;
  for (int i = 0; i < 1000; ++i) all.insert(*make_token());
  EXPECT_EQ(all.size(), 1000u);
}

// The SHA-256 of "abc", from FIPS 180-4's examples.
TEST(DeviceBook, HashesAsTheStandardSays) {
  const TokenHash hash = hash_of("abc");
  EXPECT_EQ((std::vector<int>(hash.begin(), hash.begin() + 4)), (std::vector<int>{0xba, 0x78, 0x16, 0xbf}));
  EXPECT_EQ(hash[31], 0xad);
}

TEST(DeviceBook, GivesNoNumberTwiceAndNoNameToTwo) {
  DeviceBook book;
  ASSERT_TRUE(book.add("desk", "one", kNow));
  const auto again = book.add("desk", "two", kNow);
  ASSERT_FALSE(again);
  EXPECT_EQ(again.error().code, ErrorCode::kConflict);
  EXPECT_EQ(book.add(std::string(61, 'x'), "two", kNow).error().code, ErrorCode::kInvalidInput);
  EXPECT_EQ(book.add("a\nb", "two", kNow).error().code, ErrorCode::kInvalidInput);
  EXPECT_TRUE(book.remove(1));
  EXPECT_FALSE(book.remove(1));
  EXPECT_EQ(book.find("one"), std::nullopt);
  const auto later = DeviceBook::read(book.text(), "paired.json");
  ASSERT_TRUE(later);
  DeviceBook reread = *later;
  EXPECT_EQ(reread.add("desk", "three", kNow)->number, 2u);
  for (std::size_t i = reread.devices().size(); i < DeviceBook::kMostDevices; ++i)
    ASSERT_TRUE(reread.add("", "token " + std::to_string(i), kNow));
  EXPECT_EQ(reread.add("", "one too many", kNow).error().code, ErrorCode::kExhausted);
}

TEST(DeviceBook, ForgetsACodeThatNobodyUsed) {
  DeviceBook book;
  ASSERT_TRUE(book.add("used", "one", kNow));
  ASSERT_TRUE(book.add("unused", "two", kNow));
  book.seen(1, kNow + 1s);
  EXPECT_FALSE(book.forget_unused(kNow + DeviceBook::kCodeLasts - 1ms));
  EXPECT_TRUE(book.forget_unused(kNow + DeviceBook::kCodeLasts));
  EXPECT_EQ(book.find("one"), 1u);
  EXPECT_EQ(book.find("two"), std::nullopt);
}

TEST(DeviceBook, SaysWhatIsWrongWithItsFile) {
  for (const char* text :
       {"", "{}", "[1]", R"({"open":true,"last":1,"devices":[{"number":1}]})",
        R"({"open":true,"last":1,"devices":[{"number":1,"name":"x","sha256":"AA==","made_utc_ms":1}]})"}) {
    const auto read = DeviceBook::read(text, "paired.json");
    ASSERT_FALSE(read) << text;
    EXPECT_NE(read.error().message.find("paired.json"), std::string::npos) << read.error().message;
  }
}

TEST(TokenBrake, LetsAFewPassAndThenWaitsLongerEachTime) {
  TokenBrake brake;
  TokenBrake::Clock now = 100s;
  for (int i = 0; i < TokenBrake::kFree; ++i) EXPECT_EQ(brake.wrong("10.0.0.7", now), 0s);
  EXPECT_EQ(brake.wrong("10.0.0.7", now), 1s);
  EXPECT_EQ(brake.wait("10.0.0.7", now), 1s);
  EXPECT_EQ(brake.wait("10.0.0.8", now), 0s) << "another address";
  EXPECT_EQ(brake.wait("10.0.0.7", now + 1s), 0s);
  EXPECT_EQ(brake.wrong("10.0.0.7", now + 1s), 2s);
  TokenBrake::Clock longest{0};
  for (int i = 0; i < 40; ++i) longest = std::max(longest, brake.wrong("10.0.0.7", now += 300s));
  EXPECT_EQ(longest, TokenBrake::kLongestWait);
  brake.right("10.0.0.7");
  EXPECT_EQ(brake.wrong("10.0.0.7", now), 0s);
}

TEST(TokenBrake, RemembersAFewAndForgetsInTime) {
  TokenBrake brake;
  for (int i = 0; i < 3000; ++i)
    brake.wrong("10.0." + std::to_string(i / 256) + "." + std::to_string(i % 256), 1s);
  EXPECT_EQ(brake.addresses(), TokenBrake::kMostAddresses);
  brake.wrong("10.9.9.9", TokenBrake::kForgetAfter + 2s);
  EXPECT_EQ(brake.addresses(), 1u);
  // One machine may use a whole IPv6 network.
  for (int i = 1; i < TokenBrake::kFree + 2; ++i)
    brake.wrong("2001:db8::" + std::to_string(i), TokenBrake::kForgetAfter + 2s);
  EXPECT_GT(brake.wait("2001:db8::ffff", TokenBrake::kForgetAfter + 2s), 0s);
}

TEST(Addresses, TheLikeliestComesFirst) {
  EXPECT_EQ(
      best_first({{"docker0", "172.17.0.1"},
                  {"wlan0", "2001:db8::7"},
                  {"eth0", "203.0.113.7"},
                  {"wg0", "10.8.0.2"},
                  {"wlan0", "192.168.1.20"},
                  {"eth1", "192.168.1.20"}}),
      (std::vector<std::string>{"192.168.1.20", "203.0.113.7", "2001:db8::7", "172.17.0.1", "10.8.0.2"}));
  for (const std::string& address : machine_addresses()) {
    EXPECT_FALSE(address.starts_with("127.")) << address;
    EXPECT_NE(address, "::1");
  }
  EXPECT_EQ(in_url("2001:db8::7"), "[2001:db8::7]");
}

// tests/browser reads real codes with another library.
TEST(QrCode, IsASquareWithItsThreeCorners) {
  const auto rows = qr_rows("http://192.168.1.20:8345/#pair=3q2-7wAAq83vEjRWeJCrze8B");
  ASSERT_TRUE(rows);
  for (const std::string& row : *rows) EXPECT_EQ(row.size(), rows->size());
  EXPECT_EQ(rows->front().substr(0, 8), "11111110");
  EXPECT_EQ(rows->front().substr(rows->size() - 8), "01111111");
  EXPECT_EQ(rows->back().substr(0, 8), "11111110");
  EXPECT_NE(rows->back().substr(rows->size() - 8), "01111111");
  EXPECT_FALSE(qr_rows(std::string(3000, 'x')));
}

}  // namespace
}  // namespace undersong::server
