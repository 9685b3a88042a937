// Playing in metres other than four quarters, made up for tests.
#pragma once

#include <algorithm>
#include <array>
#include <random>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::song {

// Six times a loop of four bars: a low note and broken chords, a tune in which long and short take turns.
// `groups`: how many eighths each beat or group has.
inline std::vector<midi::Event> rounds(const std::vector<int>& groups, double seconds_an_eighth) {
  std::mt19937 random(11);
  std::normal_distribution<double> stroke(0, .006);
  std::vector<midi::Event> out;
  const auto key = [&](double eighth, double eighths, int pitch, int velocity) {
    const auto at = [&](double e) {
      return Micros(1'000'000 + static_cast<std::int64_t>(1e6 * (e * seconds_an_eighth + stroke(random))));
    };
    out.push_back(midi::note_on(at(eighth), 0, Pitch(pitch), Velocity(velocity)));
    out.push_back(midi::note_off(at(eighth + .92 * eighths), 0, Pitch(pitch)));
  };
  constexpr std::array<std::array<int, 4>, 4> kChords{
      {{45, 57, 60, 64}, {41, 53, 57, 60}, {48, 55, 60, 64}, {43, 55, 59, 62}}};
  constexpr std::array<int, 8> kTune{76, 74, 72, 69, 72, 74, 76, 79};
  double at = 0;
  for (int bar = 0; bar < 24; ++bar) {
    const auto& chord = kChords[static_cast<std::size_t>(bar % 4)];
    int group = 0;
    for (const int eighths : groups) {
      key(at, eighths, chord[0] + (group % 2 == 0 ? 0 : 12), group == 0 ? 84 : 70);
      for (int e = 1; e < eighths; ++e) key(at + e, 1, chord[static_cast<std::size_t>(e)], 56);
      const auto step = static_cast<std::size_t>(2 * group + bar % 4);
      key(at, eighths - 1, kTune[step % 8], 92);
      key(at + eighths - 1, 1, kTune[(step + 1) % 8], 80);
      at += eighths;
      ++group;
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return out;
}

}  // namespace undersong::song
