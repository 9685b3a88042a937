// ChordOutput: holds the chord that sounds on a MIDI channel, for lights and synthesisers that follow what is
// played.
//
//   ChordOutput chords({.carries = Carries::kBass, .channel = 1}, [&](const midi::Event& e) { return
//   sender.send(e); }); chords.follow(moment, hands, style, now);    // whenever the moment has changed
//
// It carries one of two things: the bass of the chord alone, in the octave from C2, or the whole chord, laid
// out in the player's style under the melody. When the chord changes, notes that both chords have are held
// on, the others are released, and the new ones struck. When nothing sounds any more, everything is released.
//
// Units: Micros of steady_now(); channel 0..15.
// Threads: one owner, the io thread; `send` is called there and must not wait.
// Errors: none. While `send` says that nothing is connected, the chord is tried again with the next moment.
// Source: common practice, no source.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "daemon/harmony/voicing.h"
#include "daemon/listen/moment.h"
#include "daemon/midi/event.h"

namespace undersong::live {

enum class Carries : std::uint8_t { kNothing, kBass, kVoicing };

struct ChordOutputOptions {
  Carries carries = Carries::kNothing;
  std::uint8_t channel = 0;
  Velocity velocity{56};
  friend bool operator==(const ChordOutputOptions&, const ChordOutputOptions&) = default;
};

class ChordOutput {
 public:
  using Send = std::function<bool(const midi::Event&)>;
  ChordOutput(const ChordOutputOptions& options, Send send);

  void follow(const listen::Moment& moment, const harmony::Hands& hands, harmony::Style style, Micros now);
  void stop(Micros now) { hold({}, now); }

 private:
  bool hold(const std::vector<Pitch>& notes, Micros now);  // false if not everything was sent

  const ChordOutputOptions options_;
  const Send send_;
  std::optional<harmony::Chord> chord_;  // whose notes are held
  std::vector<Pitch> held_;              // in ascending order
};

}  // namespace undersong::live
