// Measures how long it takes to find a take by playing in a store of many: for tunes, progressions and
// passages the median and the 99th of a hundred, how often the right take comes first, and how often only a
// search of every take puts it first; and the first question of a program that has just opened the file.
//
// usage: find_bench [TAKES]      10,000 of three minutes by default; the store is made in a temporary folder
// and
//                                removed. The melody is given, not heard, so that it is made in a minute.
#include <SQLiteCpp/SQLiteCpp.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <string>

#include "daemon/takes/database.h"
#include "daemon/takes/find_reader.h"
#include "tests/takes/invented_pieces.h"

namespace undersong::takes {
namespace {

constexpr int kParts = 10, kQuestions = 100;
// Every so many questions are also put to every take, which takes much longer.
constexpr int kCompared = 2;

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

void fill(const std::filesystem::path& path, unsigned takes) {
  { auto made = Database::open(path, {}); }
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
  SQLite::Transaction all(file);
  SQLite::Statement take(file,
                         "INSERT INTO takes(take, begin_utc_ms, at, last_at, ended, first_line, last_line) "
                         "VALUES (?, 0, 0, 0, 'silence', 1, 1)");
  SQLite::Statement print(file, "INSERT INTO find_prints VALUES (?, ?, ?, ?)");
  SQLite::Statement notes(file, "INSERT INTO find_notes VALUES (?, ?)");
  for (unsigned seed = 1; seed <= takes; ++seed) {
    const FindPrint made = print_of(invented_piece(seed, kParts));
    const std::string lines = packed_lines(made), packed = packed_notes(made.notes);
    for (auto* each : {&take, &print, &notes}) each->reset();
    take.bind(1, std::int64_t{seed});
    take.exec();
    print.bind(1, std::int64_t{seed});
    print.bind(2, kFindVersion);
    print.bind(3, content_of(made.notes));
    print.bind(4, lines.data(), static_cast<int>(lines.size()));
    print.exec();
    notes.bind(1, std::int64_t{seed});
    notes.bind(2, packed.data(), static_cast<int>(packed.size()));
    notes.exec();
  }
  all.commit();
}

double ms_of(const std::function<void()>& work) {
  const auto begin = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
}

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

void measure(const std::filesystem::path& path, unsigned takes) {
  FindQuery some = query_of(1, "tune");
  std::printf("a program that has just opened the file: %.0f ms to the first answer\n", ms_of([&] {
                auto file = FindFile::open(path);
                if (!file || !file->find(some)) std::abort();
              }));
  SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
  const auto shelf = read_find_shelf(file);
  for (const char* kind : {"tune", "progression", "passage"}) {
    std::vector<double> took;
    int first = 0, missed = 0;
    for (int i = 0; i < kQuestions; ++i) {
      const unsigned seed = 1 + static_cast<unsigned>(i) * (takes / kQuestions);
      const FindQuery query = query_of(seed, kind);
      FoundPlaces found;
      took.push_back(ms_of([&] { found = find_on_shelf(file, *shelf, query); }));
      const auto is_first = [seed](const FoundPlaces& all) {
        return !all.places.empty() && all.places[0].found.take == seed;
      };
      first += is_first(found);
      if (!is_first(found) && i % kCompared == 0)
        missed += is_first(find_on_shelf(file, *shelf, query, kEveryTake));
    }
    std::sort(took.begin(), took.end());
    std::printf(
        "%-12s median %6.1f ms, 99th %6.1f ms, right take first %d of %d; missed by the index %d of %d\n",
        kind, took[kQuestions / 2], took[kQuestions - 2], first, kQuestions, missed, kQuestions / kCompared);
  }
}

}  // namespace
}  // namespace undersong::takes

int main(int argc, char** argv) {
  const int takes = argc > 1 ? std::atoi(argv[1]) : 10'000;
  if (takes < 100 || takes > 1'000'000) {
    std::fprintf(stderr, "find_bench: the number of takes must be 100 to 1,000,000.\n");
    return 2;
  }
  char name[] = "/tmp/undersong-bench-XXXXXX";
  if (!mkdtemp(name)) return 1;
  const std::filesystem::path folder = name;
  undersong::takes::fill(folder / "takes.db", static_cast<unsigned>(takes));
  undersong::takes::measure(folder / "takes.db", static_cast<unsigned>(takes));
  std::filesystem::remove_all(folder);
}
