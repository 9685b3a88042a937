// Reads takes that a script invented, with what is known to be true about them.
//
// Units: seconds from the beginning of the take, as the scripts write them.
// Threads: the test's only.
// Errors: a missing or unreadable file ends the test with an exception.
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

// All takes of one script, from the folder `kind`, sorted by name.
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

// Counts of correct finds, of all finds and of what is true. f() is the harmonic mean of precision and
// recall.
struct Counted {
  double right = 0, found = 0, known = 0;
  double f() const { return right > 0 ? 2 * right / (found + known) : 0; }
};

// Fails if the figure is below its floor. Reports the measured value in any case.
inline void expect_figure(const char* what, double measured, double floor) {
  ::testing::Test::RecordProperty(what, std::to_string(measured));
  std::printf("  %s: %.4f, floor %.3f\n", what, measured, floor);
  EXPECT_GE(measured, floor) << what;
}

}  // namespace undersong::figures
