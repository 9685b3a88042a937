// Writes what the ear sees of a MIDI file, a row at every moment with a key press, for train_harmony.py.
//
// usage: dump_harmony FILE.mid OUT.f32 [SPREAD_MS SEED SHIFT SCALE]
// A row is float32: seconds, 1 if the row opens a cluster, then kEarInputs numbers. To vary a song: presses
// are spread at random by up to SPREAD_MS, as fingers do, so that chords whose keys arrive one by one are learnt too;
// loudness wavers by chance, all is moved by SHIFT semitones, and time is stretched by SCALE.
#include <cstdio>
#include <cstdlib>
#include <random>

#include "configs/learn/midi_events.h"
#include "daemon/harmony/ear_features.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc != 3 && argc != 7) return std::fputs("usage: dump_harmony FILE.mid OUT.f32 [SPREAD_MS SEED SHIFT SCALE]\n", stderr), 2;
  auto events = learn::read_midi_events(argv[1]);
  if (argc == 7) {
    std::mt19937 rng(static_cast<unsigned>(std::atoi(argv[4])));
    const int spread = 1000 * std::atoi(argv[3]), shift = std::atoi(argv[5]);
    const double scale = std::atof(argv[6]);
    for (std::size_t i = 0; i < events.size(); ++i) {
      auto& e = events[i];
      e.t = Micros{static_cast<std::int64_t>(static_cast<double>(e.t.count()) * scale)};
      if (e.kind == learn::Event::kPedal) continue;
      e.a = std::clamp(e.a + shift, 0, 127);
      if (e.kind == learn::Event::kOn) e.b = std::clamp(e.b + static_cast<int>(rng() % 13) - 6, 1, 127);
    }
    for (std::size_t i = 0; i < events.size() && spread > 0; ++i) {
      auto& e = events[i];
      if (e.kind != learn::Event::kOn) continue;
      std::size_t off = i + 1;  // the press stays before its release
      while (off < events.size() && !(events[off].kind == learn::Event::kOff && events[off].a == e.a)) ++off;
      const Micros late{static_cast<int>(rng() % static_cast<unsigned>(spread))};
      if (off == events.size() || e.t + late + Micros{5000} < events[off].t) e.t += late;
    }
    std::stable_sort(events.begin(), events.end(), [](const auto& x, const auto& y) { return x.t < y.t; });
  }
  std::FILE* out = std::fopen(argv[2], "wb");
  if (!out) return std::perror(argv[2]), 1;
  harmony::EarFeatures features;
  std::array<float, harmony::kEarInputs> x{};
  bool opened = false;
  for (std::size_t i = 0; i < events.size(); ++i) {
    const auto& e = events[i];
    if (e.kind == learn::Event::kOff) features.note_off(e.t, Pitch(e.a));
    else if (e.kind == learn::Event::kPedal) features.pedal(e.t, e.b >= 64);
    else {
      opened |= features.note_on(e.t, Pitch(e.a), Velocity(e.b));
      const bool last = i + 1 == events.size() || events[i + 1].t != e.t || events[i + 1].kind != learn::Event::kOn;
      if (!last) continue;
      features.write(e.t, x);
      const float head[2] = {static_cast<float>(static_cast<double>(e.t.count()) * 1e-6), opened ? 1.0F : 0.0F};
      opened = false;
      std::fwrite(head, sizeof head, 1, out);
      std::fwrite(x.data(), sizeof(float), x.size(), out);
    }
  }
  return std::fclose(out) == 0 ? 0 : 1;
}
