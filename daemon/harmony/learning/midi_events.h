// Reads the events of a standard MIDI file as the learning tools need them: keys and sustain pedal of all
// channels except the drum channel, in file order. Used for training only; the program itself reads files
// with daemon/midi.
//
// Units: absolute Micros from the beginning of the file.
// Threads: pure functions; call them from any thread.
// Errors: a file that cannot be read gives an empty list.
#pragma once

#include <algorithm>
#include <cstdint>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <vector>

#include "daemon/harmony/pitch.h"

namespace undersong::learn {

struct Event {
  enum Kind { kOff, kPedal, kOn } kind = kOn;
  Micros t{0};
  int a = 0, b = 0;  // pitch and velocity, or 0 and pedal value
};

inline std::vector<Event> read_midi_events(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  const std::vector<unsigned char> f{std::istreambuf_iterator<char>(in), {}};
  auto be = [&f](std::size_t i, int n) {
    std::uint32_t v = 0;
    for (int k = 0; k < n; ++k) v = v << 8 | f[i + static_cast<std::size_t>(k)];
    return v;
  };
  struct Raw {
    std::int64_t tick;
    int order;
    Event event;
  };
  std::vector<Raw> raw;
  std::vector<std::pair<std::int64_t, std::int64_t>> tempi;  // tick, microseconds a quarter
  if (f.size() < 14 || f[0] != 'M' || f[1] != 'T') return {};
  const std::int64_t division = be(12, 2);
  std::size_t i = 8 + be(4, 4);
  while (i + 8 <= f.size()) {
    const std::size_t end = std::min(f.size(), i + 8 + be(i + 4, 4));
    const bool track = f[i + 2] == 'r';
    i += 8;
    std::int64_t tick = 0;
    unsigned status = 0;
    auto vlq = [&] {
      std::uint32_t v = 0;
      while (i < end) {
        const unsigned char c = f[i++];
        v = v << 7 | (c & 127U);
        if (c < 128) break;
      }
      return v;
    };
    while (track && i < end) {
      tick += vlq();
      if (i >= end) break;
      if (f[i] >= 128) status = f[i++];
      if (status == 0xFF) {
        const unsigned kind = f[i++];
        const std::size_t n = vlq();
        if (kind == 0x51 && n == 3) tempi.emplace_back(tick, be(i, 3));
        i += n;
      } else if (status == 0xF0 || status == 0xF7) {
        i += vlq();
      } else {
        const unsigned kind = status & 0xF0;
        const int a = f[i];
        const bool two = kind != 0xC0 && kind != 0xD0;
        const int b = two ? f[i + 1] : 0;
        i += two ? 2 : 1;
        if ((status & 15U) == 9) continue;
        const int order = static_cast<int>(raw.size());
        if (kind == 0x90 && b > 0)
          raw.push_back({tick, order, {Event::kOn, Micros{0}, a, b}});
        else if (kind == 0x90 || kind == 0x80)
          raw.push_back({tick, order, {Event::kOff, Micros{0}, a, 0}});
        else if (kind == 0xB0 && a == 64)
          raw.push_back({tick, order, {Event::kPedal, Micros{0}, 0, b}});
      }
    }
    i = end;
  }
  std::stable_sort(raw.begin(), raw.end(), [](const Raw& x, const Raw& y) { return x.tick < y.tick; });
  std::stable_sort(tempi.begin(), tempi.end());
  std::vector<Event> out;
  std::int64_t at_tick = 0, tempo = 500000;
  double at = 0;
  std::size_t next = 0;
  for (const Raw& r : raw) {
    while (next < tempi.size() && tempi[next].first <= r.tick) {
      at += static_cast<double>(tempi[next].first - at_tick) * static_cast<double>(tempo) /
            static_cast<double>(division);
      at_tick = tempi[next].first;
      tempo = tempi[next++].second;
    }
    Event e = r.event;
    e.t = Micros{static_cast<std::int64_t>(at +
                                           static_cast<double>(r.tick - at_tick) *
                                               static_cast<double>(tempo) / static_cast<double>(division) +
                                           0.5)};
    out.push_back(e);
  }
  return out;
}

// Varies a performance. Key presses are spread at random by up to spread_ms, as fingers do, so that chords
// whose keys arrive one by one are learnt too. Loudness varies at random, all pitches move by shift
// semitones, and time is stretched by scale.
inline void vary(std::vector<Event>& events, int spread_ms, unsigned seed, int shift, double scale) {
  std::mt19937 rng(seed);
  const int spread = 1000 * spread_ms;
  for (auto& e : events) {
    e.t = Micros{static_cast<std::int64_t>(static_cast<double>(e.t.count()) * scale)};
    if (e.kind == Event::kPedal) continue;
    e.a = std::clamp(e.a + shift, 0, 127);
    if (e.kind == Event::kOn) e.b = std::clamp(e.b + static_cast<int>(rng() % 13) - 6, 1, 127);
  }
  for (std::size_t i = 0; i < events.size() && spread > 0; ++i) {
    auto& e = events[i];
    if (e.kind != Event::kOn) continue;
    std::size_t off = i + 1;  // the press stays before its release
    while (off < events.size() && !(events[off].kind == Event::kOff && events[off].a == e.a)) ++off;
    const Micros late{static_cast<int>(rng() % static_cast<unsigned>(spread))};
    if (off == events.size() || e.t + late + Micros{5000} < events[off].t) e.t += late;
  }
  std::stable_sort(events.begin(), events.end(), [](const Event& x, const Event& y) { return x.t < y.t; });
}

}  // namespace undersong::learn
