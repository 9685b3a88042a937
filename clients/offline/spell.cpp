// undersong spell QUESTIONS.jsonl: spells the chord roots and melody notes of whole pieces without being told
// the key.
//
// A question is one JSON object on one line: id, chords [[begin, end, root pitch class, quality in Harte
// syntax], ...], melody [[begin, end, pitch], ...].
#include <fmt/format.h>

#include <boost/json.hpp>
#include <iostream>
#include <memory>
#include <string>

#include "clients/offline/commands.h"
#include "clients/offline/input.h"
#include "daemon/base/result.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/written_spelling.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

struct Piece {
  json::value id;
  std::vector<harmony::WrittenChord> chords;
  std::vector<harmony::WrittenNote> melody;
};

// The first three numbers of row `row` in the member `name`.
Result<std::array<double, 3>> numbers(const json::value& item, const char* name, std::size_t row) {
  std::array<double, 3> out{};
  const auto* list = item.if_array();
  for (std::size_t i = 0; i < 3; ++i) {
    if (!list || list->size() <= i || !(*list)[i].is_number())
      return invalid_input(fmt::format("\"{}\"[{}] must begin with three numbers", name, row));
    out[i] = (*list)[i].to_number<double>();
  }
  if (!(out[0] <= out[1])) return invalid_input(fmt::format("\"{}\"[{}] ends before it begins", name, row));
  return out;
}

Result<Piece> parse_piece(const std::string& line) {
  boost::system::error_code error;
  const json::value value = json::parse(line, error);
  const auto* object = error ? nullptr : value.if_object();
  if (!object) return invalid_input("not a JSON object");
  Piece piece;
  if (const auto* id = object->if_contains("id")) piece.id = *id;
  const auto* chords = object->if_contains("chords");
  const auto* melody = object->if_contains("melody");
  if (!chords || !chords->is_array() || !melody || !melody->is_array())
    return invalid_input("\"chords\" and \"melody\" must be lists");
  for (std::size_t i = 0; i < chords->get_array().size(); ++i) {
    const json::value& item = chords->get_array()[i];
    const auto row = numbers(item, "chords", i);
    if (!row) return row.error();
    const auto& list = item.get_array();
    const auto quality = list.size() > 3 && list[3].is_string()
                             ? harmony::parse_harte("C:" + std::string(list[3].get_string()))
                             : std::nullopt;
    if (!quality || (*row)[2] < 0 || (*row)[2] > 11)
      return invalid_input(fmt::format(
          "\"chords\"[{}] must be begin, end, root from 0 to 11, and a quality in Harte syntax", i));
    const PitchClass root(static_cast<int>((*row)[2]));
    piece.chords.push_back({(*row)[0], (*row)[1], {root, quality->chord.quality, root}});
  }
  for (std::size_t i = 0; i < melody->get_array().size(); ++i) {
    const auto row = numbers(melody->get_array()[i], "melody", i);
    if (!row) return row.error();
    if ((*row)[2] < 0 || (*row)[2] > 127)
      return invalid_input(fmt::format("\"melody\"[{}] must have a pitch from 0 to 127", i));
    piece.melody.push_back({(*row)[0], (*row)[1], Pitch(static_cast<int>((*row)[2]))});
  }
  return piece;
}

json::array texts(const std::vector<harmony::NoteName>& names) {
  json::array out;
  for (harmony::NoteName name : names) out.emplace_back(harmony::text(name));
  return out;
}

int run_spell(const std::string& file) {
  Input input(file);
  if (!input.good()) return 1;
  std::istream& in = input.stream();
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    const auto piece = parse_piece(line);
    if (!piece) {
      fmt::print(stderr, "undersong: {}, line {}: {}.\n", file, number, piece.error().message);
      return 1;
    }
    const int signature = harmony::signature_of(piece->chords, piece->melody);
    const auto roots = harmony::spell_roots(piece->chords, signature);
    const auto melody = harmony::spell_melody(piece->melody, piece->chords, roots, signature);
    std::cout << json::serialize(
                     json::object{{"id", piece->id}, {"chords", texts(roots)}, {"melody", texts(melody)}})
              << '\n';
  }
  return 0;
}

}  // namespace

void add_spell(CLI::App& program, int& exit_code) {
  auto file = std::make_shared<std::string>();
  auto* command = program.add_subcommand(
      "spell", "Spell the chord roots and melody notes of pieces, one JSON question per line");
  command->add_option("QUESTIONS", *file, "file of JSON lines, or - for standard input")->required();
  command->callback([file, &exit_code] { exit_code = run_spell(*file); });
}

}  // namespace undersong::offline
