// Playback: what is being played on the MIDI output, and how loud.
//
// Owns the Sender. A suggestion is struck by an Audition; a take or a loop is a score of its own. There is
// one score at a time. Times: Micros of steady_now(). Threads: the io thread, but `score_of`, which is
// pure; `changed_output` of the constructor is called from the sender's thread, and the owner then calls
// output_changed() on io. Errors: sentences in Results.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/midi/audition.h"
#include "daemon/midi/sender.h"
#include "daemon/takes/along.h"
#include "daemon/takes/store.h"

namespace undersong::live {

// What of a take is wanted; all of it where nothing is said.
struct TakeSpan {
  std::optional<Micros> from, to;  // counted from the take's beginning
  bool held = false;               // what sounds at `from` already is struck there
};

// A span of a take, ready to be played.
struct TakeScore {
  takes::TakeId take = 0;
  Micros from{}, to{};
  std::shared_ptr<const midi::Score> score;
};
// `velocity`: the mean loudness that the take is brought down to. Error: there is nothing in that span.
// An hour's take needs some milliseconds.
Result<TakeScore> score_of(const takes::Store::Midi& take, const TakeSpan& span, Velocity velocity);

// What is being played.
struct Playing {
  struct Along {  // a loop, round and round
    double tempo = 0;
    int meter = 4;
    Micros count_in{}, cycle{};
    std::vector<takes::AlongChord> chords;
    int rounds = 0;       // then it ends; 0: until it is stopped
    bool given = false;   // the chords are not the loop's own
    bool listen = false;  // nothing is kept against it
  };
  takes::TakeId take = 0;
  Micros since{};  // when `from` sounds
  Micros from{}, to{};
  std::optional<Along> along{};
};

struct OutputState {
  std::string name;
  bool connected = false;
  std::string trouble;  // why not, in one sentence
};

class Playback {
 public:
  struct World {
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    std::function<void()> changed_output;  // called from another thread
    std::function<void()> changed_status, changed_deadline;
  };
  Playback(std::string output, World world);

  // Nothing when something could be played; otherwise why it can't.
  Result<void> ready();
  void set_output(const std::string& name);
  void output_changed();
  OutputState output() const;

  void strike(std::span<const Pitch> chord, const midi::Strike& strike);
  void stop_striking();
  Result<Playing> play(const TakeScore& take);
  // The score of `along`, so many rounds or for ever, over the loop of take `of`.
  Result<Playing> play_along(takes::TakeId of, const takes::Along& along, bool listen);
  bool stop();
  const std::optional<Playing>& playing() const { return playing_; }

  void advance(Micros now);
  std::optional<Micros> next_deadline() const;

 private:
  static constexpr Micros kLead{30'000};  // a score begins so long after it was asked for, to be on time
  midi::Audition::Send send() {
    return [this](const midi::Event& event) { sender_.send(event); };
  }
  Playing begin(std::shared_ptr<const midi::Score> score, Micros length);

  std::string name_;  // as configured; empty: our own port
  const World world_;
  midi::Audition audition_;
  std::optional<Playing> playing_;
  Micros ends_{};  // of what is playing
  midi::Sender sender_;
};

}  // namespace undersong::live
