// Writes the inputs of the network of daemon/takes/strikes.h for performances, for train_beats.py; with
// --near those of daemon/takes/near_strikes.h, for train_near_strikes.py.
//
// usage: dump_strikes [--near] WARP FILE.mid...
// WARP is 0, or the seed of a time warp (slow waves, spread key presses, another tempo). For each file,
// standard output gets its name and a newline, then an int32 count, count doubles (seconds as written in the
// file), count doubles (how much longer a second lasts there) and count rows of floats. The times are always
// those of the file, warped or not, so that its annotations fit.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "daemon/midi/smf.h"
#include "daemon/takes/loop.h"
#include "daemon/takes/near_strikes.h"
#include "daemon/takes/strikes.h"

using namespace undersong;

int main(int argc, char** argv) {
  const bool near = argc > 1 && std::string(argv[1]) == "--near";
  if (near) --argc, ++argv;
  if (argc < 3) return std::fprintf(stderr, "usage: dump_strikes [--near] WARP FILE.mid...\n"), 2;
  const unsigned seed = static_cast<unsigned>(std::atoi(argv[1]));
  for (int a = 2; a < argc; ++a) {
    const auto file = midi::read_smf_file(argv[a]);
    if (!file) return std::fprintf(stderr, "%s cannot be read\n", argv[a]), 1;
    const auto take = takes::hear(midi::merged_events(*file));
    std::vector<Micros> changes;
    for (const auto& span : take.spans) changes.push_back(span.begin);
    auto notes = take.notes;
    if (notes.empty()) continue;
    std::mt19937 random(seed * 7919u + static_cast<unsigned>(a));
    std::uniform_real_distribution<double> any(0, 1);
    std::normal_distribution<double> bell(0, 1);
    const double stretch = seed == 0 ? 1 : std::exp(.25 * bell(random)),
                 depth = seed == 0 ? 0 : .2 * any(random), spread = seed == 0 ? 0 : .004 + .014 * any(random);
    const double w1 = 2 + 6 * any(random), w2 = 12 + 20 * any(random), p1 = 6.28 * any(random),
                 p2 = 6.28 * any(random);
    const auto bent = [&](double t) {
      return stretch * (t + depth * (w1 / 6.28 * std::sin(6.28 * t / w1 + p1) * .6 +
                                     w2 / 6.28 * std::sin(6.28 * t / w2 + p2)));
    };
    const auto move = [&](Micros t, double by) {
      return Micros(static_cast<std::int64_t>((bent(static_cast<double>(t.count()) / 1e6) + 10 + by) * 1e6));
    };
    std::vector<std::pair<takes::PlayedNote, Micros>> all;
    for (auto note : notes) {
      const Micros was = note.at, off = move(note.at + note.length, 0);
      note.at = move(note.at, spread * bell(random));
      note.length = std::max(Micros(20'000), off - note.at);
      if (seed != 0)
        note.velocity = Velocity(
            static_cast<std::uint8_t>(std::clamp(note.velocity.value() + 6 * bell(random), 10., 125.)));
      all.emplace_back(note, was);
    }
    std::stable_sort(all.begin(), all.end(),
                     [](const auto& x, const auto& y) { return x.first.at < y.first.at; });
    notes.clear();
    for (const auto& [note, was] : all) notes.push_back(note);
    for (Micros& change : changes) change = move(change, 0);
    const auto seen = takes::seen_strikes(notes, changes);
    std::printf("%s\n", argv[a]);
    const auto count = static_cast<std::int32_t>(seen.at.size());
    std::fwrite(&count, sizeof count, 1, stdout);
    std::size_t n = 0;
    std::vector<double> was;
    for (const Micros at : seen.at) {  // the nearest note gives the time in the file
      while (n + 1 < all.size() &&
             std::chrono::abs(all[n + 1].first.at - at) <= std::chrono::abs(all[n].first.at - at))
        ++n;
      was.push_back(
          static_cast<double>((all[n].second + (seed == 0 ? at - all[n].first.at : Micros{})).count()) / 1e6);
    }
    std::fwrite(was.data(), sizeof was[0], was.size(), stdout);
    for (const double t : was) {
      const double pace = seed == 0 ? 1 : (bent(t + .25) - bent(t - .25)) / .5;
      std::fwrite(&pace, sizeof pace, 1, stdout);
    }
    if (near) {
      const auto features = takes::near_features(notes, changes);
      std::fwrite(features.data(), sizeof features[0], features.size(), stdout);
    } else {
      std::fwrite(seen.features.data(), sizeof seen.features[0], seen.features.size(), stdout);
    }
  }
}
