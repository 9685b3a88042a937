// The moment: everything that is published about what is sounding now.
//
// Plain data without pointers, copied by value between the analysis and whoever shows or keeps it. Times are
// those of the event stream.
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"

namespace undersong::listen {

struct Reading {
  harmony::Chord chord;
  harmony::NoteName root_name;
  float confidence = 0;  // 0..1
};

struct HarmonyInForce {
  Reading reading;
  Micros since{};         // from when it holds; may lie before the moment at which it was published
  bool sounding = false;  // false: the last chord is remembered, nothing sounds
};

struct MelodyNote {
  Pitch pitch;
  harmony::NoteName name;
  harmony::Degree degree;  // in the chord in force; meaningless while there is none
  Micros since{};
  bool held = false;  // its key is down or the pedal keeps it
};

struct HeldNote {
  Pitch pitch;
  Velocity velocity;
  bool key_down = false;  // false: only a pedal keeps it
  Micros since{};
};

enum class BeatSource : std::uint8_t { kPlayed, kTapped, kClock };

struct BeatNow {
  Micros at{};           // when it fell
  int tempo = 0;         // beats a minute
  float confidence = 0;  // 0..1
  int place = 0;         // in the bar, from 0
  int meter = 4;         // beats a bar
  BeatSource source = BeatSource::kPlayed;
  friend bool operator==(const BeatNow&, const BeatNow&) = default;
};

struct Moment {
  std::uint64_t number = 0;  // counts published moments from 1
  Micros at{};
  std::optional<HarmonyInForce> harmony;
  FixedVector<Reading, 5>
      readings;  // what the chord in force could be called as well, it first: always of the same notes
  std::optional<harmony::KeyReading> key;
  FixedVector<MelodyNote, harmony::kMelodyNotes> melody;  // newest first
  FixedVector<HeldNote, 32> held;                         // lowest first; of more than 32 the highest
  harmony::Alternatives alternatives;
  harmony::MelodyPitches under;           // the melody notes they stand under, in the order of their degrees
  harmony::MelodyNames under_names;       // what they are called, as in `melody`
  std::uint32_t alternatives_number = 0;  // changes when the list changes, so that a client may keep still
  harmony::Wishes wishes;
  std::optional<BeatNow> beat;  // nothing while there is no steady pulse
  bool still = false;           // the player asked for the list to hold still
};

}  // namespace undersong::listen
