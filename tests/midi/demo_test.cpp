// The demo performance is exactly what its script writes, and a person can play it.
#include <unistd.h>

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <map>

#include "daemon/midi/smf.h"

namespace undersong::midi {
namespace {

const std::string kDemo = UNDERSONG_SOURCE_DIR "/configs/demo.mid";

std::string bytes_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST(Demo, IsByteForByteWhatItsScriptWrites) {
  const std::string again =
      testing::TempDir() + ("undersong-demo-again-" + std::to_string(::getpid()) + ".mid");
  ASSERT_EQ(std::system(("python3 " UNDERSONG_SOURCE_DIR "/configs/make_demo.py " + again).c_str()), 0);
  const std::string written = bytes_of(again);
  std::filesystem::remove(again);
  EXPECT_GT(written.size(), 1000u);
  EXPECT_TRUE(written == bytes_of(kDemo));
}

TEST(Demo, IsAMinuteAndAHalfThatTwoHandsCanPlay) {
  auto file = read_smf_file(kDemo);
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_TRUE(file->warnings.empty());
  const auto events = merged_events(*file);
  ASSERT_FALSE(events.empty());
  EXPECT_NEAR(static_cast<double>(events.back().at.count()) / 1e6, 95, 10);
  std::vector<std::string> sections;
  for (const auto& marker : file->markers) sections.push_back(marker.text);
  EXPECT_EQ(sections, (std::vector<std::string>{"search", "theme", "sparse", "solo", "theme", "ending"}));

  std::map<int, int> down;
  int pedal_changes = 0;
  for (const Event& e : events) {
    const int key = e.bytes[1];
    if (e.kind() == kNoteOn) {
      EXPECT_TRUE(down.emplace(key, e.bytes[2]).second) << "a key is struck while it is down";
      EXPECT_GE(key, 36);
      EXPECT_LE(key, 88);
      EXPECT_GE(e.bytes[2], 18);
      EXPECT_LE(down.size(), 10u) << "ten fingers, at " << e.at.count();
    } else if (e.kind() == kNoteOff) {
      EXPECT_EQ(down.erase(key), 1u) << "a key is released that isn't down";
    } else if (e.kind() == kControlChange && key == 64 && e.bytes[2] == 0) {
      ++pedal_changes;
    }
  }
  EXPECT_TRUE(down.empty());
  EXPECT_EQ(pedal_changes, 51) << "one for each chord";
}

}  // namespace
}  // namespace undersong::midi
