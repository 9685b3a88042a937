// Writes the inputs of the ear for a MIDI file, one row for every moment with a key press, for
// train_harmony.py.
//
// usage: dump_harmony FILE.mid OUT.f32 [SPREAD_MS SEED SHIFT SCALE]
// A row is float32: seconds, 1 if the row opens a cluster, then kEarInputs numbers. The last four arguments
// vary the song (learn::vary).
#include <cstdio>
#include <cstdlib>

#include "daemon/harmony/ear_features.h"
#include "daemon/harmony/learning/midi_events.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc != 3 && argc != 7)
    return std::fputs("usage: dump_harmony FILE.mid OUT.f32 [SPREAD_MS SEED SHIFT SCALE]\n", stderr), 2;
  auto events = learn::read_midi_events(argv[1]);
  if (argc == 7)
    learn::vary(events, std::atoi(argv[3]), static_cast<unsigned>(std::atoi(argv[4])), std::atoi(argv[5]),
                std::atof(argv[6]));
  std::FILE* out = std::fopen(argv[2], "wb");
  if (!out) return std::perror(argv[2]), 1;
  harmony::EarFeatures features;
  std::array<float, harmony::kEarInputs> x{};
  bool opened = false;
  for (std::size_t i = 0; i < events.size(); ++i) {
    const auto& e = events[i];
    if (e.kind == learn::Event::kOff)
      features.note_off(e.t, Pitch(e.a));
    else if (e.kind == learn::Event::kPedal)
      features.pedal(e.t, e.b >= 64);
    else {
      opened |= features.note_on(e.t, Pitch(e.a), Velocity(e.b));
      const bool last =
          i + 1 == events.size() || events[i + 1].t != e.t || events[i + 1].kind != learn::Event::kOn;
      if (!last) continue;
      features.write(e.t, x);
      const float head[2] = {static_cast<float>(static_cast<double>(e.t.count()) * 1e-6),
                             opened ? 1.0F : 0.0F};
      opened = false;
      std::fwrite(head, sizeof head, 1, out);
      std::fwrite(x.data(), sizeof(float), x.size(), out);
    }
  }
  return std::fclose(out) == 0 ? 0 : 1;
}
