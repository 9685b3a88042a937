// Writes the inputs of the melody network for every key press of a MIDI file, for train_melody.py.
//
// usage: dump_melody FILE.mid OUT.f32 LABELS.txt|- [SHARE SPREAD_MS SEED SHIFT SCALE]
// LABELS.txt has lines "onset_us pitch" for the notes of the melody. With labels, the history is the true
// one, except for a share (0..1) of the verdicts, which come from the compiled-in network; with -, all do.
// The last four arguments vary the song (learn::vary). A row is float32: onset, pitch, inputs.
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <random>
#include <set>
#include <utility>

#include "daemon/harmony/ear_melody.h"
#include "daemon/harmony/learning/midi_events.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc != 4 && argc != 9)
    return std::fputs("usage: dump_melody FILE.mid OUT.f32 LABELS.txt|- [SHARE SPREAD_MS SEED SHIFT SCALE]\n",
                      stderr),
           2;
  auto events = learn::read_midi_events(argv[1]);
  std::set<std::pair<int, long long>> truth;  // pitch, onset
  const bool told = std::string(argv[3]) != "-";
  if (told) {
    std::ifstream in(argv[3]);
    long long t = 0;
    int p = 0;
    while (in >> t >> p) truth.emplace(p, t);
  }
  std::mt19937 rng(argc == 9 ? static_cast<unsigned>(std::atoi(argv[6])) : 1U);
  const double share = argc == 9 ? std::atof(argv[4]) : 0.0;
  if (argc == 9)
    learn::vary(events, std::atoi(argv[5]), static_cast<unsigned>(std::atoi(argv[6])), std::atoi(argv[7]),
                std::atof(argv[8]));
  std::FILE* out = std::fopen(argv[2], "wb");
  if (!out) return std::perror(argv[2]), 1;
  harmony::EarFeatures keys;
  harmony::EarMelody melody;
  harmony::MelodyNet net;
  auto judge = [&](const harmony::MelodyNet::Input& x, int pitch, Micros onset) {
    const float head[2] = {static_cast<float>(static_cast<double>(onset.count()) * 1e-6),
                           static_cast<float>(pitch)};
    std::fwrite(head, sizeof head, 1, out);
    std::fwrite(x.data(), sizeof(float), x.size(), out);
    const bool own = !told || static_cast<double>(rng() % 1000) < share * 1000;
    const auto near = truth.lower_bound({pitch, onset.count() - 100});  // onsets come through float32 seconds
    const bool is = near != truth.end() && near->first == pitch && near->second <= onset.count() + 100;
    const float odds = net.score(x);
    return own ? odds : is ? 1.0F : -1.0F;
  };
  auto due = [&](Micros t) {
    while (const auto d = melody.next_deadline()) {
      if (*d > t) break;
      while (melody.decide_with(*d, keys, judge)) {
      }
    }
  };
  for (const auto& e : events) {
    due(e.t);
    if (e.kind == learn::Event::kOn)
      keys.note_on(e.t, Pitch(e.a), Velocity(e.b)), melody.note_on(e.t, Pitch(e.a), Velocity(e.b));
    else if (e.kind == learn::Event::kOff)
      keys.note_off(e.t, Pitch(e.a)), melody.note_off(e.t, Pitch(e.a));
    else
      keys.pedal(e.t, e.b >= 64);
  }
  due(events.empty() ? Micros{0} : events.back().t + Micros{1'000'000});
  return std::fclose(out) == 0 ? 0 : 1;
}
