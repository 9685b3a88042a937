// NoteState: which notes sound, and why.
//
// Follows keys, the damper (CC64) and the sostenuto pedal (CC66) for each input and channel, and merges them
// by pitch. A pedal is down from value 64. Sostenuto holds the keys that were down when it was pressed, no
// others. All Notes Off (123, and 124..127 which imply it) lets go of the keys, so a pedal still holds the
// notes; All Sound Off (120) silences; Reset All Controllers (121) lifts the pedals. When an input goes or
// has lost events, everything on it ends. A key struck again while down is one key: one note-off releases it.
// The drum channel is no harmony and is not followed.
//
// Threads: none; one owner. Heap: at construction only. Time is data.
// Source: MIDI 1.0 Detailed Specification (MMA, 1996); the rest common practice, no source.
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
    kStruck,    // a key was struck, on any input, whether or not the pitch sounded already
    kReleased,  // the last key that held this pitch down went up; it may sound on by a pedal
    kStopped,   // the pitch sounds nowhere any more
  };
  Kind kind = Kind::kStruck;
  Pitch pitch;
  Velocity velocity;  // of the stroke; for kReleased and kStopped that of the last stroke
  friend bool operator==(const NoteChange&, const NoteChange&) = default;
};

class NoteState {
 public:
  NoteState();

  // What the event (or notice, see midi/source.h) changed, kReleased before kStopped of the same pitch.
  // Pitches ascend within a channel. Valid until the next call.
  std::span<const NoteChange> apply(const midi::Event& event);
  // Ends everything on an input.
  std::span<const NoteChange> release_port(midi::PortNumber port);

  bool is_down(Pitch pitch) const { return down_[index(pitch)]; }
  bool is_sounding(Pitch pitch) const { return sounding_[index(pitch)]; }
  // Time and loudness of the last stroke of a pitch that sounds; nothing when it is silent.
  std::optional<Micros> onset(Pitch pitch) const;
  std::optional<Velocity> velocity(Pitch pitch) const;

  const PitchSet& down() const { return down_; }
  const PitchSet& sounding() const { return sounding_; }
  bool silent() const { return sounding_.none(); }
  // Is a pedal down on any input and channel?
  bool damper_down() const { return dampers_ > 0; }

 private:
  struct Channel {
    PitchSet down, sounding, latched;  // latched: held by sostenuto
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
  // Makes `down` and `sounding` the channel's state and notes what that changes in the merged one. Only ever
  // takes notes away; strike adds them.
  void reduce(Channel& c, const PitchSet& down, const PitchSet& sounding);
  void note(NoteChange::Kind kind, std::size_t pitch);

  std::vector<Channel> channels_;  // 256 inputs of 16 channels
  std::array<std::uint16_t, 128> down_count_{},
      sounding_count_{};  // channels in which the pitch is down, sounds
  PitchSet down_, sounding_;
  std::array<Micros, 128> onset_{};
  std::array<Velocity, 128> velocity_{};
  int dampers_ = 0;
  std::array<NoteChange, 256> changes_;  // at most a release and a stop for each pitch
  std::size_t change_count_ = 0;
};

}  // namespace undersong::listen
