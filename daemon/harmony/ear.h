// Ear: the learnt listener. While music is being played it says what harmony is in force, which notes are the
// tune, and what the key is.
//
//   for (auto due = ear.next_deadline(); due && *due <= t; due = ear.next_deadline())
//     if (ear.advance(*due)) show(*ear.harmony());
//   if (ear.note_on(t, Pitch(60), Velocity(80))) show(*ear.harmony());
//
// Feed it every key press, release and sustain pedal in time order. Call advance() at every next_deadline()
// that comes before the next event or with it: then a file and a live performance give the same results,
// event for event.
//
// A name that the ear is sure of comes into force with the key press that completes it. A less certain name
// waits kSettle for more keys, so that a chord is not renamed with every finger while it is being struck.
//
// Units: Micros of one stream; probabilities 0..1.
// Threads: one owner. No allocation after construction, except in harte_text.
// Errors: none; all functions are total. An event that is out of order counts at the latest time seen.
// Results are deterministic: plain float arithmetic, no clock, no randomness.
// Source: network and features in ear_net.h and ear_features.h; figures in daemon/harmony/learning/README.md.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "daemon/harmony/ear_classes.h"
#include "daemon/harmony/ear_features.h"
#include "daemon/harmony/ear_melody.h"
#include "daemon/harmony/ear_net.h"
#include "daemon/harmony/ear_tonality.h"

namespace undersong::harmony {

inline constexpr Micros kSettle{30'000};

struct EarReading {
  EarChord chord;
  float probability = 0;  // probability of root and class together
};

struct EarHarmony {
  EarChord chord;
  float confidence = 0;  // probability of root and class, 0..1
  Micros since{0};       // the start of the notes that made this name
  Micros named_at{0};    // when it came into force
};

class Ear {
 public:
  static constexpr std::size_t kReadings = 5;
  // A name with at least this probability is shown at once.
  static constexpr float kSure = 0.55F;

  // Each returns true if the harmony in force has another name than before the call.
  bool note_on(Micros t, Pitch p, Velocity v);
  bool note_off(Micros t, Pitch p);
  bool pedal(Micros t, bool down);  // sustain pedal

  // Makes the decisions that are due by t. True as above.
  bool advance(Micros t);
  std::optional<Micros> next_deadline() const;

  // The harmony in force; nullopt before the first note.
  const std::optional<EarHarmony>& harmony() const { return harmony_; }
  // The likeliest readings now, best first. Computed at each call.
  std::array<EarReading, kReadings> readings() const;
  std::optional<EarKeyReading> key() const { return tonality_.reading(); }
  // True once after each change of the key.
  bool take_key_change() { return std::exchange(key_changed_, false); }
  // The oldest melody decision that has not been taken. At most kQueue wait; then the oldest is dropped.
  std::optional<EarMelodyNote> take_melody();

  const EarFeatures& features() const { return features_; }
  const HarmonyNet& net() const { return net_; }
  const EarTonality& tonality() const { return tonality_; }

 private:
  static constexpr std::size_t kQueue = 64;
  bool choose(Micros t);
  bool settle(Micros t);
  // When the current cluster has certainly ended, so that the net can be prepared for the next one before
  // anybody waits for it.
  std::optional<Micros> ready_at() const;
  EarChord describe(int root, int cls, std::uint8_t had) const;

  EarFeatures features_;
  HarmonyNet net_;
  EarMelody melody_;
  EarTonality tonality_;
  std::array<float, kEarInputs> x_{};
  // pending_ comes into force at its named_at unless a key is pressed first.
  std::optional<EarHarmony> harmony_, pending_;
  std::array<EarMelodyNote, kQueue> queue_{};
  std::size_t queue_first_ = 0, queue_size_ = 0;
  bool key_changed_ = false, heard_ = false;
};

// Text such as "A:min7/b3", with roots spelled in flats. Allocates, so it is for files and logs.
std::string harte_text(const EarChord& chord);

}  // namespace undersong::harmony
