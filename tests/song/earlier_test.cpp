// Sketches that earlier versions wrote or documented are still read, and still make a song.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "daemon/midi/smf.h"
#include "daemon/song/sketch.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

TEST(EarlierSketches, AreReadAndMakeASong) {
  std::size_t read = 0;
  for (const auto& entry :
       fs::directory_iterator(std::string(UNDERSONG_SOURCE_DIR) + "/tests/song/earlier")) {
    std::ifstream file(entry.path());
    std::stringstream text;
    text << file.rdbuf();
    const auto sketch = read_sketch(text.str(), entry.path().filename().string());
    ASSERT_TRUE(sketch) << sketch.error().message;
    EXPECT_GE(sketch->sections.size(), 2u) << entry.path();
    const auto form = form_of_sketch(*sketch, from_configs);
    EXPECT_TRUE(form) << (form ? "" : form.error().message);
    ++read;
  }
  EXPECT_GE(read, 3u);
}

}  // namespace
}  // namespace undersong::song
