// Prints what the learnt ear finds in a MIDI file, as JSON lines in the order in which a listener receives
// it.
//
// usage: ear_events analyse FILE.mid --events | ear_events time FILE.mid
// `time` prints the mean and worst cost of an event in microseconds.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <vector>

#include "daemon/harmony/ear.h"
#include "daemon/harmony/learning/midi_events.h"

using namespace undersong;

namespace {

constexpr const char* kNames[12] = {"C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"};
double s(Micros t) {
  return static_cast<double>(t.count()) * 1e-6;
}

void print_melody(harmony::Ear& ear) {
  while (const auto n = ear.take_melody())
    if (n->is_melody)
      std::printf("{\"t\":%.6f,\"onset\":%.6f,\"pitch\":%d,\"melody\":true}\n", s(n->decided_at), s(n->onset),
                  n->pitch.value());
}

void print_chord(const harmony::Ear& ear) {
  std::printf("{\"t\":%.6f,\"chord\":\"%s\"}\n", s(ear.harmony()->named_at),
              harmony::harte_text(ear.harmony()->chord).c_str());
}

bool feed(harmony::Ear& ear, const learn::Event& e) {
  if (e.kind == learn::Event::kOn) return ear.note_on(e.t, Pitch(e.a), Velocity(e.b));
  if (e.kind == learn::Event::kOff) return ear.note_off(e.t, Pitch(e.a));
  return ear.pedal(e.t, e.b >= 64);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3)
    return std::fputs("usage: ear_events analyse FILE.mid --events | ear_events time FILE.mid\n", stderr), 2;
  const auto events = learn::read_midi_events(argv[2]);
  if (events.empty()) return std::fprintf(stderr, "%s: no events to read\n", argv[2]), 1;
  harmony::Ear ear;
  if (std::strcmp(argv[1], "time") == 0) {
    std::vector<double> cost;
    double all = 0;
    for (const auto& e : events) {
      const auto a = std::chrono::steady_clock::now();
      feed(ear, e);
      while (ear.take_melody()) {
      }
      const double took =
          std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - a).count();
      all += took;
      if (e.kind == learn::Event::kOn) cost.push_back(took);
    }
    double sum = 0;
    for (const double c : cost) sum += c;
    std::sort(cost.begin(), cost.end());
    if (cost.empty()) return std::fprintf(stderr, "%s: no key is pressed\n", argv[2]), 1;
    std::printf("all events mean %.1f us; key presses %zu mean %.1f p50 %.1f p99 %.1f max %.1f\n",
                all / static_cast<double>(events.size()), cost.size(), sum / static_cast<double>(cost.size()),
                cost[cost.size() / 2], cost[cost.size() * 99 / 100], cost.back());
    return 0;
  }
  for (const auto& e : events) {
    while (const auto due = ear.next_deadline()) {
      if (*due > e.t) break;
      if (ear.advance(*due)) print_chord(ear);
      print_melody(ear);
    }
    if (feed(ear, e)) print_chord(ear);
    if (ear.take_key_change())
      std::printf("{\"t\":%.6f,\"key\":\"%s:%s\"}\n", s(e.t), kNames[ear.key()->tonic.value()],
                  ear.key()->minor ? "min" : "maj");
  }
  if (ear.advance(events.back().t + Micros{1'000'000})) print_chord(ear);
  print_melody(ear);
}
