// Writes what is known of each level at which a take could be counted, for train_levels.py.
//
// usage: dump_levels FILE.mid...
// One line of JSON for each level of each file: its name, the features of daemon/takes/levels.h, and the
// beats.
#include <cstdio>

#include "daemon/midi/smf.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/levels.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc < 2) return std::fprintf(stderr, "usage: dump_levels FILE.mid...\n"), 2;
  for (int a = 1; a < argc; ++a) {
    const auto file = midi::read_smf_file(argv[a]);
    if (!file) return std::fprintf(stderr, "%s cannot be read\n", argv[a]), 1;
    const auto take = takes::hear(midi::merged_events(*file));
    std::vector<Micros> changes;
    for (const auto& span : take.spans) changes.push_back(span.begin);
    for (const takes::Level& level : takes::levels_of(take.notes, changes)) {
      std::printf("{\"file\":\"%s\",\"features\":[", argv[a]);
      for (std::size_t i = 0; i < level.features.size(); ++i)
        std::printf("%s%.5g", i > 0 ? "," : "", static_cast<double>(level.features[i]));
      std::printf("],\"beats\":[");
      for (std::size_t i = 0; i < level.path.beats.size(); ++i)
        std::printf("%s%.3f", i > 0 ? "," : "", seconds(level.path.beats[i].at));
      std::printf("]}\n");
    }
  }
}
