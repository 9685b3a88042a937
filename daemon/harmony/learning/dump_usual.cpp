// Writes how usual each chord is, for train_player.py: for each question 2 * 156 float32, logarithms up to a
// constant, [absolute root * 13 + class], first without and then with the memory of the take.
//
// usage: dump_usual [TABLE] < QUESTIONS > SCORES.f32
// A question is a row of numbers: 1 if a piece begins, fifths of the signature, held pitch class, beats; the
// number of notes, then pitch class and beats of each; the number of chords before, newest first, then place
// (root * 13 + class; -1: unknown) of each; the number of chords that the take has got since the question
// before, then place, held pitch class (-1: unknown) and notes as bits of each. TABLE: a table as
// train_ranking.py writes it; without one, the one that is compiled in.
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/harmony/transition.h"

using namespace undersong;
using namespace undersong::harmony;

namespace {

std::optional<RankingTable> read_table(const char* file) {
  std::ifstream in(file);
  std::vector<std::int32_t> numbers;
  for (std::string line; std::getline(in, line);) {
    if (line.rfind("//", 0) == 0) continue;
    for (const char* at = line.c_str(); *at != 0;) {
      char* end = nullptr;
      numbers.push_back(static_cast<std::int32_t>(std::strtol(at, &end, 10)));
      at = *end == ',' ? end + 1 : end;
    }
  }
  return RankingTable::from(numbers);
}

}  // namespace

int main(int argc, char** argv) {
  std::optional<RankingTable> read;
  if (argc > 1 && !(read = read_table(argv[1]))) return std::fputs("dump_usual: not a table\n", stderr), 1;
  const RankingTable& table = read ? *read : RankingTable::standard();
  std::ios::sync_with_stdio(false);
  TakeMemory take;
  int begins = 0, fifths = 0, held = 0, count = 0;
  float beats = 0;
  while (std::cin >> begins >> fifths >> held >> beats >> count) {
    if (begins) take.clear();
    Phrase phrase;
    for (int i = 0, note = 0; i < count; ++i) {
      float sounded = 0;
      std::cin >> note >> sounded;
      phrase.add(PitchClass(note), sounded);
    }
    phrase.held = PitchClass(held);
    phrase.beats = beats;
    ChordsBefore before;
    bool known = true;
    std::cin >> count;
    for (int i = 0, chord = 0; i < count; ++i) {
      std::cin >> chord;
      known = known && chord >= 0;
      if (known) before.push_back(plainest(static_cast<std::size_t>(chord)));
    }
    std::cin >> count;
    for (int i = 0, chord = 0, note = 0, notes = 0; i < count; ++i) {
      std::cin >> chord >> note >> notes;
      if (chord >= 0)
        take.add(plainest(static_cast<std::size_t>(chord)),
                 note < 0 ? std::nullopt : std::optional(PitchClass(note)),
                 PitchClassSet(static_cast<unsigned>(notes)));
    }
    const Key key{PitchClass(7 * fifths), Mode::kMajor};
    for (const TakeMemory* memory : {static_cast<const TakeMemory*>(nullptr), &std::as_const(take)}) {
      ChordScores scores;
      usual_chords(phrase, key, before, memory, table, scores);
      std::fwrite(scores.data(), sizeof(float), scores.size(), stdout);
    }
  }
  return 0;
}
