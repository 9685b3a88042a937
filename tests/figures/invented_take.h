// A take invented by a script, with what is known of it.
//
// Times: seconds of the take, as the scripts write them. Errors: a file that isn't there or can't be read
// ends the test with a sentence.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/json.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/midi/smf.h"

namespace undersong::figures {

struct InventedTake {
  std::string name;
  std::vector<midi::Event> events;
  boost::json::object truth;
};

inline double seconds(Micros t) {
  return static_cast<double>(t.count()) * 1e-6;
}

// All takes of one script, by name: the folder `kind`.
inline std::vector<InventedTake> invented_takes(std::string_view kind) {
  std::vector<InventedTake> out;
  for (const auto& file :
       std::filesystem::directory_iterator(std::filesystem::path(UNDERSONG_TAKES) / kind)) {
    if (file.path().extension() != ".mid") continue;
    const auto played = midi::read_smf_file(file.path());
    if (!played) throw std::runtime_error(played.error().message);
    auto truth = file.path();
    std::ifstream in(truth.replace_extension(".truth.json"));
    const std::string text{std::istreambuf_iterator<char>(in), {}};
    out.push_back(
        {file.path().stem().string(), midi::merged_events(*played), boost::json::parse(text).as_object()});
  }
  std::sort(out.begin(), out.end(),
            [](const InventedTake& a, const InventedTake& b) { return a.name < b.name; });
  return out;
}

// What is found and what is true, counted; F is the harmonic mean of precision and recall.
struct Counted {
  double right = 0, found = 0, known = 0;
  double f() const { return right > 0 ? 2 * right / (found + known) : 0; }
};

// A figure fails below its floor; the value that was measured is reported either way.
inline void expect_figure(const char* what, double measured, double floor) {
  ::testing::Test::RecordProperty(what, std::to_string(measured));
  std::printf("  %s: %.4f, floor %.3f\n", what, measured, floor);
  EXPECT_GE(measured, floor) << what;
}

}  // namespace undersong::figures
