// Moment: everything that is published about what sounds now.
//
// Plain data without pointers, copied by value between the analysis and whoever shows or keeps it.
//
// Units: Micros of the event stream.
// Threads: plain values; any thread.
// Errors: none.
// Source: none needed.
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord.h"
#include "daemon/harmony/feel.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"
#include "daemon/listen/returns.h"

namespace undersong::listen {

struct Reading {
  harmony::Chord chord;
  harmony::NoteName root_name;
  float confidence = 0;  // 0..1
};

struct HarmonyInForce {
  Reading reading;
  Micros since{};         // start of the chord; may lie before the moment that first showed it
  bool sounding = false;  // false: nothing sounds, and this is the last chord
};

struct MelodyNote {
  Pitch pitch;
  harmony::NoteName name;
  harmony::Degree degree;  // in the chord in force; meaningless if there is none
  Micros since{};
  bool held = false;  // its key is down
};

struct HeldNote {
  Pitch pitch;
  Velocity velocity;
  bool key_down = false;  // false: only a pedal holds it
  Micros since{};
};

enum class BeatSource : std::uint8_t { kPlayed, kTapped, kClock };

struct BeatNow {
  Micros at{};           // when the beat fell
  int tempo = 0;         // beats per minute
  float confidence = 0;  // 0..1
  int place = 0;         // place in the bar, from 0
  int meter = 4;         // beats per bar
  BeatSource source = BeatSource::kPlayed;
  harmony::FeelNow feel{};
  friend bool operator==(const BeatNow&, const BeatNow&) = default;
};

struct Moment {
  std::uint64_t number = 0;  // number of this moment, from 1
  Micros at{};
  std::optional<HarmonyInForce> harmony;
  // Names for the same notes, best first. The first is the chord in force.
  FixedVector<Reading, 5> readings;
  std::optional<harmony::KeyReading> key;
  FixedVector<MelodyNote, harmony::kMelodyNotes> melody;  // newest first
  FixedVector<HeldNote, 32> held;                         // lowest first; the highest 32 if there are more
  harmony::Alternatives alternatives;
  harmony::MelodyPitches under;  // the melody notes that the alternatives fit, in the order of their degrees
  harmony::MelodyNames under_names;               // their names, spelled as in `melody`
  std::uint32_t alternatives_number = 0;          // grows when the list changes, so that a client knows
  FixedVector<Return, Returns::kShown> returned;  // what the player came back to, most often first
  std::uint32_t returned_number = 0;              // grows when `returned` or the names in it change
  harmony::Wishes wishes;
  std::optional<BeatNow> beat;  // nullopt while there is no steady pulse
  bool still = false;           // the player asked that the list stay as it is
};

}  // namespace undersong::listen
