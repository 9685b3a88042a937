// Writes the inputs of the network of daemon/takes/strikes.h for performances, for train_beats.py.
//
// usage: dump_strikes WARP FILE.mid...
// WARP is 0, or the seed of a time warp (another tempo that bends, spread key presses, notes left out). For
// each file, standard output gets its name and a newline, then an int32 count, count doubles (seconds as
// written in the file), count doubles (how much longer a second lasts there) and count rows of floats. The
// times are always those of the file, warped or not, so that its annotations fit.
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
#include "daemon/takes/strikes.h"

using namespace undersong;

namespace {

// A time warp: another tempo, slow waves, a tempo that wanders, ritardandos, held moments.
class Tempo {
 public:
  Tempo() = default;
  Tempo(double end, std::mt19937& random) {
    std::uniform_real_distribution<double> any(0, 1);
    std::normal_distribution<double> bell(0, 1);
    const double stretch = .35 * bell(random), deep = .2 * any(random), loose = .07 * any(random),
                 slows = .6 * any(random), holds = any(random) < .5 ? 0 : .9 * any(random);
    const double w1 = 2 + 6 * any(random), w2 = 12 + 20 * any(random), p1 = 6.28 * any(random),
                 p2 = 6.28 * any(random);
    double wander = 0, slow_until = 0, slow_next = 8 + 15 * any(random), hold_next = 10 + 30 * any(random);
    double at = 0;
    for (double t = 0; t < end; t += kStep) {
      at_.push_back(at);
      wander += -wander * kStep / 1.5 + loose * std::sqrt(2 * kStep / 1.5) * bell(random);
      if (t > slow_next)
        slow_until = t + 1.5 + 2.5 * any(random), slow_next = slow_until + 6 + 20 * any(random);
      const double slow = t < slow_until ? slows * (1 - (slow_until - t) / 4) : 0;
      if (holds > 0 && t > hold_next) at += holds * any(random), hold_next = t + 8 + 40 * any(random);
      at += kStep *
            std::exp(std::clamp(stretch, -.8, .8) +
                     deep * (std::sin(6.28 * t / w1 + p1) + std::sin(6.28 * t / w2 + p2)) + wander + slow);
    }
  }
  double operator()(double t) const {
    if (at_.size() < 2) return t;
    const double x = std::clamp(t / kStep, 0., static_cast<double>(at_.size()) - 1.001);
    const auto i = static_cast<std::size_t>(x);
    return at_[i] + (x - static_cast<double>(i)) * (at_[i + 1] - at_[i]);
  }

 private:
  static constexpr double kStep = .02;
  std::vector<double> at_;  // the new time of each step
};

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return std::fprintf(stderr, "usage: dump_strikes WARP FILE.mid...\n"), 2;
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
    const Tempo bent = seed == 0 ? Tempo{} : Tempo(seconds(notes.back().at) + 10, random);
    const double spread = seed == 0 ? 0 : .004 + .014 * any(random);
    // Half of the takes lose some of their notes, some of them the left or the right hand.
    const double thin = seed == 0 || any(random) < .5 ? 0 : .35 * any(random);
    const double hand = seed == 0 ? 1 : any(random);
    const int lowest = hand < .07 ? 52 : 0, highest = hand > .07 && hand < .14 ? 66 : 127;
    const auto move = [&](Micros t, double by) {
      return Micros(static_cast<std::int64_t>((bent(static_cast<double>(t.count()) / 1e6) + 10 + by) * 1e6));
    };
    std::vector<std::pair<takes::PlayedNote, Micros>> all;
    for (auto note : notes) {
      if (seed != 0 && (any(random) < thin || note.pitch.value() < lowest || note.pitch.value() > highest))
        continue;
      const Micros was = note.at, off = move(note.at + note.length, 0);
      note.at = move(note.at, spread * bell(random));
      note.length = std::max(Micros(20'000), off - note.at);
      if (seed != 0)
        note.velocity = Velocity(
            static_cast<std::uint8_t>(std::clamp(note.velocity.value() + 6 * bell(random), 10., 125.)));
      all.emplace_back(note, was);
    }
    if (all.empty()) continue;
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
    std::fwrite(seen.features.data(), sizeof seen.features[0], seen.features.size(), stdout);
  }
}
