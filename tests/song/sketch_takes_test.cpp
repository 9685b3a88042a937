// Whatever is played: the sketch that is proposed for it can be made, alone and beside takes in other metres.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <set>

#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/sketch.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

const fs::path kEval = fs::path(UNDERSONG_SOURCE_DIR) / "../shared/eval";

std::vector<std::string> takes_in(const fs::path& folder) {
  std::vector<std::string> out;
  for (const auto& entry : fs::directory_iterator(folder))
    if (entry.path().extension() == ".mid") out.push_back(entry.path().string());
  std::sort(out.begin(), out.end());
  return out;
}

// Studies each file once.
class Library {
 public:
  SourceReader reader() {
    return [this](const SketchSource& source) -> Result<std::shared_ptr<const TakeStudy>> {
      auto& known = known_[source.file];
      if (!known) {
        const auto file = midi::read_smf_file(source.file);
        if (!file) return file.error();
        known = std::make_shared<const TakeStudy>(study_take({midi::merged_events(*file), {}}));
      }
      return known;
    };
  }

 private:
  std::map<std::string, std::shared_ptr<const TakeStudy>> known_;
};

// Proposes, writes, reads and makes a song. Returns the metres of its sections.
std::set<int> expect_made(const std::vector<std::string>& files, Library& library) {
  std::vector<SketchSource> sources;
  for (const std::string& file : files) sources.push_back({file, 0});
  std::set<int> meters;
  const auto proposed = propose_sketch(sources, library.reader(), "Song");
  EXPECT_TRUE(proposed) << files.front() << ": " << proposed.error().message;
  if (!proposed) return meters;
  const auto read = read_sketch(write_sketch(*proposed), "song.toml");
  EXPECT_TRUE(read) << files.front() << ": " << read.error().message;
  if (!read) return meters;
  const auto form = form_of_sketch(*read, library.reader());
  EXPECT_TRUE(form) << files.front() << ": " << form.error().message;
  if (!form) return meters;
  EXPECT_TRUE(is_tempo_mark(form->tempo)) << files.front();
  for (const Part& part : form->parts)
    if (!part.free) meters.insert(meter_of(*form, part).beats);
  return meters;
}

void expect_all_made(const std::vector<std::string>& files) {
  ASSERT_FALSE(files.empty());
  Library library;
  std::set<int> single;
  bool mixed = false;
  for (const std::string& file : files) single.merge(expect_made({file}, library));
  for (std::size_t i = 0; i < files.size();
       ++i)  // neighbours are of a kind, so each goes with one further away
    mixed |= expect_made({files[i], files[(i + 7) % files.size()]}, library).size() > 1;
  EXPECT_GT(single.size(), 1u) << "there are takes in several metres";
  EXPECT_TRUE(mixed) << "and songs that change their metre";
}

TEST(SketchOfTakes, WhatIsProposedForInventedTakesIsNeverRefused) {
  if (!fs::exists(kEval / "playing/takes")) GTEST_SKIP() << "no evaluation data in ../shared/eval/playing";
  expect_all_made(takes_in(kEval / "playing/takes"));
}

TEST(SketchOfTakes, WhatIsProposedForTakesWithAKnownLoopIsNeverRefused) {
  const fs::path maker = kEval / "loops/make_takes.py";
  if (!fs::exists(maker)) GTEST_SKIP() << "no evaluation data in ../shared/eval/loops";
  const fs::path folder = fs::temp_directory_path() / ("undersong-loops-" + std::to_string(::getpid()));
  fs::create_directories(folder);
  const int status = std::system(("python3 '" + maker.string() + "' '" + folder.string() + "' 1 16").c_str());
  ASSERT_EQ(status, 0);
  expect_all_made(takes_in(folder));
  fs::remove_all(folder);
}

}  // namespace
}  // namespace undersong::song
