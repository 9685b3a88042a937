// Measures how long questions about moments take in a store of many takes: for each kind of question, the
// median and the 99th of a hundred.
//
// usage: moments_bench [TAKES]      10,000 by default; the store is made in a temporary folder and removed
#include <SQLiteCpp/SQLiteCpp.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <random>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/database.h"

namespace undersong::takes {
namespace {

// Invents takes as a player might make them: chords of one key under a melody. In some takes one note is held
// over many roots.
class Inventor {
 public:
  void take(std::vector<Entry>& out, std::int64_t begin_utc_ms) {
    const Micros begin = clock_;
    out.push_back(take_begin(begin, begin_utc_ms));
    const int tonic = pick(12);
    const harmony::Key key{PitchClass(tonic), pick(3) == 0 ? harmony::Mode::kMinor : harmony::Mode::kMajor};
    out.push_back(key_heard(begin, {key, 0.7f}));
    const bool tries = pick(3) == 0;
    const int held = 67 + pick(17);
    const int chords = 40 + pick(120);
    Micros at = begin;
    for (int i = 0; i < chords; ++i) {
      static constexpr int kSteps[] = {0, 2, 4, 5, 7, 9, 11};
      const PitchClass root(tries ? pick(12) : tonic + kSteps[pick(7)] + (pick(12) == 0 ? 1 : 0));
      // Common qualities come often, rare ones seldom.
      const auto rows = harmony::chord_vocabulary();
      std::size_t row = 0;
      do row = static_cast<std::size_t>(pick(static_cast<int>(rows.size())));
      while (std::exp(-6 * static_cast<double>(rows[row].rarity)) * 1000 < pick(1000));
      const harmony::Quality quality(static_cast<int>(row));
      PitchClass bass = root;
      if (pick(8) == 0) bass = transpose(root, pick(12));
      listen::Reading chord{{root, quality, bass}, harmony::spell_within(root, -5), 0.8f};
      out.push_back(chord_in_force(at, chord));
      const Micros length(600'000 + pick(2'000'000));
      for (int n = tries ? 1 : pick(4); n > 0; --n) {
        listen::Meeting met;
        met.pitch = Pitch(tries ? held : 62 + pick(24));
        met.at = at + Micros(pick(300'000) + 1000 * n);
        met.length = length / 2;
        met.name = harmony::spell_within(met.pitch.pitch_class(), -5);
        met.degree = harmony::degree_in(quality, ascending(root, met.pitch.pitch_class()));
        met.chord = chord;
        met.key = key;
        out.push_back(meeting(met));
      }
      at += length;
    }
    out.push_back(take_end(at, EndReason::kSilence));
    clock_ = at + Micros(30'000'000);
  }

 private:
  int pick(int below) { return static_cast<int>(random_() % static_cast<unsigned>(below)); }
  std::mt19937 random_{11};
  Micros clock_{1'000'000};
};

// The CPU time of this process. On a shared machine it says more than the clock does.
double cpu_ms() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) / 1e6;
}

int run(int takes) {
  char name[] = "/tmp/undersong-moments-XXXXXX";
  const std::filesystem::path folder = mkdtemp(name);
  const auto path = folder / "takes.sqlite";
  constexpr std::int64_t kNow = 1'795'600'000'000;  // 2026-11-25
  std::uint64_t meetings = 0, chords = 0;
  {
    auto database = Database::open(path, {});
    if (!database) return 1;
    Inventor inventor;
    std::vector<Entry> entries;
    for (int i = 0; i < takes; ++i) {
      inventor.take(entries, kNow - std::int64_t{takes - i} * 3'600'000);
      if (entries.size() < 20'000 && i + 1 < takes) continue;
      std::vector<const Entry*> group;
      for (const Entry& entry : entries) {
        group.push_back(&entry);
        meetings += entry.kind == LineKind::kMeeting;
        chords += entry.kind == LineKind::kChord;
      }
      database->write(group);
      entries.clear();
    }
  }
  std::printf("%d takes, %llu chords, %llu meetings, %.0f MB\n", takes,
              static_cast<unsigned long long>(chords), static_cast<unsigned long long>(meetings),
              static_cast<double>(std::filesystem::file_size(path)) / 1e6);
  auto database = Database::open(path, {});
  if (!database) return 1;
  const Day today = day_at(kNow);
  {
    const auto begin = std::chrono::steady_clock::now();
    MomentSearch first;
    first.question = *read_question("exactly C7alt", today);
    database->find(first);
    std::printf("the first question after a start, which reads the digests: %.0f ms\n",
                std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count());
  }
  struct Asked {
    const char* kind;
    std::vector<std::string> questions;
  };
  const std::vector<std::string> roots{"C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"};
  std::vector<Asked> all{{"chord on a root under a note", {}},
                         {"symbol under a note", {}},
                         {"family under a note", {}},
                         {"family on a root under a degree", {}},
                         {"degree over a family",
                          {"#11 over major seventh", "b13 over suspended", "bb7 over power",
                           "b9 over half-diminished", "#9 over any dominant"}},
                         {"rare: a slash chord under a note in a key", {}},
                         {"rare: exact symbol, note, key", {}},
                         {"sequence of symbols", {}},
                         {"sequence by root movement",
                          {"minor seventh then up a fourth dominant then up a fourth major seventh",
                           "half-diminished then up a tritone augmented then down a semitone minor"}},
                         {"last week", {}},
                         {"a month far back", {}},
                         {"and, or, not", {}},
                         {"nothing found, what comes near", {}},
                         {"the last page", {}}};
  for (std::size_t i = 0; i < roots.size(); ++i) {
    const auto& a = roots[i];
    const auto& b = roots[(i + 6) % 12];
    const auto& c = roots[(i + 5) % 12];
    all[0].questions.push_back(a + " under " + b);
    all[1].questions.push_back(a + "maj7#11 under " + b);
    all[2].questions.push_back("minor under " + a);
    all[3].questions.push_back("any dominant on " + a + " under the 9");
    all[5].questions.push_back(a + "m9/" + b + " under " + c + " in " + b + " major");
    all[6].questions.push_back("exactly " + a + "7alt under " + b + " in " + c + " minor");
    all[7].questions.push_back(a + "m7 then " + c + "7 then " + b + "maj7");
    all[9].questions.push_back(a + " under " + b + " last week");
    all[10].questions.push_back(a + " under " + b + " in December 2025");
    all[11].questions.push_back("(" + a + " or " + c + ") under " + b + " and not in " + a +
                                " and not suspended");
    all[12].questions.push_back("exactly " + a + "m(maj9)/" + b + " under " + c + " in " + b +
                                " minor on 2026-11-20");
    all[13].questions.push_back("note " + a);
  }
  std::printf("%-44s %8s %8s %8s %8s %8s  %s\n", "question", "p50 ms", "p99 ms", "cpu p50", "cpu p99",
              "found", "example");
  for (const Asked& asked : all) {
    std::vector<double> times, cpu;
    std::size_t found = 0;
    for (int n = 0; n < 100; ++n) {
      const auto& text = asked.questions[static_cast<std::size_t>(n) % asked.questions.size()];
      const auto begin = std::chrono::steady_clock::now();
      const double cpu_begin = cpu_ms();
      auto question = read_question(text, today);
      if (!question) {
        std::fprintf(stderr, "%s: %s\n", text.c_str(), question.error().message.c_str());
        return 1;
      }
      MomentSearch search;
      search.days_ms = days_ms(*question);
      search.question = std::move(*question);
      if (&asked == &all[13]) search.from = MomentSearch::From{3, 1000};
      found += database->find(search).moments.size();
      cpu.push_back(cpu_ms() - cpu_begin);
      times.push_back(
          std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count());
    }
    std::sort(times.begin(), times.end());
    std::sort(cpu.begin(), cpu.end());
    std::printf("%-44s %8.2f %8.2f %8.2f %8.2f %8.1f  %s\n", asked.kind, times[50], times[98], cpu[50],
                cpu[98], static_cast<double>(found) / 100, asked.questions[0].c_str());
  }
  std::error_code ignored;
  std::filesystem::remove_all(folder, ignored);
  return 0;
}

}  // namespace
}  // namespace undersong::takes

int main(int argc, char** argv) {
  return undersong::takes::run(argc > 1 ? std::atoi(argv[1]) : 10'000);
}
