// undersong name KEYS...: names the chord of these keys, as a ranked list.
#include <fmt/format.h>

#include <algorithm>
#include <boost/json.hpp>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::offline {
namespace {

harmony::ChordReadings readings_of(const std::vector<int>& keys) {
  std::vector<Pitch> notes;
  for (int key : keys) notes.emplace_back(key);
  std::sort(notes.begin(), notes.end());
  return harmony::recognise(notes);
}

int name_one(const std::vector<int>& keys) {
  const auto readings = readings_of(keys);
  if (readings.empty()) fmt::print("No chord: at least two different notes are needed.\n");
  for (const auto& reading : readings) {
    const auto root = harmony::root_name_in(reading.chord, std::nullopt);
    fmt::print("{:<14} {:<22} {:3.0f} %\n", harmony::symbol(reading.chord, root),
               harmony::harte(reading.chord, root), 100 * reading.confidence);
  }
  return 0;
}

int name_lines() {
  std::string line;
  for (std::size_t number = 1; std::getline(std::cin, line); ++number) {
    boost::system::error_code error;
    const auto value = boost::json::parse(line, error);
    std::vector<int> keys;
    bool good = !error && value.is_array();
    if (good)
      for (const auto& item : value.get_array()) {
        good = good && item.is_int64() && item.get_int64() >= 0 && item.get_int64() <= 127;
        if (good) keys.push_back(static_cast<int>(item.get_int64()));
      }
    if (!good) {
      fmt::print(stderr, "undersong: standard input, line {}: must be a list of keys from 0 to 127.\n",
                 number);
      return 1;
    }
    boost::json::array out;
    for (const auto& reading : readings_of(keys))
      out.emplace_back(harmony::harte(reading.chord, harmony::root_name_in(reading.chord, std::nullopt)));
    std::cout << boost::json::serialize(out) << '\n';
  }
  return 0;
}

}  // namespace

void add_name(CLI::App& program, int& exit_code) {
  auto keys = std::make_shared<std::vector<int>>();
  auto lines = std::make_shared<bool>(false);
  auto* command = program.add_subcommand("name", "Name the chord of some keys, likeliest first");
  auto* option =
      command->add_option("KEYS", *keys, "MIDI key numbers, 60 is middle C")->check(CLI::Range(0, 127));
  command
      ->add_flag("--lines", *lines,
                 "read lists of keys from standard input, one per line, and print lists of names")
      ->excludes(option);
  command->callback([keys, lines, &exit_code] {
    if (!*lines && keys->empty()) throw CLI::RequiredError("KEYS");
    exit_code = *lines ? name_lines() : name_one(*keys);
  });
}

}  // namespace undersong::offline
