// The player of sounds: suggestions struck on the MIDI output, takes played again, loops played along with.
//
// A suggestion is laid out in the style of the settings and stays under the player's own loudness. Of takes
// and loops one is played at a time; of two that are asked for the later one is. Threads: the io thread;
// scores are made aside, and answers are given on io when the sound begins. Errors: sentences in Results.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/spelling.h"
#include "daemon/live/live_settings.h"
#include "daemon/live/performance.h"
#include "daemon/live/playback.h"
#include "daemon/live/take_recorder.h"
#include "daemon/song/studies.h"

namespace undersong::live {

struct NamedChord {
  harmony::Chord chord;
  harmony::NoteName root;
};

// What should be heard: these very notes, or a chord, or a place in the list (from 0); nothing of them: the
// next one of the list.
struct HearWish {
  std::vector<Pitch> notes;
  std::optional<NamedChord> chord;  // with notes: their name
  std::optional<std::size_t> place;
  std::optional<std::uint32_t> list;      // the alternatives_number that was seen; error if it has changed
  std::optional<harmony::Style> voicing;  // the settings' where left out
};

struct PlayWish {
  std::optional<takes::TakeId> take;  // the newest where left out
  TakeSpan span;
  std::optional<Velocity> velocity;  // that of the settings where left out
};

struct AlongWish {
  std::optional<takes::TakeId> take;
  takes::AlongWish how;
  bool own_velocity = false;  // how.velocity was asked for; softly where not
  bool listen = false;        // nothing ends, and nothing is kept against the loop
};

class Player {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // outlives this
    Performance& performance;
    TakeRecorder& recorder;
    const LiveSettings& settings;
    song::Studies& studies;   // for loops
    takes::Fetcher& fetcher;  // for takes
    std::function<void()> changed_deadline;
  };
  Player(World world, Playback::World output, Micros hear_length);

  // What is played; nothing for notes without a name.
  Result<std::optional<NamedChord>> hear(const HearWish& wish);
  void stop_hearing() { playback_.stop_striking(); }
  void play_take(const PlayWish& wish, Answer<Playing> answer);
  // The take being played ends; the next note begins one that is kept against the loop.
  void play_along(const AlongWish& wish, Answer<Playing> answer);
  // True if something was being played.
  bool stop();

  const std::optional<Playing>& playing() const { return playback_.playing(); }
  OutputState output() const { return playback_.output(); }
  void output_changed();
  void use_output(const std::string& name) { playback_.set_output(name); }
  void set_hear_length(Micros length) { hear_length_ = length; }

  void advance(Micros now);
  std::optional<Micros> next_deadline() const { return playback_.next_deadline(); }

 private:
  Velocity soft() const;
  harmony::Voicing styled(const harmony::Chord& chord, const std::vector<Pitch>& melody,
                          std::optional<harmony::Style> wish) const;
  Result<NamedChord> hear_from_list(const HearWish& wish);
  void sound(const harmony::Voicing& voicing);
  void sound(const std::vector<Pitch>& notes);

  const World world_;
  Micros hear_length_;
  Playback playback_;
  std::uint64_t play_asked_ = 0;  // counts; of two that are asked for the later one is played
  std::uint32_t heard_list_ = 0;  // the next one goes through one list, then begins again
  std::size_t heard_next_ = 0;
};

}  // namespace undersong::live
