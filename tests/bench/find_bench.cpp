// Measures how long it takes to find a take by playing in a store of many, and what the index loses: for
// tunes, progressions and passages the median and the 99th of the times, how often the right take comes first
// and among five, and the same when every take is tried; and the first question of a program that has just
// opened the file. The times are processor time of the thread that searches, so that what else runs on the
// machine does not count.
//
// usage: find_bench [TAKES [STORE QUERIES]]
//
// TAKES: 10,000 by default. With no more than that, the takes are invented, three minutes each; the store is
// made in a temporary folder and removed. The melody is given, not heard, so that it is made in a minute.
// STORE is a file of takes that somebody played, QUERIES a folder with queries.json, [{"query": NAME, "kind":
// ..., "take": TITLE}], and NAME.mid. The store is copied and filled up to TAKES with takes that are put
// together from parts of its own, each in another key and tempo; of takes that are asked for, no part is
// used.
#include <SQLiteCpp/SQLiteCpp.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <random>
#include <set>
#include <sstream>
#include <string>

#include "daemon/midi/smf.h"
#include "daemon/takes/database.h"
#include "daemon/takes/find_reader.h"
#include "tests/takes/invented_pieces.h"

namespace undersong::takes {
namespace {

constexpr int kParts = 10, kQuestions = 100;

FindPrint print_of(const InventedPiece& piece) {
  std::vector<PlayedNote> notes;
  std::vector<HeardNote> melody;
  std::vector<KeptChord> chords;
  std::vector<int> triad;
  Micros end{};
  for (const InventedNote& note : piece.notes) {
    notes.push_back({note.at, note.length, Pitch(note.key), Velocity(80)});
    end = std::max(end, note.at + note.length);
    if (note.tune) {
      melody.push_back({note.at, Pitch(note.key)});
      continue;
    }
    triad.push_back(note.key);
    if (triad.size() < 3) continue;
    static constexpr const char* kNames[] = {"C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"};
    const bool minor = triad[1] - triad[0] == 3, diminished = triad[2] - triad[0] == 6;
    chords.push_back({note.at, std::string(kNames[triad[0] % 12]) + (diminished ? ":dim"
                                                                     : minor    ? ":min"
                                                                                : ":maj")});
    triad.clear();
  }
  return find_print(Micros(0), notes, melody, chords, end);
}

// Writes takes with their find prints into a file of takes.
class Filler {
 public:
  explicit Filler(SQLite::Database& file)
      : take_(file,
              "INSERT INTO takes(take, begin_utc_ms, at, last_at, ended, first_line, last_line) "
              "VALUES (?, 0, 0, 0, 'silence', 1, 1)"),
        print_(file, "INSERT INTO find_prints VALUES (?, ?, ?, ?)"),
        notes_(file, "INSERT INTO find_notes VALUES (?, ?)") {}
  void put(std::int64_t number, const FindPrint& made) {
    const std::string lines = packed_lines(made), packed = packed_notes(made.notes);
    for (auto* each : {&take_, &print_, &notes_}) each->reset();
    take_.bind(1, number);
    take_.exec();
    print_.bind(1, number);
    print_.bind(2, kFindVersion);
    print_.bind(3, content_of(made.notes));
    print_.bind(4, lines.data(), static_cast<int>(lines.size()));
    print_.exec();
    notes_.bind(1, number);
    notes_.bind(2, packed.data(), static_cast<int>(packed.size()));
    notes_.exec();
  }

 private:
  SQLite::Statement take_, print_, notes_;
};

void fill_with_invented(const std::filesystem::path& path, unsigned takes) {
  { auto made = Database::open(path, {}); }
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
  SQLite::Transaction all(file);
  Filler filler(file);
  for (unsigned seed = 1; seed <= takes; ++seed) filler.put(seed, print_of(invented_piece(seed, kParts)));
  all.commit();
}

// Parts of 25 to 50 seconds from takes, one after the other, each in another key and tempo.
FindPrint put_together(const std::vector<FindPrint>& from, std::mt19937& random) {
  const auto pick = [&](std::size_t below) { return static_cast<FindTime>(random() % below); };
  FindPrint out;
  FindTime at = 0;
  while (at < 3 * 60 * 100) {
    const FindPrint& print = from[static_cast<std::size_t>(pick(from.size()))];
    if (print.notes.empty()) continue;
    const FindTime length = 2500 + pick(2500);
    const FindTime begin = pick(static_cast<std::size_t>(std::max(1, print.notes.back().at - length)));
    const int shift = pick(12) - 6;
    const double rate = 0.8 + 0.01 * pick(45);
    const auto placed = [&](FindTime time) { return at + static_cast<FindTime>(rate * (time - begin)); };
    const auto add = [&](const std::vector<FindNote>& notes, std::vector<FindNote>& to) {
      for (const FindNote& note : notes)
        if (note.at >= begin && note.at < begin + length)
          to.push_back({placed(note.at), static_cast<std::uint8_t>(std::clamp(note.key + shift, 0, 127))});
    };
    add(print.notes, out.notes);
    add(print.melody, out.melody);
    add(print.top, out.top);
    for (FindChord chord : print.chords)
      if (chord.at >= begin && chord.at < begin + length) {
        chord.at = placed(chord.at);
        chord.length = static_cast<FindTime>(rate * chord.length);
        chord.root = static_cast<std::uint8_t>((chord.root + shift + 12) % 12);
        out.chords.push_back(chord);
      }
    at += static_cast<FindTime>(rate * length);
  }
  return out;
}

double ms_of(const std::function<void()>& work) {
  const auto now = [] {
    timespec time{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
    return static_cast<double>(time.tv_sec) * 1e3 + static_cast<double>(time.tv_nsec) / 1e6;
  };
  const double begin = now();
  work();
  return now() - begin;
}

struct Sought {
  std::string kind;
  TakeId take = 0;
  FindQuery query;
};

FindQuery query_of(unsigned seed, const char* kind) {
  const auto piece = invented_piece(seed, kParts);
  const std::string word = kind;
  std::vector<InventedNote> notes;
  if (word == "progression") {
    for (InventedNote note : piece.notes)
      if (!note.tune && seconds(note.at) < 14) note.key += 5, notes.push_back(note);
  } else {
    notes = asked_of(piece, {.from = 30,
                             .to = word == "tune" ? 37.0 : 36.0,
                             .tune_only = word == "tune",
                             .shift = static_cast<int>(seed % 11) - 5,
                             .slower = 0.7 + (seed % 8) * 0.1,
                             .slips = seed});
  }
  return *find_query(played(notes));
}

std::vector<Sought> invented_questions(unsigned takes) {
  std::vector<Sought> out;
  for (const char* kind : {"tune", "progression", "passage"})
    for (int i = 0; i < kQuestions; ++i) {
      const unsigned seed = 1 + static_cast<unsigned>(i) * (takes / kQuestions);
      out.push_back({kind, seed, query_of(seed, kind)});
    }
  return out;
}

std::vector<Sought> read_questions(const std::filesystem::path& folder,
                                   const std::map<std::string, TakeId>& titles) {
  std::ifstream file(folder / "queries.json");
  std::stringstream text;
  text << file.rdbuf();
  std::vector<Sought> out;
  const boost::json::value rows = boost::json::parse(text.str());
  for (const auto& row : rows.as_array()) {
    const std::string name(row.at("query").as_string()), take(row.at("take").as_string());
    const auto played = midi::read_smf_file(folder / (name + ".mid"));
    if (!played || !titles.contains(take)) throw std::runtime_error(name + ": no such file or take");
    if (auto query = find_query(midi::merged_events(*played)))
      out.push_back({std::string(row.at("kind").as_string()), titles.at(take), std::move(*query)});
  }
  return out;
}

// Fills the store up with takes that are put together from those that nobody asks for.
void fill_up(const std::filesystem::path& path, const std::set<TakeId>& asked, unsigned takes) {
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
  std::vector<FindPrint> prints;
  std::int64_t last = 0;
  {
    SQLite::Statement kept(file,
                           "SELECT find_prints.take, lines, notes FROM find_prints JOIN find_notes ON "
                           "find_prints.take = find_notes.take ORDER BY find_prints.take");
    const auto bytes = [&](int column) {
      const SQLite::Column blob = kept.getColumn(column);
      return std::string_view(static_cast<const char*>(blob.getBlob()),
                              static_cast<std::size_t>(blob.getBytes()));
    };
    while (kept.executeStep()) {
      last = kept.getColumn(0).getInt64();
      FindPrint print;
      auto notes = unpack_notes(bytes(2));
      if (asked.contains(static_cast<TakeId>(last)) || !notes || !unpack_lines(bytes(1), print)) continue;
      print.notes = std::move(*notes);
      prints.push_back(std::move(print));
    }
  }
  if (prints.empty()) throw std::runtime_error("the store has no take besides those that are asked for");
  SQLite::Transaction all(file);
  Filler filler(file);
  std::mt19937 random(1);
  const auto have = static_cast<unsigned>(file.execAndGet("SELECT count(*) FROM find_prints").getInt64());
  for (unsigned i = have; i < takes; ++i) filler.put(++last, put_together(prints, random));
  all.commit();
}

bool among(const FoundPlaces& found, TakeId take, std::size_t first) {
  for (std::size_t i = 0; i < std::min(first, found.places.size()); ++i)
    if (found.places[i].found.take == take) return true;
  return false;
}

void measure(const std::filesystem::path& path, const std::vector<Sought>& questions) {
  std::printf("a program that has just opened the file: %.0f ms to the first answer\n", ms_of([&] {
                auto file = FindFile::open(path);
                if (!file || !file->find(questions.front().query)) std::abort();
              }));
  SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
  const auto shelf = read_find_shelf(file);
  std::map<std::string, std::vector<const Sought*>> kinds;
  for (const Sought& each : questions) kinds[each.kind].push_back(&each);
  for (const auto& [kind, asked] : kinds) {
    std::vector<double> took, took_every;
    int first = 0, five = 0, every_first = 0, every_five = 0, same = 0, there = 0, answers = 0;
    for (const Sought* each : asked) {
      FoundPlaces found, every;
      took.push_back(ms_of([&] { found = find_on_shelf(file, *shelf, each->query); }));
      took_every.push_back(ms_of([&] { every = find_on_shelf(file, *shelf, each->query, kEveryTake); }));
      first += among(found, each->take, 1);
      five += among(found, each->take, 5);
      every_first += among(every, each->take, 1);
      every_five += among(every, each->take, 5);
      if (every.places.empty()) continue;
      ++answers;
      const TakeId best = every.places[0].found.take;
      same += among(found, best, 1);
      there += among(found, best, kMostFoundTakes);
    }
    std::sort(took.begin(), took.end());
    std::sort(took_every.begin(), took_every.end());
    const std::size_t n = asked.size();
    std::printf("%-12s %3zu asked: median %6.1f ms, 99th %6.1f ms; every take: median %6.1f ms\n",
                kind.c_str(), n, took[n / 2], took[std::min(n - 1, n * 99 / 100)], took_every[n / 2]);
    std::printf("             right take first %d, among five %d; of every take %d, %d\n", first, five,
                every_first, every_five);
    std::printf("             what comes first of every take comes first %d, is found at all %d, of %d\n",
                same, there, answers);
  }
}

// A copy of the store, filled up; the questions that are asked of it.
std::vector<Sought> prepare(const std::filesystem::path& store, const std::filesystem::path& queries,
                            const std::filesystem::path& copy, unsigned takes) {
  {
    SQLite::Database from(store.string(), SQLite::OPEN_READWRITE);
    from.exec("VACUUM INTO '" + copy.string() + "'");
  }
  std::map<std::string, TakeId> titles;
  {
    SQLite::Database file(copy.string(), SQLite::OPEN_READONLY);
    SQLite::Statement named(file, "SELECT title, take FROM takes");
    while (named.executeStep())
      titles[named.getColumn(0).getString()] = static_cast<TakeId>(named.getColumn(1).getInt64());
  }
  auto out = read_questions(queries, titles);
  std::set<TakeId> asked;
  for (const Sought& each : out) asked.insert(each.take);
  fill_up(copy, asked, takes);
  return out;
}

}  // namespace
}  // namespace undersong::takes

int main(int argc, char** argv) {
  namespace takes = undersong::takes;
  const int many = argc > 1 ? std::atoi(argv[1]) : 10'000;
  if (many < 100 || many > 1'000'000 || argc == 3 || argc > 4) {
    std::fprintf(stderr, "usage: find_bench [TAKES [STORE QUERIES]], with 100 to 1,000,000 takes\n");
    return 2;
  }
  char name[] = "/tmp/undersong-bench-XXXXXX";
  if (!mkdtemp(name)) return 1;
  const std::filesystem::path folder = name, path = folder / "takes.db";
  int exit_code = 0;
  try {
    std::vector<takes::Sought> questions;
    if (argc == 4) {
      questions = takes::prepare(argv[2], argv[3], path, static_cast<unsigned>(many));
    } else {
      takes::fill_with_invented(path, static_cast<unsigned>(many));
      questions = takes::invented_questions(static_cast<unsigned>(many));
    }
    takes::measure(path, questions);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "find_bench: %s\n", e.what());
    exit_code = 1;
  }
  std::filesystem::remove_all(folder);
  return exit_code;
}
