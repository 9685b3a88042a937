// Writes the inputs of the key network for a MIDI file, one row for every cluster of notes, for train_key.py.
//
// usage: dump_key FILE.mid OUT.f32
// A row is float32: seconds, then the inputs of KeyNet. The harmony table must already be compiled in.
#include <cstdio>

#include "daemon/harmony/ear.h"
#include "daemon/harmony/learning/midi_events.h"

using namespace undersong;

int main(int argc, char** argv) {
  if (argc != 3) return std::fputs("usage: dump_key FILE.mid OUT.f32\n", stderr), 2;
  std::FILE* out = std::fopen(argv[2], "wb");
  if (!out) return std::perror(argv[2]), 1;
  harmony::Ear ear;
  Micros cluster{-1};
  for (const auto& e : learn::read_midi_events(argv[1])) {
    if (e.kind == learn::Event::kOff)
      ear.note_off(e.t, Pitch(e.a));
    else if (e.kind == learn::Event::kPedal)
      ear.pedal(e.t, e.b >= 64);
    else
      ear.note_on(e.t, Pitch(e.a), Velocity(e.b));
    while (ear.take_melody()) {
    }
    if (e.kind != learn::Event::kOn || ear.features().cluster_start() == cluster) continue;
    cluster = ear.features().cluster_start();
    const float t = static_cast<float>(static_cast<double>(e.t.count()) * 1e-6);
    std::fwrite(&t, sizeof t, 1, out);
    std::fwrite(ear.tonality().input().data(), sizeof(float), ear.tonality().input().size(), out);
  }
  return std::fclose(out) == 0 ? 0 : 1;
}
