// Writes what speaks for each loop that could be in a take, for train_loop.py.
//
// usage: dump_loop FILE.mid...
// Prints one JSON object a line: the file's name, and its loops with their chords, passes (seconds) and
// evidence, in the order of LoopEvidence::values().
#include <cstdio>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/loop.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc < 2) return std::fprintf(stderr, "usage: dump_loop FILE.mid...\n"), 2;
  for (int a = 1; a < argc; ++a) {
    const auto file = midi::read_smf_file(argv[a]);
    if (!file) return std::fprintf(stderr, "%s cannot be read\n", argv[a]), 1;
    const auto take = takes::hear(midi::merged_events(*file));
    std::printf("{\"name\":\"%s\",\"loops\":[", argv[a]);
    const char* comma = "";
    for (const auto& loop : takes::all_loops(take, takes::first_beats(take))) {
      std::printf("%s{\"confidence\":%.4f,\"chords\":[", comma, loop.confidence);
      comma = "";
      for (const auto& chord : loop.chords) {
        std::printf("%s\"%s\"", comma, harmony::harte(chord.chord, chord.root).c_str());
        comma = ",";
      }
      std::printf("],\"passes\":[");
      comma = "";
      for (const auto& pass : loop.passes) std::printf("%s%.3f", comma, seconds(pass.on_beat)), comma = ",";
      std::printf("],\"evidence\":[");
      comma = "";
      for (const double value : loop.evidence.values()) std::printf("%s%.4f", comma, value), comma = ",";
      std::printf("]}");
      comma = ",";
    }
    std::printf("]}\n");
  }
}
