// undersong rank QUERIES.jsonl: lists the chords that fit under these notes, best first.
//
// A query is one JSON object on one line: id, key_so_far (fifths of the signature, -7..7), melody [[pitch,
// beats], ...] in order of sounding, held (the pitch that matters most), previous [Harte, ...] with the
// newest last. Each query is answered independently. With --session the id must be PIECE-NUMBER, where the
// numbers count the chords of a piece. Then the earlier chords of the piece, as far as its queries name them,
// are remembered as in a take.
//
// With --past FILE the player is known from earlier pieces: queries with an `answer`, the chord that was
// played, the oldest piece first. What they add up to ranks all queries, as kept takes do for a live list.
#include <fmt/format.h>

#include <boost/json.hpp>
#include <charconv>
#include <fstream>
#include <iostream>
#include <map>
#include <memory>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "clients/offline/commands.h"
#include "clients/offline/input.h"
#include "daemon/base/result.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/written_spelling.h"
#include "daemon/takes/own_idiom.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

struct RankOptions {
  std::string file;
  std::string table;
  std::string past;  // file of earlier pieces of the player
  harmony::Wishes wishes{0, 0, -1};
  std::string idiom;  // songbook, pop, jazz; empty: found from the chords heard
  bool session = false;
  bool plain = false;    // no places reserved for variety
  bool explain = false;  // add the reason for each chord
};

struct Query {
  std::string id;
  std::optional<harmony::Chord> answer;
  harmony::Question question;
  std::vector<std::optional<harmony::Chord>> previous;  // newest last
};

Result<Pitch> pitch_of(const json::value& value, const char* member) {
  const auto number = value.is_number() ? value.to_number<double>() : -1.0;
  if (!(number >= 0 && number <= 127))
    return invalid_input(fmt::format("\"{}\" must be a pitch from 0 to 127", member));
  return Pitch(static_cast<int>(number));
}

Result<Query> parse_query(const std::string& line) {
  boost::system::error_code error;
  const json::value value = json::parse(line, error);
  if (error || !value.is_object()) return invalid_input("not a JSON object");
  const json::object& object = value.get_object();
  Query query;
  const auto* id = object.if_contains("id");
  if (!id || !id->is_string()) return invalid_input("\"id\" must be a string");
  query.id = std::string(id->get_string());
  const auto* held = object.if_contains("held");
  if (!held) return invalid_input("\"held\" is missing");
  const auto pitch = pitch_of(*held, "held");
  if (!pitch) return pitch.error();
  query.question.melody.push_back(*pitch);
  if (const auto* key = object.if_contains("key_so_far")) {
    if (!key->is_number() || !(key->to_number<double>() >= -7 && key->to_number<double>() <= 7))
      return invalid_input("\"key_so_far\" must be a number of fifths from -7 to 7");
    const int fifths = static_cast<int>(key->to_number<double>());
    query.question.key = harmony::Key{PitchClass(7 * fifths), harmony::Mode::kMajor};
  }
  if (const auto* previous = object.if_contains("previous"); previous) {
    if (!previous->is_array()) return invalid_input("\"previous\" must be a list of chords");
    for (const json::value& item : previous->get_array()) {
      const auto chord =
          item.is_string() ? harmony::parse_harte(std::string(item.get_string())) : std::nullopt;
      query.previous.push_back(chord ? std::optional(chord->chord) : std::nullopt);
    }
    for (std::size_t back = 1; back <= query.previous.size(); ++back) {
      const auto& chord = query.previous[query.previous.size() - back];
      if (!chord) break;  // an unknown chord: the chords before it are not directly before this one
      if (back == 1)
        query.question.previous = *chord;
      else
        query.question.earlier.push_back(*chord);
    }
  }
  if (const auto* answer = object.if_contains("answer"); answer && answer->is_string())
    if (const auto chord = harmony::parse_harte(std::string(answer->get_string())))
      query.answer = chord->chord;
  if (const auto* melody = object.if_contains("melody"); melody) {
    if (!melody->is_array()) return invalid_input("\"melody\" must be a list of [pitch, beats]");
    for (const json::value& item : melody->get_array()) {
      if (!item.is_array() || item.get_array().size() < 2 || !item.get_array()[1].is_number())
        return invalid_input("\"melody\" must be a list of [pitch, beats]");
      const auto note = pitch_of(item.get_array()[0], "melody");
      if (!note) return note.error();
      const double beats = item.get_array()[1].to_number<double>();
      if (!(beats >= 0 && beats <= 1000))
        return invalid_input("the beats of a melody note must be from 0 to 1000");
      query.question.phrase.add(note->pitch_class(), static_cast<float>(beats));
    }
    query.question.phrase.beats = query.question.phrase.total();
  }
  return query;
}

// The chords of one piece in order, collected from its queries.
class Session {
 public:
  // Remembers the earlier chords that this query names. False if its id has no number.
  bool before(const Query& query) {
    const auto dash = query.id.rfind('-');
    std::size_t number = 0;
    const char* end = query.id.data() + query.id.size();
    if (dash == std::string::npos || std::from_chars(query.id.data() + dash + 1, end, number).ptr != end)
      return false;
    if (const std::string piece = query.id.substr(0, dash); piece != piece_) {
      piece_ = piece;
      notes_.clear();
      memory_.clear();
      known_ = 0;
    }
    const std::size_t told = std::min(query.previous.size(), number);
    for (std::size_t back = told; back > 0; --back) {
      const std::size_t at = number - back;
      if (at < known_ || !query.previous[query.previous.size() - back]) continue;
      known_ = at + 1;
      const auto heard = notes_.find(at);
      memory_.add(*query.previous[query.previous.size() - back],
                  heard == notes_.end() ? std::nullopt : std::optional(heard->second.held),
                  heard == notes_.end() ? harmony::PitchClassSet() : heard->second.notes);
    }
    Notes& mine = notes_[number];
    mine.held = query.question.melody[0].pitch_class();
    for (int pc = 0; pc < 12; ++pc)
      if (query.question.phrase.weight[static_cast<std::size_t>(pc)] > 0) mine.notes.insert(PitchClass(pc));
    return true;
  }
  const harmony::TakeMemory& memory() const { return memory_; }

 private:
  struct Notes {
    PitchClass held;
    harmony::PitchClassSet notes;
  };
  std::string piece_;
  std::map<std::size_t, Notes> notes_;
  harmony::TakeMemory memory_;
  std::size_t known_ = 0;  // all chords before this number are remembered
};

// Counts the pieces of a file as takes (takes/own_idiom.h).
Result<std::unique_ptr<harmony::PlayerMemory>> read_past(const std::string& file) {
  std::ifstream in(file);
  if (!in) return invalid_input(fmt::format("{}: can't be opened", file));
  using harmony::PlayedChord;
  std::vector<std::vector<PlayedChord>> pieces;
  std::string line, piece;
  std::set<std::uint8_t> heard;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    const auto query = parse_query(line);
    if (!query) return invalid_input(fmt::format("{}, line {}: {}", file, number, query.error().message));
    if (const std::string own = query->id.substr(0, query->id.rfind('-')); pieces.empty() || own != piece) {
      piece = own;
      pieces.emplace_back();
      heard.clear();
    }
    if (!query->answer || !query->question.key) continue;
    const PitchClass tonic(7 * harmony::signature(*query->question.key));
    PlayedChord played;
    played.chord = harmony::seen_from(tonic, *query->answer);
    if (played.chord == PlayedChord::kNoChord) continue;
    if (const auto& last = query->question.previous) played.last = harmony::seen_from(tonic, *last);
    if (const auto& earlier = query->question.earlier; !earlier.empty())
      played.second = harmony::seen_from(tonic, earlier[0]);
    played.held = static_cast<std::uint8_t>(ascending(tonic, query->question.melody[0].pitch_class()));
    played.weight = heard.insert(played.chord).second ? takes::kOnceCounts : takes::kReturnedCounts;
    pieces.back().push_back(played);
  }
  const auto counts = std::make_unique<harmony::PlayerCounts>();
  for (std::size_t i = 0; i < pieces.size(); ++i)
    for (const PlayedChord& played : pieces[i])
      counts->add(played, harmony::PlayerCounts::fade_of(pieces.size() - 1 - i));
  return std::make_unique<harmony::PlayerMemory>(*counts);
}

Result<harmony::RankingTable> read_table(const std::string& file) {
  std::ifstream in(file);
  if (!in) return invalid_input(fmt::format("{}: can't be opened", file));
  std::vector<std::int32_t> numbers;
  std::string line;
  for (std::size_t count = 1; std::getline(in, line); ++count) {
    if (line.starts_with("//")) continue;
    for (const char* at = line.data(); at < line.data() + line.size();) {
      if (*at == ',' || *at == ' ' || *at == '\r') {
        ++at;
        continue;
      }
      std::int32_t number = 0;
      const auto read = std::from_chars(at, line.data() + line.size(), number);
      if (read.ec != std::errc()) return invalid_input(fmt::format("{}, line {}: not a number", file, count));
      numbers.push_back(number);
      at = read.ptr;
    }
  }
  auto table = harmony::RankingTable::from(numbers);
  if (!table) return invalid_input(fmt::format("{}: not a ranking table", file));
  return *std::move(table);
}

int run_rank(const RankOptions& options) {
  Input input(options.file);
  if (!input.good()) return 1;
  std::istream& in = input.stream();
  std::optional<harmony::RankingTable> learnt;
  if (!options.table.empty()) {
    auto table = read_table(options.table);
    if (!table) {
      fmt::print(stderr, "undersong: {}.\n", table.error().message);
      return 1;
    }
    learnt = *std::move(table);
  }
  std::unique_ptr<harmony::PlayerMemory> player;
  if (!options.past.empty()) {
    auto past = read_past(options.past);
    if (!past) {
      fmt::print(stderr, "undersong: {}.\n", past.error().message);
      return 1;
    }
    player = *std::move(past);
  }
  const auto& table = learnt ? *learnt : harmony::RankingTable::standard();
  std::optional<harmony::Idiom> lean;
  if (!options.idiom.empty() && options.idiom != "own")
    lean = options.idiom == "songbook" ? harmony::Idiom::kSongbook
           : options.idiom == "pop"    ? harmony::Idiom::kPop
                                       : harmony::Idiom::kJazz;
  std::string line;
  std::size_t number = 0;
  harmony::Alternatives list;
  Session session;
  while (std::getline(in, line)) {
    ++number;
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    auto query = parse_query(line);
    if (query && options.session && !session.before(*query))
      query = invalid_input("\"id\" must be PIECE-NUMBER with --session");
    if (!query) {
      fmt::print(stderr, "undersong: {}, line {}: {}.\n", options.file, number, query.error().message);
      return 1;
    }
    query->question.wishes = options.wishes;
    query->question.lean = lean;
    query->question.variety = !options.plain;
    if (options.session) query->question.take = &session.memory();
    query->question.player = player.get();
    query->question.lean_own = options.idiom == "own";
    harmony::rank_alternatives(query->question, nullptr, list, table);
    json::array ranked, reasons;
    const auto& asked = query->question;
    std::optional<harmony::NoteName> root;
    if (asked.previous) root = harmony::root_name_in(*asked.previous, asked.key);
    harmony::MelodyNames names;  // all reasons use the same names for the notes
    for (const Pitch note : asked.melody)
      names.push_back(harmony::spell_note(note.pitch_class(), asked.key ? harmony::signature(*asked.key) : 0,
                                          asked.previous ? &*asked.previous : nullptr,
                                          root ? &*root : nullptr));
    for (const auto& offered : list) {
      ranked.emplace_back(harmony::harte(offered.chord, offered.root_name));
      if (!options.explain) continue;
      std::string reason = harmony::symbol(offered.chord, offered.root_name) + ": ";
      harmony::append_reason(reason, offered, asked.melody, names);
      reasons.emplace_back(reason);
    }
    json::object out{{"id", query->id}, {"ranked", std::move(ranked)}};
    if (options.explain) out["reasons"] = std::move(reasons);
    std::cout << json::serialize(out) << '\n';
  }
  return 0;
}

}  // namespace

void add_rank(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<RankOptions>();
  auto* command =
      program.add_subcommand("rank", "Rank chords under given melody notes, one JSON query per line");
  command->add_option("QUERIES", options->file, "file of JSON lines, or - for standard input")->required();
  command->add_option("--wish", options->wishes.surprising, "familiar -1 .. 1 surprising")
      ->check(CLI::Range(-1.0, 1.0))
      ->default_val(options->wishes.surprising);
  command->add_option("--brighter", options->wishes.brighter, "darker -1 .. 1 brighter")
      ->check(CLI::Range(-1.0, 1.0));
  command->add_option("--tenser", options->wishes.tenser, "resolved -1 .. 1 tense")
      ->check(CLI::Range(-1.0, 1.0));
  command
      ->add_option(
          "--idiom", options->idiom,
          "expect songbook, pop, jazz, or the player's own (with --past); by default it is found from "
          "the chords heard")
      ->check(CLI::IsMember({"songbook", "pop", "jazz", "own"}));
  command->add_flag("--no-variety", options->plain, "reserve no places for variety");
  command->add_flag("--session", options->session, "remember the earlier chords of a piece, as in a take");
  command->add_flag("--explain", options->explain, "explain the place of each chord");
  command->add_option("--past", options->past,
                      "pieces that the player played before, oldest first: queries with their answers");
  command->add_option("--table", options->table, "use this learnt table instead of the built-in one");
  command->callback([options, &exit_code] { exit_code = run_rank(*options); });
}

}  // namespace undersong::offline
