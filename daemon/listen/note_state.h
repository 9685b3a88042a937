// NoteState: which notes sound, and whether a key or a pedal holds them.
//
// Follows keys, the damper (CC64) and the sostenuto pedal (CC66) for each input and channel, and merges them
// by pitch.
// - A pedal is down from value 64. Sostenuto holds the keys that were down when it was pressed, no others.
// - All Notes Off (123, and 124..127, which imply it) releases the keys; a pedal still holds the notes. All
//   Sound Off (120) ends the notes. Reset All Controllers (121) lifts the pedals.
// - When an input goes or has lost events, everything on it ends.
// - A key struck again while it is down is one key: one note-off releases it.
// - The drum channel is not harmony and is ignored.
//
// Units: Micros of the events' stream; MIDI values.
// Threads: one owner.
// Errors: none; all functions are total.
// Source: MIDI 1.0 Detailed Specification (MMA, 1996); the rest is common practice, no source.
// Memory: allocates at construction only.
#pragma once

#include <array>
#include <bitset>
#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/pitch.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

using PitchSet = std::bitset<128>;  // index = MIDI key

struct NoteChange {
  enum class Kind : std::uint8_t {
    kStruck,    // a key was struck on any input, whether or not the pitch sounded already
    kReleased,  // the last key on this pitch went up; a pedal may hold the note
    kStopped,   // the pitch no longer sounds on any input
  };
  Kind kind = Kind::kStruck;
  Pitch pitch;
  Velocity velocity;  // velocity of the stroke; for kReleased and kStopped that of the last stroke
  friend bool operator==(const NoteChange&, const NoteChange&) = default;
};

class NoteState {
 public:
  NoteState();

  // The changes that this event or notice (midi/source.h) caused, kReleased before kStopped of the same
  // pitch. Pitches ascend within a channel. Valid until the next call.
  std::span<const NoteChange> apply(const midi::Event& event);
  // Ends everything on an input. Valid until the next call.
  std::span<const NoteChange> release_port(midi::PortNumber port);

  bool is_down(Pitch pitch) const { return down_[index(pitch)]; }
  bool is_sounding(Pitch pitch) const { return sounding_[index(pitch)]; }
  // Time and loudness of the last stroke of a pitch that sounds; nothing when it is silent.
  std::optional<Micros> onset(Pitch pitch) const;
  std::optional<Velocity> velocity(Pitch pitch) const;

  const PitchSet& down() const { return down_; }
  const PitchSet& sounding() const { return sounding_; }
  bool silent() const { return sounding_.none(); }
  // True if the pedal is down on any input and channel.
  bool damper_down() const { return dampers_ > 0; }

 private:
  struct Channel {
    PitchSet down, sounding, latched;  // latched: held by the sostenuto pedal
    bool damper = false, sostenuto = false;
  };
  static std::size_t index(Pitch pitch) { return static_cast<std::size_t>(pitch.value()); }
  Channel& channel(midi::PortNumber port, std::uint8_t number) {
    return channels_[std::size_t{port} * 16 + number];
  }
  void strike(Channel& c, Pitch pitch, Velocity velocity, Micros at);
  void control(Channel& c, std::uint8_t controller, std::uint8_t value);
  void set_damper(Channel& c, bool down);
  void set_sostenuto(Channel& c, bool down);
  // Replaces the channel's state by `down` and `sounding`, and records what that changes in the merged state.
  // It only ever removes notes; strike adds them.
  void reduce(Channel& c, const PitchSet& down, const PitchSet& sounding);
  void note(NoteChange::Kind kind, std::size_t pitch);

  std::vector<Channel> channels_;  // 256 inputs of 16 channels
  std::array<std::uint16_t, 128> down_count_{},
      sounding_count_{};  // number of channels in which the pitch is down, or sounds
  PitchSet down_, sounding_;
  std::array<Micros, 128> onset_{};
  std::array<Velocity, 128> velocity_{};
  int dampers_ = 0;
  std::array<NoteChange, 256> changes_;  // at most a release and a stop for each pitch
  std::size_t change_count_ = 0;
};

}  // namespace undersong::listen
