// What hands play, and whether the display names it: for the tests of whole chords, long and short.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <optional>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/listen/analysis.h"
#include "tests/listen/voicings.h"

namespace undersong::listen {

using harmony::Chord;
using harmony::PitchClassSet;

struct Key {
  int on, off, key;  // milliseconds
};
using Playing = std::vector<Key>;

// A chord as fingers strike it: all keys within a dozen milliseconds.
inline void strike(Playing& out, int at, int length, std::vector<int> keys, std::mt19937& chance) {
  for (const int key : keys) out.push_back({at + static_cast<int>(chance() % 12), at + length, key});
}

// What is shown at each of the given times. `damper`: when the damper moves, and whether it goes down.
inline std::vector<std::optional<Chord>> shown(Playing playing, const std::vector<int>& times,
                                               const std::vector<std::pair<int, bool>>& damper = {}) {
  std::vector<midi::Event> events;
  for (const auto& [at, down] : damper)
    events.push_back(midi::control_change(Micros(at * 1000), 0, 64, down ? 127 : 0));
  for (const Key& k : playing) {
    events.push_back(midi::note_on(Micros(k.on * 1000), 0, Pitch(k.key), Velocity(70)));
    events.push_back(midi::note_off(Micros(k.off * 1000), 0, Pitch(k.key)));
  }
  std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) {
    return std::pair(a.at, a.kind() == midi::kNoteOn) < std::pair(b.at, b.kind() == midi::kNoteOn);
  });
  Settings settings;
  settings.names_only = true;
  Analysis analysis(settings);
  const auto nothing = [](const Analysis&) {};
  std::vector<std::optional<Chord>> out;
  std::size_t next = 0;
  for (const int time : times) {
    for (; next < events.size() && events[next].at <= Micros(time * 1000); ++next)
      drive(analysis, events[next], nothing);
    drive(analysis, Micros(time * 1000), nothing);
    const auto& harmony = analysis.moment().harmony;
    out.push_back(harmony ? std::optional(harmony->reading.chord) : std::nullopt);
  }
  return out;
}

inline std::string text_of(const Chord& chord) {
  return harmony::symbol(chord, harmony::spell_within(chord.root, -5));
}

inline PitchClassSet tones(const Chord& chord) {
  return harmony::row(chord.quality).tones;
}

inline bool accepted(const Chord& shown, const PlayedVoicing& voicing) {
  const int top = *std::max_element(voicing.keys.begin(), voicing.keys.end());
  return std::any_of(voicing.names.begin(), voicing.names.end(), [&](std::string_view name) {
    const auto parsed = harmony::parse_symbol(name);
    EXPECT_TRUE(parsed) << name;
    if (!parsed || parsed->chord.root != shown.root || parsed->chord.bass != shown.bass) return false;
    PitchClassSet differ(tones(shown).bits() ^ tones(parsed->chord).bits());
    differ.erase(PitchClass(7));
    differ.erase(PitchClass(ascending(shown.root, Pitch(top).pitch_class())));
    return differ.empty();
  });
}

// True if the name promises a tone that no key sounds, or has another bass.
inline bool contradicts(const Chord& shown, const std::vector<int>& keys) {
  PitchClassSet sounding;
  for (const int key : keys) sounding.insert(Pitch(key).pitch_class());
  const auto missing = tones(shown) - sounding.relative_to(shown.root) - PitchClassSet(1u << 0 | 1u << 7);
  return !missing.empty() || shown.bass != Pitch(*std::min_element(keys.begin(), keys.end())).pitch_class();
}

struct Spot {
  const PlayedVoicing* voicing;
  int glance, end;
};

struct Score {
  int spots = 0, accepted = 0, contradicted = 0;
  std::string refused;
};

inline Score score(const Playing& playing, const std::vector<Spot>& spots) {
  std::vector<int> times;
  for (const Spot& spot : spots) times.insert(times.end(), {spot.glance, spot.end});
  const auto names = shown(playing, times);
  Score out;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const PlayedVoicing& voicing = *spots[i / 2].voicing;
    ++out.spots;
    const bool good = names[i] && accepted(*names[i], voicing);
    out.accepted += good;
    out.contradicted += !good && names[i] && contradicts(*names[i], voicing.keys);
    if (!good && i % 2 == 1)
      out.refused +=
          std::string(voicing.names[0]) + " as " + (names[i] ? text_of(*names[i]) : "nothing") + "; ";
  }
  return out;
}

inline void operator+=(Score& sum, const Score& more) {
  sum.spots += more.spots;
  sum.accepted += more.accepted;
  sum.contradicted += more.contradicted;
  sum.refused += more.refused;
}

inline void expect_mostly(const Score& score, double share) {
  EXPECT_GE(score.accepted, share * score.spots) << score.refused;
  EXPECT_LE(score.contradicted, 0.01 * score.spots) << score.refused;
  testing::Test::RecordProperty("accepted",
                                std::to_string(score.accepted) + " of " + std::to_string(score.spots));
}

// All voicings in random order, in several keys, each played by `lay_out`.
template <class LayOut>
Score one_after_another(int length, LayOut lay_out) {
  Score sum;
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 chance(seed);
    std::vector<PlayedVoicing> order = played_voicings();
    std::shuffle(order.begin(), order.end(), chance);
    Playing playing;
    std::vector<Spot> spots;
    int at = 500;
    for (const PlayedVoicing& voicing : order) {
      const int last = lay_out(playing, at, voicing, chance);
      spots.push_back({&voicing, last + 300, at + length - 60});
      at += length;
    }
    sum += score(playing, spots);
  }
  return sum;
}

// As a player stabs: the fingers leave one by one, and no pedal holds what they played.
inline void stab(Playing& out, int at, int length, const std::vector<int>& keys, std::mt19937& chance) {
  for (const int key : keys) {
    const int on = at + static_cast<int>(chance() % 12);
    out.push_back({on, at + length + static_cast<int>(chance() % 35), key});
  }
}

}  // namespace undersong::listen
