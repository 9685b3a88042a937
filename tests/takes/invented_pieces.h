// For tests and benchmarks: invented pieces, and what somebody might play to find them again.
//
// A piece has a tune in the right hand and chords in the left, in eight-bar parts that come twice. The same
// seed gives the same piece.
//
// Units: Micros from the beginning of the piece.
// Threads: pure functions; any thread.
// Errors: none.
#pragma once

#include <algorithm>
#include <random>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::takes {

struct InventedNote {
  Micros at{}, length{};
  int key = 60;
  bool tune = false;
};

struct InventedPiece {
  std::vector<InventedNote> notes;  // by time
};

inline InventedPiece invented_piece(unsigned seed, int parts = 4) {
  std::mt19937 random(seed);
  const auto pick = [&](int below) { return static_cast<int>(random() % static_cast<unsigned>(below)); };
  static constexpr int kScale[] = {0, 2, 4, 5, 7, 9, 11};
  const auto key_of = [](int tonic, int step) { return tonic + 12 * (step / 7) + kScale[step % 7]; };
  const int tonic = 60 + pick(12) - 6;
  const std::int64_t beat = 400'000 + pick(400) * 1000;
  InventedPiece out;
  std::int64_t at = 0;
  for (int part = 0; part < parts; part += 2) {
    std::vector<InventedNote> bars;
    int step = 7 + pick(7);
    for (int bar = 0; bar < 8; ++bar) {
      const std::int64_t begin = bar * 4 * beat;
      const int root = pick(7);
      for (const int third : {0, 2, 4})
        bars.push_back(
            {Micros(begin + third * 2000), Micros(4 * beat - 50'000), key_of(tonic - 12, root + third)});
      for (int eighth = 0; eighth < 8;) {
        const int length = 1 + pick(3);
        step = std::clamp(step + pick(7) - 3, 7, 18);
        bars.push_back({Micros(begin + eighth * beat / 2), Micros(length * beat / 2 - 30'000),
                        key_of(tonic, step), true});
        eighth += length;
      }
    }
    for (int twice = 0; twice < 2; ++twice) {
      for (InventedNote note : bars) {
        note.at += Micros(at);
        out.notes.push_back(note);
      }
      at += 32 * beat;
    }
  }
  std::stable_sort(out.notes.begin(), out.notes.end(),
                   [](const InventedNote& a, const InventedNote& b) { return a.at < b.at; });
  return out;
}

inline std::vector<midi::Event> played(const std::vector<InventedNote>& notes) {
  std::vector<midi::Event> out;
  for (const InventedNote& note : notes) {
    out.push_back(midi::note_on(note.at, 0, Pitch(note.key), Velocity(80)));
    out.push_back(midi::note_off(note.at + note.length, 0, Pitch(note.key)));
  }
  std::stable_sort(out.begin(), out.end(), [](const midi::Event& a, const midi::Event& b) {
    return a.at != b.at ? a.at < b.at : a.kind() < b.kind();
  });
  return out;
}

struct Asked {
  double from = 0, to = 8;  // seconds of the piece
  bool tune_only = true;
  int shift = 0;
  double slower = 1;
  unsigned slips = 0;  // seed of the slips; 0: none
};

inline std::vector<InventedNote> asked_of(const InventedPiece& piece, const Asked& asked) {
  std::mt19937 random(asked.slips);
  const auto pick = [&](int below) { return static_cast<int>(random() % static_cast<unsigned>(below)); };
  std::vector<InventedNote> out;
  for (InventedNote note : piece.notes) {
    if (seconds(note.at) < asked.from || seconds(note.at) >= asked.to || (asked.tune_only && !note.tune))
      continue;
    if (asked.slips != 0 && pick(12) == 0) continue;
    note.at = Micros(static_cast<std::int64_t>(static_cast<double>(note.at.count()) * asked.slower));
    note.length = Micros(static_cast<std::int64_t>(static_cast<double>(note.length.count()) * asked.slower));
    if (asked.slips != 0) note.at += Micros(pick(60) * 1000);
    if (asked.slips != 0 && pick(20) == 0) note.key += pick(2) == 0 ? 1 : -1;
    note.key += asked.shift;
    out.push_back(note);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const InventedNote& a, const InventedNote& b) { return a.at < b.at; });
  return out;
}

}  // namespace undersong::takes
