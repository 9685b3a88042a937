// Player: carries out requests for sound. It strikes suggestions on the MIDI output, plays kept takes and
// songs, and repeats the loop of a take to play along with.
//
//   player.hear({});                                          // the next chord of the list
//   player.play_take({.take = 12}, [](Result<Playing> begun) { ... });
//
// Suggestions are voiced in the style of the settings and stay softer than the player. Only one take, loop
// or song is played at a time; if two are requested, the later request wins.
//
// Units: Micros of steady_now(); places in the list count from 0.
// Threads: the io thread only. Scores are made on other threads (`answers`, `aside`); answers are given on
// the io thread, with what begins to play.
// Errors: one sentence in a Result.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/spelling.h"
#include "daemon/live/client_keys.h"
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

// Which chord of the list, seen from the one that was heard last.
enum class Step : std::uint8_t { kNext, kPrevious, kAgain };

// What to strike: exactly these notes, or a chord, or a place in the list of alternatives. If none of them is
// given, a chord of the list by `step`.
struct HearWish {
  std::vector<Pitch> notes;
  std::optional<NamedChord> chord;  // together with `notes`, only their name
  std::optional<std::size_t> place;
  std::optional<std::uint32_t> list;      // the alternatives_number that the client saw; error if outdated
  std::optional<harmony::Style> voicing;  // if empty, the style of the settings
  Step step = Step::kNext;  // kAgain: the chord that was heard last, although the list may have changed
};

struct PlayWish {
  std::optional<takes::TakeId> take;  // if empty, the newest
  TakeSpan span;
  std::optional<Velocity> velocity;  // mean loudness; if empty, that of the settings
};

struct AlongWish {
  std::optional<takes::TakeId> take;  // if empty, the newest
  takes::AlongWish how;
  bool own_velocity = false;  // how.velocity was given; otherwise softer than the player
  bool listen = false;        // only to listen: the open take goes on, and the log gets no lines about passes
  // This client sounds the loop: nothing goes to the MIDI output, which need not be there. The loop ends with
  // the client's connection.
  std::optional<ClientId> sounded_by;
};

class Player {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // all references outlive this object
    Performance& performance;
    TakeRecorder& recorder;
    const LiveSettings& settings;
    song::Studies& studies;   // finds loops, on the thread `aside`
    takes::Fetcher& fetcher;  // makes scores of takes, on the thread `answers`
    // Called on the io thread when the take recorder may have an earlier deadline.
    std::function<void()> changed_deadline;
  };
  Player(World world, Playback::World output, Micros hear_length);

  // Returns the chord that is struck; empty for notes without a name.
  Result<std::optional<NamedChord>> hear(const HearWish& wish);
  void stop_hearing() { playback_.stop_striking(); }
  void play_take(const PlayWish& wish, Answer<Playing> answer);
  // `make` must call its argument once, on the io thread, with the score or why there is none.
  using MakeSong = std::function<void(Answer<song::SongScore>)>;
  void play_song(const MakeSong& make, Answer<Playing> answer);
  // Ends the take that is open. The next note begins a take that is logged together with the passes of the
  // loop. With `wish.listen`, neither happens.
  void play_along(const AlongWish& wish, Answer<Playing> answer);
  // The client's connection has ended: what it sounds is over.
  void gone(ClientId client);
  // Stops what is played, also what was requested and is not ready. True if something was being played.
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
  Result<std::optional<NamedChord>> make_heard(const HearWish& wish);
  Result<NamedChord> hear_from_list(const HearWish& wish);
  void sound(const harmony::Voicing& voicing);
  void sound(const std::vector<Pitch>& notes);

  const World world_;
  Micros hear_length_;
  Playback playback_;
  std::uint64_t play_asked_ = 0;  // counts requests; a score for an earlier request is not played
  struct Heard {
    std::uint32_t list = 0;  // alternatives_number
    std::size_t place = 0;
    NamedChord chord;
    std::vector<Pitch> notes;
  };
  std::optional<ClientId> sounded_by_;  // who sounds what is being played; empty: the MIDI output
  std::optional<Heard> heard_;          // the last suggestion from a list
};

}  // namespace undersong::live
