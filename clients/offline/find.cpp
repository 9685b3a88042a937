// undersong find QUERY.mid --takes STORE: finds the takes that hold what is played in a file.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include <boost/json.hpp>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/find_reader.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

struct FindOptions {
  std::vector<std::string> files;
  std::string takes;
  bool json = false;
};

double in_seconds(takes::FindTime time) {
  return static_cast<double>(time) / 100;
}

std::string find_clock(takes::FindTime time) {
  return fmt::format("{}:{:04.1f}", time / 6000, in_seconds(time % 6000));
}

std::string_view word(takes::FoundAs as) {
  switch (as) {
    case takes::FoundAs::kTune: return "tune";
    case takes::FoundAs::kChords: return "chords";
    case takes::FoundAs::kPassage: break;
  }
  return "passage";
}

// Takes that were brought are called by their title, others by their number.
std::string name_of(const takes::FoundPlace& place) {
  return place.title.empty() ? std::to_string(place.found.take) : place.title;
}

void print_find_json(const std::string& file, const takes::FoundPlaces& found) {
  json::array places;
  for (const auto& place : found.places) {
    json::array others;
    for (const takes::FoundSpan& other : place.found.others)
      others.push_back(json::object{{"from", in_seconds(other.from)}, {"to", in_seconds(other.to)}});
    places.push_back(json::object{{"take", name_of(place)},
                                  {"number", place.found.take},
                                  {"from", in_seconds(place.found.from)},
                                  {"to", in_seconds(place.found.to)},
                                  {"as", word(place.found.as)},
                                  {"times", place.found.times},
                                  {"shift", place.found.shift},
                                  {"rate", std::round(place.found.rate * 100) / 100},
                                  {"score", std::round(double{place.found.score} * 100) / 100},
                                  {"others", std::move(others)}});
  }
  json::object line{{"query", std::filesystem::path(file).stem().string()}, {"found", std::move(places)}};
  if (found.unprinted > 0) line["unprinted"] = found.unprinted;
  std::cout << json::serialize(line) << '\n';
}

// How often, and where apart from the first place.
std::string where_else(const takes::FoundTake& found) {
  std::string out = found.times > 1 ? fmt::format("  {} times", found.times) : "";
  for (const takes::FoundSpan& other : found.others)
    out += (&other == &found.others.front() ? ", also at " : ", ") + find_clock(other.from);
  return out;
}

void print_find_table(const std::string& file, const takes::FoundPlaces& found, bool named) {
  if (named) fmt::print("{}:\n", file);
  if (found.places.empty())
    fmt::print("Nothing like it is in the {} take{}.\n", found.takes, found.takes == 1 ? "" : "s");
  int number = 0;
  for (const auto& place : found.places) {
    const std::time_t begin = place.begin_utc_ms / 1000;
    std::tm local{};
    localtime_r(&begin, &local);
    fmt::print("{:3d}  take {:4d}  {:%Y-%m-%d %H:%M}  {:>7} to {:>7}  {:<7}{}{}\n", ++number,
               place.found.take, local, find_clock(place.found.from), find_clock(place.found.to),
               word(place.found.as), where_else(place.found), place.title.empty() ? "" : "  " + place.title);
  }
  if (found.unprinted > 0)
    fmt::print(
        "{} older take{} not been prepared for this yet, and not in this answer. undersongd does it while it "
        "runs.\n",
        found.unprinted, found.unprinted == 1 ? " has" : "s have");
}

int run_find(const FindOptions& options) {
  const auto fail = [](const std::string& sentence) {
    std::cout.flush();
    fmt::print(stderr, "undersong: {}\n", sentence);
    return 1;
  };
  auto store = takes::FindFile::open(options.takes);
  if (!store) return fail(store.error().message);
  int exit_code = 0;
  for (const auto& name : options.files) {
    const auto file = midi::read_smf_file(name);
    if (!file) {
      exit_code = fail(file.error().message);
      continue;
    }
    const auto query = takes::find_query(midi::merged_events(*file));
    if (!query) {
      exit_code = fail(name + ": " + query.error().message);
      continue;
    }
    const auto found = store->find(*query);
    if (!found) return fail(found.error().message);
    options.json ? print_find_json(name, *found) : print_find_table(name, *found, options.files.size() > 1);
  }
  return exit_code;
}

}  // namespace

void add_find(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<FindOptions>();
  auto* command = program.add_subcommand(
      "find", "Find the takes that hold a tune, a progression or a passage: play it in any key and tempo");
  command
      ->add_option("FILE", options->files, "standard MIDI files, each with a few notes of what to look for")
      ->required();
  command->add_option("--takes", options->takes, "the file of takes; a running undersongd is not disturbed")
      ->required();
  command->add_flag("--json", options->json, "print one JSON object for each file");
  command->callback([options, &exit_code] { exit_code = run_find(*options); });
}

}  // namespace undersong::offline
