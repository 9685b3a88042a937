// Measures digests on invented evenings (tests/takes/invented_evening.h): twenty minutes of wandering with
// three planted loops and two marked moments. It prints how many of the planted ones are among the first
// eight moments, for each seed and in all, before the takes were studied and after.
//
// usage: digest_bench [FIRST_SEED] [EVENINGS] [MINUTES]     1, 10, 20 by default; about five seconds each
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "daemon/song/about_of.h"
#include "daemon/takes/database.h"
#include "tests/takes/invented_evening.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kFirst = 8;
constexpr std::int64_t kEvening = 1'700'000'000'000;

int found_of(const InventedEvening& evening, const FoundDigest& digest, bool says) {
  int found = 0;
  for (const Planted& planted : evening.planted) {
    const bool there =
        std::any_of(digest.moments.begin(), digest.moments.end(), [&](const DigestMoment& moment) {
          return finds(moment, static_cast<std::size_t>(digest.takes[moment.take].take - 1), planted);
        });
    found += there;
    if (says && !there)
      std::printf("  missed: %s of take %zu, %.0f to %.0f s\n", planted.marked ? "the mark" : "a loop",
                  planted.take + 1, seconds(planted.from), seconds(planted.to));
  }
  if (says && found < static_cast<int>(evening.planted.size()))
    for (const DigestMoment& moment : digest.moments)
      std::printf("  found: take %llu, %.0f to %.0f s, %s\n",
                  static_cast<unsigned long long>(digest.takes[moment.take].take), seconds(moment.from),
                  seconds(moment.from + moment.length), moment.reason.c_str());
  return found;
}

void study(Database& database, const InventedEvening& evening, std::size_t take) {
  auto notes = evening.takes[take];
  std::stable_sort(notes.begin(), notes.end(),
                   [](const InventedNote& a, const InventedNote& b) { return a.at < b.at; });
  database.put_study({take + 1, 0, song::about_of(song::study_take({played(notes), {}})), {}});
}

int run(unsigned first, unsigned evenings, double minutes) {
  int planted = 0, by_name = 0, by_study = 0, whole = 0;
  const auto folder =
      std::filesystem::temp_directory_path() / ("undersong-digest-" + std::to_string(::getpid()));
  for (unsigned seed = first; seed < first + evenings; ++seed) {
    std::filesystem::create_directories(folder);
    {
      auto database = Database::open(folder / "takes.db", {});
      if (!database) return std::fprintf(stderr, "%s\n", database.error().message.c_str()), 1;
      const InventedEvening evening = invented_evening(seed, minutes);
      for (std::size_t i = 0; i < evening.takes.size(); ++i)
        database->bring(kept_take(evening, i, kEvening + static_cast<std::int64_t>(i) * 60'000));
      const DigestSearch search{.week = false, .limit = kFirst};
      const int named = found_of(evening, database->digest(search), false);
      for (std::size_t i = 0; i < evening.takes.size(); ++i) study(*database, evening, i);
      const auto began = std::chrono::steady_clock::now();
      const FoundDigest digest = database->digest(search);
      const std::chrono::duration<double, std::milli> lasted = std::chrono::steady_clock::now() - began;
      const int studied = found_of(evening, digest, true);
      const int all = static_cast<int>(evening.planted.size());
      std::printf("seed %3u: %d of %d by the names, %d after the study; %zu takes, %.1f ms\n", seed, named,
                  all, studied, evening.takes.size(), lasted.count());
      planted += all, by_name += named, by_study += studied, whole += studied == all;
    }
    std::filesystem::remove_all(folder);
  }
  std::printf("%u evenings: %.3f by the names, %.3f after the study; all of an evening in %d\n", evenings,
              static_cast<double>(by_name) / planted, static_cast<double>(by_study) / planted, whole);
  return 0;
}

}  // namespace
}  // namespace undersong::takes

int main(int argc, char** argv) {
  const auto number = [&](int i, double otherwise) { return argc > i ? std::atof(argv[i]) : otherwise; };
  return undersong::takes::run(static_cast<unsigned>(number(1, 1)), static_cast<unsigned>(number(2, 10)),
                               number(3, 20));
}
