// The learnt ear: what harmony is in force, which notes are the tune, and what the key is, while it is being
// played.
//
// Feed it every key press, release and sustain pedal in time order, and call advance at every next_deadline()
// that comes before the next event (or with it): then a file and a live performance give the same results,
// event for event.
//
//   for (auto due = ear.next_deadline(); due && *due <= t; due = ear.next_deadline())
//     if (ear.advance(*due)) show(*ear.harmony());
//   if (ear.note_on(t, Pitch(60), Velocity(80))) show(*ear.harmony());
//
// A name the ear is sure of is in force with the key press that completes it. A less certain one waits
// kSettle for further keys, so that a chord growing under the hands is not renamed with every finger.
//
// Times: Micros of one stream. Threads: one owner. No allocation after construction. Total: events out of
// order are taken at the latest time seen. Deterministic: plain float arithmetic, no clock, no chance.
// Source: network and features, ear_net.h and ear_features.h; figures, daemon/harmony/learning/README.md.
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
  float probability = 0;  // of root and class together
};

struct EarHarmony {
  EarChord chord;
  float confidence = 0;  // probability of root and class, 0..1
  Micros since{0};       // the moment from which this name holds: the start of the notes that made it
  Micros named_at{0};    // when it came in force
};

class Ear {
 public:
  static constexpr std::size_t kReadings = 5;

  // Each returns true when the harmony in force has another name than before the call.
  bool note_on(Micros t, Pitch p, Velocity v);
  bool note_off(Micros t, Pitch p);
  bool pedal(Micros t, bool down);  // sustain pedal

  // Takes the decisions that are due by t.
  bool advance(Micros t);
  std::optional<Micros> next_deadline() const;

  // Nothing before the first note.
  const std::optional<EarHarmony>& harmony() const { return harmony_; }
  // The likeliest readings now, best first; worked out at the call.
  std::array<EarReading, kReadings> readings() const;
  std::optional<EarKeyReading> key() const { return tonality_.reading(); }
  // True once after each change of the key.
  bool take_key_change() { return std::exchange(key_changed_, false); }
  // The oldest decision about a note that has not been taken yet. Up to kQueue wait; beyond, the oldest is
  // dropped.
  std::optional<EarMelodyNote> take_melody();

  const EarFeatures& features() const { return features_; }
  const HarmonyNet& net() const { return net_; }
  const EarTonality& tonality() const { return tonality_; }

 private:
  static constexpr std::size_t kQueue = 64;
  bool choose(Micros t);
  bool settle(Micros t);
  // When the cluster that sounds is over for certain and the net can be made ready for the next one: then
  // nobody waits.
  std::optional<Micros> ready_at() const;
  EarChord describe(int root, int cls, std::uint8_t had) const;

  EarFeatures features_;
  HarmonyNet net_;
  EarMelody melody_;
  EarTonality tonality_;
  std::array<float, kEarInputs> x_{};
  std::optional<EarHarmony> harmony_,
      pending_;  // pending_: comes in force at its named_at unless a key comes first
  std::array<EarMelodyNote, kQueue> queue_{};
  std::size_t queue_first_ = 0, queue_size_ = 0;
  bool key_changed_ = false, heard_ = false;
};

// "A:min7/b3", roots written with flats. Allocates; for files and logs.
std::string harte_text(const EarChord& chord);

}  // namespace undersong::harmony
