// undersong name KEYS...: names the chord of these keys, as a ranked list.
#include <fmt/format.h>

#include <algorithm>
#include <boost/json.hpp>
#include <charconv>
#include <cstdlib>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "clients/offline/chord_json.h"
#include "clients/offline/commands.h"
#include "daemon/base/result.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/recogniser.h"
#include "daemon/harmony/spelling.h"

namespace undersong::offline {
namespace {

// Semitones by which accidentals move the letter of a name.
int letter_shift(harmony::NoteName name) {
  int shift = 0;
  for (const char sign : harmony::text(name).substr(1)) shift += sign == '#' ? 1 : -1;
  return shift;
}

harmony::ChordReadings readings_of(const std::vector<int>& keys) {
  std::vector<Pitch> notes;
  for (int key : keys) notes.emplace_back(key);
  std::sort(notes.begin(), notes.end());
  return harmony::recognise(notes);
}

// Reads "60", "Eb4" or "Eb": keys of a chord from the bass up. A name without an octave is the next such note
// above the one before, the first from C3 on. Error: one sentence.
Result<std::vector<int>> keys_of(const std::vector<std::string>& words) {
  std::vector<int> keys;
  for (const std::string& word : words) {
    const auto digits = word.find_first_of("-0123456789");
    const auto name = harmony::parse_note_name(word.substr(0, digits));
    int key = -1, number = 0;
    if (digits != std::string::npos) {
      const char* end = word.data() + word.size();
      const auto read = std::from_chars(word.data() + digits, end, number);
      if (read.ec == std::errc() && read.ptr == end && std::abs(number) < 1000) {
        if (digits == 0) key = number;
        // The octave follows the letter: Cb4 is a semitone under C4.
        if (name)
          key = (number + 1) * 12 + (name->pitch_class().value() - letter_shift(*name) + 12) % 12 +
                letter_shift(*name);
      }
    } else if (name) {
      key = 48 + name->pitch_class().value();
      while (!keys.empty() && key <= keys.back()) key += 12;
    }
    if (key < 0 || key > 127)
      return invalid_input(fmt::format(
          "\"{}\" is no key: write a note (Eb), a note with its octave (Eb4), or a number from 0 to 127.",
          word));
    keys.push_back(key);
  }
  return keys;
}

// As the protocol's Reading: a chord and how sure its name is.
void print_name_json(const harmony::ChordReadings& readings) {
  boost::json::array out;
  for (const auto& reading : readings) {
    auto chord = chord_json(reading.chord, harmony::root_name_in(reading.chord, std::nullopt));
    chord["confidence"] = reading.confidence;
    out.push_back(std::move(chord));
  }
  std::cout << boost::json::serialize(out) << '\n';
}

int name_one(const std::vector<int>& keys, bool as_json) {
  const auto readings = readings_of(keys);
  if (as_json) {
    print_name_json(readings);
    return 0;
  }
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
  auto keys = std::make_shared<std::vector<std::string>>();
  auto lines = std::make_shared<bool>(false);
  auto* command = program.add_subcommand("name", "Name the chord of some keys, likeliest first");
  auto* option = command->add_option(
      "KEYS", *keys, "notes from the bass up (C E G, or C3 Eb4), or MIDI key numbers, 60 is C4");
  command
      ->add_flag("--lines", *lines,
                 "read lists of keys from standard input, one per line, and print lists of names")
      ->excludes(option);
  auto as_json = std::make_shared<bool>(false);
  command->add_flag("--json", *as_json, "print one JSON list of the names, likeliest first");
  command->callback([keys, lines, as_json, &exit_code] {
    if (!*lines && keys->empty()) throw CLI::RequiredError("KEYS");
    if (*lines) {
      exit_code = name_lines();
      return;
    }
    const auto numbers = keys_of(*keys);
    if (numbers) {
      exit_code = name_one(*numbers, *as_json);
      return;
    }
    fmt::print(stderr, "undersong: {}\n", numbers.error().message);
    exit_code = 2;
  });
}

}  // namespace undersong::offline
