// Checks that the learnt tables are those with which the figures in daemon/harmony/learning/README.md were
// measured. A single number that changes by accident hardly moves a figure, but it changes the fingerprint.
//
// If you make a new table, measure again, write the figures there, and put the new fingerprint here.
#include <gtest/gtest.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>

namespace undersong::figures {
namespace {

// A hash of the table's text without comments and white space. Source: FNV-1a with 64 bits (Fowler, Noll &
// Vo).
std::uint64_t fingerprint(const std::filesystem::path& table) {
  std::ifstream in(table);
  EXPECT_TRUE(in) << table;
  std::uint64_t out = 0xcbf29ce484222325U;
  for (std::string line; std::getline(in, line);) {
    line.resize(std::min(line.find("//"), line.size()));
    for (const char c : line) {
      if (c == ' ' || c == '\t' || c == '\r') continue;
      out = (out ^ static_cast<unsigned char>(c)) * 0x100000001b3U;
    }
  }
  return out;
}

TEST(Tables, AreThoseThatWereMeasured) {
  const std::filesystem::path daemon = std::filesystem::path(UNDERSONG_SOURCE_DIR) / "daemon";
  EXPECT_EQ(fingerprint(daemon / "harmony/ear_table.inc"), 0x1d9c17beef0d22b2U);
  EXPECT_EQ(fingerprint(daemon / "harmony/live_strikes_table.inc"), 0x1eae2cee577e944fU);
  EXPECT_EQ(fingerprint(daemon / "harmony/ranking_table.inc"), 0xbfc3c9ff2891bcccU);
  EXPECT_EQ(fingerprint(daemon / "harmony/player_table.inc"), 0x2f33676d6ded3f89U);
  EXPECT_EQ(fingerprint(daemon / "harmony/colour_weights.inc"), 0xdbc8af7a29d085abU);
  EXPECT_EQ(fingerprint(daemon / "harmony/chord_counts.inc"), 0x87f4c45d538b4eecU);
  EXPECT_EQ(fingerprint(daemon / "takes/strikes_table.inc"), 0x74498346d63155adU);
  EXPECT_EQ(fingerprint(daemon / "takes/levels_table.inc"), 0xa6aa226c30e594a8U);
}

}  // namespace
}  // namespace undersong::figures
