// Checks that dependencies point one way: clients -> protocol <- server -> live -> song -> takes -> listen ->
// midi -> harmony. The core uses the standard library only.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <string>

namespace {

namespace fs = std::filesystem;
using Folders = std::set<std::string>;

const std::map<std::string, Folders> kMayInclude{
    {"daemon/base", {"daemon/base"}},
    {"daemon/harmony", {"daemon/harmony"}},
    {"daemon/midi", {"daemon/midi", "daemon/harmony", "daemon/base"}},
    {"daemon/listen", {"daemon/listen", "daemon/midi", "daemon/harmony", "daemon/base"}},
    {"daemon/takes", {"daemon/takes", "daemon/listen", "daemon/midi", "daemon/harmony", "daemon/base"}},
    {"daemon/song",
     {"daemon/song", "daemon/takes", "daemon/listen", "daemon/midi", "daemon/harmony", "daemon/base"}},
    {"daemon/live",
     {"daemon/live", "daemon/song", "daemon/takes", "daemon/listen", "daemon/midi", "daemon/harmony",
      "daemon/base"}},
    {"daemon/server",
     {"daemon/server", "daemon/live", "daemon/song", "daemon/takes", "daemon/listen", "daemon/midi",
      "daemon/harmony", "daemon/base", "protocol"}},
    {"daemon/app",
     {"daemon/app", "daemon/server", "daemon/live", "daemon/song", "daemon/takes", "daemon/listen",
      "daemon/midi", "daemon/harmony", "daemon/base"}},
    {"protocol", {"protocol"}},
    {"clients", {}},  // options that both halves of the client have
    // Only the entry point of the client knows both of its halves; a test below checks that.
    {"clients/terminal", {"clients/terminal", "clients/offline", "clients", "protocol"}},
    {"clients/offline",
     {"clients/offline", "clients", "daemon/song", "daemon/takes", "daemon/listen", "daemon/midi",
      "daemon/harmony", "daemon/base"}},
};

const std::regex kInclude(R"re(^\s*#\s*include\s*([<"])([^>"]+)[>"])re");

struct Include {
  std::string file, folder, what;
  bool quoted;
};

std::vector<Include> all_includes() {
  std::vector<Include> out;
  const fs::path top = UNDERSONG_SOURCE_DIR;
  for (const auto& [folder, allowed] : kMayInclude)
    for (const auto& entry : fs::directory_iterator(top / folder)) {
      const auto ending = entry.path().extension();
      if (ending != ".h" && ending != ".cpp") continue;
      std::ifstream in(entry.path());
      std::smatch found;
      for (std::string line; std::getline(in, line);)
        if (std::regex_search(line, found, kInclude))
          out.push_back({fs::relative(entry.path(), top).string(), folder, found[2], found[1] == "\""});
    }
  return out;
}

TEST(Includes, PointOneWay) {
  const auto includes = all_includes();
  EXPECT_GT(includes.size(), 300u);
  for (const Include& include : includes) {
    if (!include.quoted || include.what.ends_with(".inc")) continue;
    const std::string target = fs::path(include.what).parent_path().string();
    EXPECT_TRUE(kMayInclude.at(include.folder).contains(target))
        << include.file << " includes " << include.what;
  }
}

TEST(Includes, TheCoreUsesTheStandardLibraryOnly) {
  // Headers for threads, streams, files and randomness are not for the core. <chrono> is allowed for
  // durations.
  const Folders kNotPure{"thread",   "mutex",   "condition_variable", "atomic", "future",
                         "iostream", "fstream", "filesystem",         "cstdio", "random",
                         "regex"};
  for (const Include& include : all_includes()) {
    if (include.folder != "daemon/harmony" || include.quoted) continue;
    EXPECT_EQ(include.what.find_first_of("/."), std::string::npos)
        << include.file << " includes <" << include.what << ">";
    EXPECT_FALSE(kNotPure.contains(include.what)) << include.file << " includes <" << include.what << ">";
  }
}

// Time is an argument of the core, so no clock is read there, whatever header it comes from.
TEST(Core, ReadsNoClock) {
  std::size_t files = 0;
  for (const auto& entry : fs::directory_iterator(fs::path(UNDERSONG_SOURCE_DIR) / "daemon/harmony")) {
    if (entry.path().extension() != ".h" && entry.path().extension() != ".cpp") continue;
    ++files;
    std::ifstream in(entry.path());
    for (std::string line; std::getline(in, line);)
      EXPECT_EQ(line.find("_clock::"), std::string::npos) << entry.path() << ": " << line;
  }
  EXPECT_GT(files, 60u);
}

TEST(Includes, TheTerminalsLiveCommandsKnowNothingOfTheDaemon) {
  for (const Include& include : all_includes()) {
    if (include.folder == "clients/terminal" && !include.file.ends_with("main.cpp")) {
      EXPECT_FALSE(include.quoted && include.what.starts_with("clients/offline")) << include.file;
    }
  }
}

}  // namespace
