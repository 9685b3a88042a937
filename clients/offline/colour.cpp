// undersong colour CHORDS.csv: tells how dark or bright, and how resolved or tense, the chords of a table
// are.
//
// The table is comma-separated and begins with a line of column names. Lines that start with # are comments.
// Required columns are `id` and `midi` (MIDI keys in any order, 60 is middle C) or `chord` (a chord symbol or
// Harte syntax; it is measured in close position around middle C). Optional columns are `root`
// (semitones above the lowest key) or `root_pc` (0 is C), `key` ("C:maj") and `previous` (keys of the chord
// before). A comment with the words "frame chord is midi KEYS" gives the chord before, and the key of which
// it is the tonic, for the whole table. For a table with the columns `pcs_brighter` and `pcs_darker` the
// command prints the two values of each row.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <iostream>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "clients/offline/input.h"
#include "daemon/base/result.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/colour_terms.h"
#include "daemon/harmony/harmonicity.h"
#include "daemon/harmony/roughness.h"

namespace undersong::offline {
namespace {

struct ColourOptions {
  std::string file;
  std::string predict;  // the column printed as `prediction`
  std::string key;
  std::string previous;
  bool terms = false;
};

// The fields of a line. A field in quotation marks may contain commas, and "" stands for a quotation mark.
std::vector<std::string> fields_of(const std::string& line) {
  std::vector<std::string> out(1);
  bool quoted = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (line[i] == '"') {
      if (quoted && i + 1 < line.size() && line[i + 1] == '"') {
        out.back() += line[++i];
      } else {
        quoted = !quoted;
      }
    } else if (line[i] == ',' && !quoted) {
      out.emplace_back();
    } else if (line[i] != '\r') {
      out.back() += line[i];
    }
  }
  return out;
}

Result<std::vector<int>> numbers_of(const std::string& text, int lowest, int highest, const char* what) {
  std::vector<int> out;
  const char* at = text.data();
  const char* const end = at + text.size();
  for (;;) {
    while (at != end && *at == ' ') ++at;
    if (at == end) return out;
    int number = 0;
    const auto read = std::from_chars(at, end, number);
    if (read.ec != std::errc() || number < lowest || number > highest ||
        (read.ptr != end && *read.ptr != ' '))
      return invalid_input(
          fmt::format("{} must be whole numbers from {} to {}, separated by spaces, not \"{}\"", what, lowest,
                      highest, text));
    out.push_back(number);
    at = read.ptr;
  }
}

Result<std::vector<Pitch>> keys_in(const std::string& text, const char* what) {
  const auto numbers = numbers_of(text, 0, 127, what);
  if (!numbers) return numbers.error();
  std::vector<Pitch> out;
  for (int number : *numbers) out.emplace_back(number);
  return out;
}

Result<std::optional<harmony::Key>> key_of(const std::string& text) {
  if (text.empty()) return std::optional<harmony::Key>();
  const auto colon = text.find(':');
  const auto tonic = harmony::parse_note_name(text.substr(0, colon));
  const std::string mode = colon == std::string::npos ? "maj" : text.substr(colon + 1);
  if (!tonic || (mode != "maj" && mode != "min"))
    return invalid_input(fmt::format("a key must be written like C:maj or F#:min, not \"{}\"", text));
  return std::optional(
      harmony::Key{tonic->pitch_class(), mode == "maj" ? harmony::Mode::kMajor : harmony::Mode::kMinor});
}

// The key of which a frame chord is the tonic: minor if it has a minor and no major third above its lowest
// note.
harmony::Key key_of_frame(const std::vector<Pitch>& frame) {
  const PitchClass tonic = std::min_element(frame.begin(), frame.end())->pitch_class();
  const auto has = [&](int interval) {
    return std::any_of(frame.begin(), frame.end(),
                       [&](Pitch p) { return ascending(tonic, p.pitch_class()) == interval; });
  };
  return {tonic, has(3) && !has(4) ? harmony::Mode::kMinor : harmony::Mode::kMajor};
}

class Table {
 public:
  explicit Table(std::vector<std::string> names) : names_(std::move(names)) {}
  bool has(std::string_view name) const {
    return std::find(names_.begin(), names_.end(), name) != names_.end();
  }
  std::string field(const std::vector<std::string>& row, std::string_view name) const {
    const auto at = static_cast<std::size_t>(std::find(names_.begin(), names_.end(), name) - names_.begin());
    return at < row.size() ? row[at] : std::string();
  }

 private:
  std::vector<std::string> names_;
};

constexpr std::array<const char*, 7> kColumns{"consonance",     "tension", "valence", "dark_bright",
                                              "resolved_tense", "mode",    "height"};

std::string quoted(const std::string& text) {
  if (text.find_first_of(",\"") == std::string::npos) return text;
  std::string out = "\"";
  for (char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + '"';
}

struct Chord {
  std::optional<harmony::Chord> named;  // or the keys
  std::vector<Pitch> keys;
  std::optional<PitchClass> root;
  std::optional<harmony::Key> key;
  std::vector<Pitch> previous;
};

std::string answer(const std::string& id, const Chord& chord, const std::string& predict, bool with_terms) {
  const auto terms = chord.named ? harmony::colour_terms(*chord.named, chord.key)
                                 : harmony::colour_terms(chord.keys, chord.root, chord.key, chord.previous);
  const auto rated = harmony::ratings(terms, !chord.previous.empty());
  const auto colour = chord.named ? harmony::colour(*chord.named, chord.key)
                                  : harmony::colour(chord.keys, chord.key, chord.root, chord.previous);
  const std::array<float, kColumns.size()> values{
      rated.consonance,      chord.key ? rated.tension_in_key : rated.tension,
      rated.valence,         colour.dark_bright,
      colour.resolved_tense, colour.mode,
      colour.height};
  const auto column = std::find(kColumns.begin(), kColumns.end(), predict) - kColumns.begin();
  std::string out = fmt::format("{},{:.5f}", quoted(id), values[static_cast<std::size_t>(column)]);
  for (std::size_t i = 0; i < values.size(); ++i) out += fmt::format(",{:.5f}", values[i]);
  if (with_terms)
    out += fmt::format(
        ",{:.6f},{:.6f},{:.6f},{:.6f},{},{},{:.6f},{:.6f},{:.6f},{:.6f},{:.3f},{:.3f},{:.5f},{},{:.5f},{:.5f}"
        ",{},{},{:.6f},{:.6f},{}",
        terms.periodicity, terms.mean_roughness, terms.worst_roughness, terms.unfamiliarity, terms.outside,
        terms.fifth, terms.key_fit, terms.triads, terms.fifths, terms.height, terms.root_stability,
        terms.least_stability, terms.mean_stability, terms.distance, terms.motion, terms.place,
        terms.tritones, terms.seventh, harmony::roughness(chord.keys), harmony::harmonicity([&] {
          harmony::PitchClassSet set;
          for (Pitch key : chord.keys) set.insert(key.pitch_class());
          return set;
        }()),
        chord.keys.size());
  return out;
}

Result<void> answer_order(const Table& table, const std::vector<std::string>& row) {
  std::array<float, 2> values{};
  for (std::size_t side : {0u, 1u}) {
    const std::string tones = table.field(row, side == 0 ? "pcs_brighter" : "pcs_darker");
    const auto numbers = numbers_of(tones, 0, 11, "tones");
    if (!numbers) return numbers.error();
    std::vector<Pitch> keys;
    for (int tone : *numbers) keys.emplace_back(60 + tone);
    // No tones: compare the same chord in two registers.
    if (keys.empty())
      for (int tone : {60, 64, 67}) keys.emplace_back(tone + (side == 0 ? 12 : 0));
    values[side] = harmony::colour(keys, std::nullopt, keys[0].pitch_class()).dark_bright;
  }
  fmt::print("{},{},{:.5f},{:.5f},{}\n", quoted(table.field(row, "brighter")),
             quoted(table.field(row, "darker")), values[0], values[1], values[0] > values[1] ? "y" : "n");
  return {};
}

Result<void> run_table(std::istream& in, ColourOptions options) {
  std::optional<Table> table;
  auto frame = keys_in(options.previous, "--previous");
  if (!frame) return frame.error();
  auto frame_key = key_of(options.key);
  if (!frame_key) return frame_key.error();
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    const auto fail = [&](const Error& error) {
      return invalid_input(fmt::format("line {}: {}", number, error.message));
    };
    if (line.empty() || line == "\r") continue;
    if (line[0] == '#') {
      constexpr std::string_view kFrame = "frame chord is midi ";
      const auto at = line.find(kFrame);
      if (at == std::string::npos || !frame->empty()) continue;
      const auto from = at + kFrame.size();
      frame =
          keys_in(line.substr(from, line.find_first_not_of("0123456789 ", from) - from), "the frame chord");
      if (!frame) return fail(frame.error());
      continue;
    }
    const auto row = fields_of(line);
    if (!table) {
      table.emplace(row);
      if (table->has("pcs_brighter") && table->has("pcs_darker")) {
        fmt::print("brighter,darker,value_brighter,value_darker,holds\n");
        continue;
      }
      if (!table->has("id") || !(table->has("midi") || table->has("chord")))
        return invalid_input(
            fmt::format("line {}: the columns \"id\", and \"midi\" or \"chord\", are required", number));
      if (options.predict.empty())
        options.predict = !table->has("rating") && table->has("tension") ? "tension" : "consonance";
      fmt::print(
          "id,prediction,consonance,tension,valence,dark_bright,resolved_tense,mode,height{}\n",
          options.terms
              ? ",periodicity,mean_roughness,worst_roughness,unfamiliarity,outside,fifth,key_fit,triads,"
                "fifths,octaves,"
                "root_stability,least_stability,mean_stability,distance,motion,place,tritones,seventh,hk_"
                "roughness,harmonicity,n"
              : "");
      continue;
    }
    if (table->has("pcs_brighter")) {
      const auto done = answer_order(*table, row);
      if (!done) return fail(done.error());
      continue;
    }
    Chord chord;
    if (!table->has("midi")) {
      const std::string text = table->field(row, "chord");
      const auto read = harmony::parse_chord(text);
      if (!read) return fail(invalid_input(fmt::format("\"chord\" must be a chord, not \"{}\"", text)));
      chord.named = read->chord;
      for (const Pitch key : harmony::close_position(read->chord)) chord.keys.push_back(key);
      const auto key = key_of(table->field(row, "key"));
      if (!key) return fail(key.error());
      chord.key = *key ? *key : *frame_key;
      fmt::print("{}\n", answer(table->field(row, "id"), chord, options.predict, options.terms));
      continue;
    }
    auto keys = keys_in(table->field(row, "midi"), "\"midi\"");
    if (!keys) return fail(keys.error());
    if (keys->empty()) return fail(invalid_input("\"midi\" holds no keys"));
    chord.keys = std::move(*keys);
    const Pitch lowest = *std::min_element(chord.keys.begin(), chord.keys.end());
    for (const char* column : {"root", "root_pc"}) {
      const auto root = numbers_of(table->field(row, column), -127, 127, column);
      if (!root || root->size() > 1)
        return fail(invalid_input(fmt::format("\"{}\" must be one whole number", column)));
      if (!root->empty())
        chord.root = PitchClass((*root)[0] + (std::string_view(column) == "root" ? lowest.value() : 0));
    }
    if (table->field(row, "root_ambiguous") == "y") chord.root.reset();
    auto previous = keys_in(table->field(row, "previous"), "\"previous\"");
    if (!previous) return fail(previous.error());
    chord.previous = previous->empty() ? *frame : std::move(*previous);
    const auto key = key_of(table->field(row, "key"));
    if (!key) return fail(key.error());
    chord.key = *key ? *key : *frame_key;
    if (!chord.key && !frame->empty()) chord.key = key_of_frame(*frame);
    fmt::print("{}\n", answer(table->field(row, "id"), chord, options.predict, options.terms));
  }
  if (!table) return invalid_input("no table: the first line must hold the column names");
  return {};
}

int run_colour(const ColourOptions& options) {
  Input input(options.file);
  if (!input.good()) return 1;
  std::istream& in = input.stream();
  const auto done = run_table(in, options);
  if (done) return 0;
  fmt::print(stderr, "undersong: {}, {}.\n", options.file, done.error().message);
  return 1;
}

}  // namespace

void add_colour(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<ColourOptions>();
  auto* command = program.add_subcommand(
      "colour", "Tell how dark or bright, resolved or tense the chords of a table are");
  command
      ->add_option("CHORDS", options->file,
                   "comma-separated table with the columns id, and midi or chord, or - for standard input")
      ->required();
  command
      ->add_option("--predict", options->predict,
                   "which column stands under \"prediction\": by default tension where the table has a "
                   "column of that name and none called rating, else consonance")
      ->check(CLI::IsMember(std::vector<std::string>(kColumns.begin(), kColumns.end())));
  command->add_option("--key", options->key, "the key of all chords, like C:maj");
  command->add_option("--previous", options->previous,
                      "the keys of the chord before each, like \"48 55 64 72\"");
  command->add_flag("--terms", options->terms, "print the terms behind the values too");
  command->callback([options, &exit_code] { exit_code = run_colour(*options); });
}

}  // namespace undersong::offline
