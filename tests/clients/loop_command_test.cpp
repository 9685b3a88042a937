// Tests undersong loop, reharmonise and sketch on files: good files, and every kind of bad file.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "tests/clients/outcome.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

Outcome run_loop(const std::vector<std::string>& words) {
  return outcome(words, [](CLI::App& program, int& exit_code) {
    add_loop(program, exit_code);
    add_reharmonise(program, exit_code);
    add_sketch(program, exit_code);
  });
}

const std::string kDemo = std::string(UNDERSONG_SOURCE_DIR) + "/configs/demo.mid";

// A temporary file for one test.
class File {
 public:
  explicit File(const std::string& bytes)
      : path_(std::filesystem::temp_directory_path() /
              ("undersong-loop-" + std::to_string(::getpid()) + ".mid")) {
    std::ofstream(path_, std::ios::binary) << bytes;
  }
  ~File() { std::filesystem::remove(path_); }
  std::string name() const { return path_.string(); }

 private:
  std::filesystem::path path_;
};

// Notes at a given tempo: {key, beginning, length} in beats.
struct Note {
  int key;
  double at, beats;
};
std::string smf(const std::vector<Note>& notes) {
  struct Event {
    long tick;
    std::string bytes;
  };
  std::vector<Event> events;
  for (const Note& note : notes) {
    events.push_back(
        {std::lround(note.at * 480), {static_cast<char>(0x90), static_cast<char>(note.key), 80}});
    events.push_back({std::lround((note.at + note.beats) * 480) - 10,
                      {static_cast<char>(0x80), static_cast<char>(note.key), 0}});
  }
  std::stable_sort(events.begin(), events.end(),
                   [](const Event& a, const Event& b) { return a.tick < b.tick; });
  std::string track;
  long last = 0;
  const auto length = [&](long value) {
    std::string out(1, static_cast<char>(value & 127));
    while (value >>= 7) out.insert(out.begin(), static_cast<char>((value & 127) | 128));
    return out;
  };
  for (const Event& event : events) track += length(event.tick - last) + event.bytes, last = event.tick;
  track += std::string("\0\xff\x2f\0", 4);
  const auto four = [](std::size_t n) {
    return std::string{static_cast<char>(n >> 24), static_cast<char>(n >> 16), static_cast<char>(n >> 8),
                       static_cast<char>(n)};
  };
  return "MThd" + four(6) + std::string("\0\0\0\1\1\xe0", 6) + "MTrk" + four(track.size()) + track;
}

// Dm7 G7 Cmaj7 A7, two seconds each, with or without a melody in half notes.
std::vector<Note> circle(int passes, bool tune) {
  const std::vector<std::vector<int>> chords{
      {38, 53, 57, 60}, {43, 53, 59, 62}, {36, 52, 55, 59}, {45, 55, 61, 64}};
  const std::vector<std::vector<int>> melody{{77, 74}, {74, 71}, {76, 79}, {73, 76}};
  std::vector<Note> out;
  for (int pass = 0; pass < passes; ++pass)
    for (std::size_t c = 0; c < 4; ++c) {
      const double at = pass * 16.0 + static_cast<double>(c) * 4;
      for (int key : chords[c]) out.push_back({key, at, 4});
      for (std::size_t m = 0; tune && m < 2; ++m)
        out.push_back({melody[c][m], at + 2 * static_cast<double>(m), 2});
    }
  return out;
}

TEST(LoopCommand, PrintsTheLoopItsPassesAndSections) {
  const File file(smf(circle(6, true)));
  const auto table = run_loop({"loop", file.name()});
  EXPECT_EQ(table.exit_code, 0) << table.complaint;
  EXPECT_NE(table.printed.find("Loop   Dm7 (4) G7 (4) Cmaj7 (4) A7 (4)\n       16 beats, 6 times"),
            std::string::npos)
      << table.printed;
  const auto object = json::parse(run_loop({"loop", "--json", file.name()}).printed).as_object();
  EXPECT_EQ(object.at("chords"), json::value({"D:min7", "G:7", "C:maj7", "A:7"}));
  EXPECT_EQ(object.at("passes").as_array().size(), 6u);
  ASSERT_FALSE(object.at("sections").as_array().empty());
  EXPECT_EQ(object.at("sections").at(0).at("label"), "A");
  EXPECT_EQ(object.at("lengths").at(0).at("beats"), 4.0);
  // The members that evaluation scripts read, and those of the protocol.
  const auto& pass = object.at("passes").at(1);
  EXPECT_NEAR(pass.at("start").as_double() * 1e6, static_cast<double>(pass.at("at").as_int64()), 100);
  EXPECT_NEAR((pass.at("end").as_double() - pass.at("start").as_double()) * 1e6,
              static_cast<double>(pass.at("length_us").as_int64()), 200);
}

// Every bad input gives exit code 1 and one sentence that names the file.
TEST(LoopCommand, SaysInOneSentenceWhatIsWrongWithAFile) {
  const std::vector<Note> chain{{48, 0, 2}, {52, 0, 2}, {55, 0, 2}, {50, 3, 2}, {53, 3, 2},
                                {57, 3, 2}, {46, 6, 2}, {50, 6, 2}, {53, 6, 2}};
  const struct {
    std::string bytes, sentence;
  } kBad[] = {{smf({}), "no notes in this file."},
              {smf({{60, 0, 2}}), "only one note in this file"},
              {smf(chain), "no run of chords repeats often enough"},
              {"not MIDI at all", ""},
              {"", ""},
              {smf(circle(3, true)).substr(0, 60), ""}};
  for (const std::string command : {"loop", "reharmonise"})
    for (const auto& bad : kBad) {
      const File file(bad.bytes);
      const auto out = run_loop({command, file.name()});
      EXPECT_EQ(out.exit_code, 1) << command << " " << bad.sentence;
      EXPECT_TRUE(out.printed.empty());
      EXPECT_NE(out.complaint.find(file.name()), std::string::npos) << out.complaint;
      EXPECT_NE(out.complaint.find(bad.sentence), std::string::npos) << out.complaint;
      EXPECT_EQ(out.complaint.back(), '\n');
    }
  for (const std::string command : {"loop", "reharmonise"}) {
    const auto out = run_loop({command, "/nowhere/at-all.mid"});
    EXPECT_EQ(out.exit_code, 1);
    EXPECT_NE(out.complaint.find("/nowhere/at-all.mid"), std::string::npos);
  }
}

TEST(ReharmoniseCommand, PrintsProposalsForPeopleAndForPrograms) {
  const File file(smf(circle(6, true)));
  const auto table = run_loop({"reharmonise", file.name(), "--count", "3"});
  EXPECT_EQ(table.exit_code, 0) << table.complaint;
  EXPECT_NE(table.printed.find("\n 3  "), std::string::npos) << table.printed;
  EXPECT_EQ(table.printed.find("\n 4  "), std::string::npos);
  const auto object =
      json::parse(
          run_loop({"reharmonise", file.name(), "--json", "--keep", "1,4", "--roots-move", "fifths"}).printed)
          .as_object();
  EXPECT_EQ(object.at("key"), "C:maj");
  EXPECT_EQ(object.at("proposals").as_array().size(), 8u);
  for (const auto& proposal : object.at("proposals").as_array()) {
    EXPECT_EQ(proposal.at("chords").at(0).at("harte"), "D:min7");
    EXPECT_EQ(proposal.at("chords").at(3).at("harte"), "A:7");
    for (const auto& chord : proposal.at("chords").as_array()) {
      EXPECT_FALSE(chord.at("right").as_array().empty());
      EXPECT_EQ(chord.at("letters").as_array().size(), 2u);
      EXPECT_EQ(chord.at("colour").as_array().size(), 2u);
      for (const auto& note : chord.at("melody").as_array()) {
        EXPECT_GT(note.at("length").to_number<double>(), 0);
        EXPECT_TRUE(note.at("held").is_bool());
        EXPECT_NE(note.at("role"), "chord tone");
      }
    }
  }
}

TEST(ReharmoniseCommand, SaysWhatCannotBeDone) {
  const File file(smf(circle(5, true)));
  const auto far = run_loop({"reharmonise", file.name(), "--keep", "9"});
  EXPECT_EQ(far.exit_code, 1);
  EXPECT_EQ(far.complaint, "undersong: " + file.name() + ": chord 9 can't be kept: the loop has 4 chords.\n");
  EXPECT_EQ(run_loop({"reharmonise", file.name(), "--keep", "1,2,3,4"}).exit_code, 1);
  EXPECT_EQ(run_loop({"reharmonise", file.name(), "--section", "Z"}).exit_code, 1);
  for (const std::string keep : {"0", "x", "1,", ",1", "1;2"}) {
    const auto out = run_loop({"reharmonise", file.name(), "--keep", keep});
    EXPECT_EQ(out.exit_code, 2) << keep;
    EXPECT_NE(out.complaint.find("--keep " + keep), std::string::npos);
  }
  EXPECT_EQ(run_loop({"reharmonise", file.name(), "--count", "99"}).exit_code, 2);
  EXPECT_EQ(run_loop({"reharmonise", file.name(), "--roots-move", "sideways"}).exit_code, 2);
}

TEST(ReharmoniseCommand, NeedsAMelody) {
  std::vector<Note> deep = circle(6, false);
  for (Note& note : deep) note.key -= 12;
  const File file(smf(deep));
  const auto out = run_loop({"reharmonise", file.name()});
  EXPECT_EQ(out.exit_code, 1) << out.printed;
  EXPECT_NE(out.complaint.find("there is no melody over the loop"), std::string::npos) << out.complaint;
}

TEST(ReharmoniseCommand, CountsInChordsWhereThereIsNoPulse) {
  // Chords of very different lengths under a melody without a beat.
  std::vector<Note> free;
  double at = 0;
  unsigned state = 7;
  const auto some = [&] { return state = state * 1664525u + 1013904223u, (state >> 8) % 1000 / 1000.0; };
  for (const Note& note : circle(6, false)) {
    if (note.key < 48) at += 3 + 6 * some();  // a bass note begins the next chord
    free.push_back({note.key, at, 2.5});
    if (note.key < 48) free.push_back({note.key + 36, at + .3 + some(), 1.2});
  }
  const File file(smf(free));
  const auto out = run_loop({"reharmonise", file.name(), "--json"});
  ASSERT_EQ(out.exit_code, 0) << out.complaint;
  const auto object = json::parse(out.printed).as_object();
  EXPECT_TRUE(object.at("beats").at(0).is_null());
  EXPECT_FALSE(object.at("proposals").as_array().empty());
  EXPECT_NE(run_loop({"reharmonise", file.name()}).printed.find("no pulse was found"), std::string::npos);
}

TEST(ReharmoniseCommand, ReadsTheDemo) {
  const auto out = run_loop({"reharmonise", kDemo});
  EXPECT_EQ(out.exit_code, 0) << out.complaint;
  EXPECT_NE(out.printed.find("\n 8  "), std::string::npos) << out.printed;
}

TEST(SketchCommand, ProposesChecksAndHandsOver) {
  const auto folder =
      std::filesystem::temp_directory_path() / ("undersong-sketch-" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  const auto proposed = run_loop({"sketch", "new", kDemo, "--title", "Rounds"});
  EXPECT_EQ(proposed.exit_code, 0) << proposed.complaint;
  const std::string sketch = (folder / "song.toml").string();
  std::ofstream(sketch) << proposed.printed;
  const auto checked = run_loop({"sketch", "check", sketch});
  EXPECT_EQ(checked.exit_code, 0) << checked.complaint;
  EXPECT_TRUE(checked.printed.starts_with("Rounds, C minor; 4/4, ")) << checked.printed;
  EXPECT_NE(checked.printed.find("Theme again"), std::string::npos);
  const std::string out = (folder / "out").string();
  EXPECT_EQ(run_loop({"sketch", "hand-over", sketch, out}).exit_code, 0);
  for (const char* name : {"song.mid", "lead_sheet.musicxml", "chart.txt"})
    EXPECT_GT(std::filesystem::file_size(folder / "out" / name), 100u) << name;
  const auto again = run_loop({"sketch", "hand-over", sketch, out});
  EXPECT_EQ(again.exit_code, 1);
  EXPECT_NE(again.complaint.find("--replace"), std::string::npos);
  EXPECT_EQ(run_loop({"sketch", "hand-over", sketch, out, "--replace"}).exit_code, 0);
  EXPECT_EQ(run_loop({"sketch", "hand-over", sketch, out, "--force"}).exit_code, 0) << "its earlier name";
  std::filesystem::remove_all(folder);
}

TEST(SketchCommand, SaysWhatIsWrongWithASketch) {
  const auto complaint = [](const std::string& text) {
    const File file(text);
    const auto out = run_loop({"sketch", "check", file.name()});
    EXPECT_EQ(out.exit_code, 1);
    EXPECT_TRUE(out.printed.empty());
    EXPECT_TRUE(out.complaint.starts_with("undersong: " + file.name())) << out.complaint;
    return out.complaint;
  };
  EXPECT_NE(complaint("title = \"x\"\nrepeats = 2\n").find(", line 2: repeats is not known here"),
            std::string::npos);
  EXPECT_NE(complaint("[[section]]\ntake = 12\n").find("take 12 is kept by the daemon"), std::string::npos);
  EXPECT_NE(complaint("[[section]]\nsource = \"none.mid\"\n").find("none.mid"), std::string::npos);
  EXPECT_NE(complaint(std::string("MThd\0\0", 6)).find("line 1"), std::string::npos);
  EXPECT_EQ(run_loop({"sketch", "check", "/nowhere/song.toml"}).exit_code, 1);
  EXPECT_EQ(run_loop({"sketch", "check", "/tmp"}).exit_code, 1);
  EXPECT_EQ(run_loop({"sketch", "new", "/nowhere/take.mid"}).exit_code, 1);
}

}  // namespace
}  // namespace undersong::offline
