// undersong rank QUERIES.jsonl: which chords could stand under these notes, best first.
//
// A query is a JSON object on a line: id, key_so_far (fifths of the signature, -7..7), melody [[pitch, beats], ...],
// held (the pitch that matters most), previous [Harte, ...] with the newest last.
#include <fmt/format.h>

#include <boost/json.hpp>
#include <fstream>
#include <iostream>
#include <memory>
#include <string>

#include "clients/offline/commands.h"
#include "daemon/base/result.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

struct Query {
  std::string id;
  harmony::Question question;
};

Result<Pitch> pitch_of(const json::value& value, const char* member) {
  const auto number = value.is_number() ? value.to_number<double>() : -1.0;
  if (number < 0 || number > 127) return invalid_input(fmt::format("\"{}\" must be a pitch from 0 to 127", member));
  return Pitch(static_cast<int>(number));
}

Result<Query> parse(const std::string& line) {
  boost::system::error_code error;
  const json::value value = json::parse(line, error);
  if (error || !value.is_object()) return invalid_input("not a JSON object");
  const json::object& object = value.get_object();
  Query query;
  const auto* id = object.if_contains("id");
  if (!id || !id->is_string()) return invalid_input("\"id\" must be a text");
  query.id = std::string(id->get_string());
  const auto* held = object.if_contains("held");
  if (!held) return invalid_input("\"held\" is missing");
  const auto pitch = pitch_of(*held, "held");
  if (!pitch) return pitch.error();
  query.question.melody.push_back(*pitch);
  if (const auto* key = object.if_contains("key_so_far")) {
    if (!key->is_number() || key->to_number<double>() < -7 || key->to_number<double>() > 7)
      return invalid_input("\"key_so_far\" must be a number of fifths from -7 to 7");
    const int fifths = static_cast<int>(key->to_number<double>());
    query.question.key = harmony::Key{PitchClass(7 * fifths), harmony::Mode::kMajor};
  }
  if (const auto* previous = object.if_contains("previous"); previous && previous->is_array() && !previous->get_array().empty()) {
    const json::value& last = previous->get_array().back();
    const auto chord = last.is_string() ? harmony::parse_harte(std::string(last.get_string())) : std::nullopt;
    if (chord) query.question.previous = chord->chord;
  }
  // Of the other notes the longest one is asked along with the held one.
  if (const auto* melody = object.if_contains("melody"); melody && melody->is_array()) {
    double longest = 0;
    std::optional<Pitch> other;
    for (const json::value& item : melody->get_array()) {
      if (!item.is_array() || item.get_array().size() < 2 || !item.get_array()[1].is_number())
        return invalid_input("\"melody\" must be a list of [pitch, beats]");
      const auto note = pitch_of(item.get_array()[0], "melody");
      if (!note) return note.error();
      const double beats = item.get_array()[1].to_number<double>();
      if (note->pitch_class() != pitch->pitch_class() && beats > longest) longest = beats, other = *note;
    }
    if (other) query.question.melody.push_back(*other);
  }
  query.question.wishes.surprising = -1;
  return query;
}

int run(const std::string& file) {
  std::ifstream opened;
  if (file != "-") opened.open(file);
  std::istream& in = file == "-" ? std::cin : opened;
  if (!in) {
    fmt::print(stderr, "undersong: {}: can't be opened.\n", file);
    return 1;
  }
  std::string line;
  std::size_t number = 0;
  harmony::Alternatives list;
  while (std::getline(in, line)) {
    ++number;
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    const auto query = parse(line);
    if (!query) {
      fmt::print(stderr, "undersong: {}, line {}: {}.\n", file, number, query.error().message);
      return 1;
    }
    harmony::rank_alternatives(query->question, nullptr, list);
    json::array ranked;
    for (const auto& offered : list) ranked.emplace_back(harmony::harte(offered.chord, offered.root_name));
    std::cout << json::serialize(json::object{{"id", query->id}, {"ranked", std::move(ranked)}}) << '\n';
  }
  return 0;
}

}  // namespace

void add_rank(CLI::App& program, int& exit_code) {
  auto file = std::make_shared<std::string>();
  auto* command = program.add_subcommand("rank", "Rank chords under given melody notes, a JSON query a line");
  command->add_option("QUERIES", *file, "file of JSON lines, or - for standard input")->required();
  command->callback([file, &exit_code] { exit_code = run(*file); });
}

}  // namespace undersong::offline
