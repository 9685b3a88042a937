// Playback: the MIDI output, what is being played on it, and how loud. It owns the Sender.
//
// Two kinds of sound share the output. A suggestion is one chord, struck by an Audition. A take, a loop or a
// song is a Score of the Sender; at most one score is played at a time, and it ends a suggestion that still
// sounds.
//
// Units: Micros of steady_now(), except where a comment says otherwise.
// Threads: the io thread only, except `score_of`, which is pure and may run on any thread. The callbacks are
// called on the io thread, except `changed_output`, which the Sender calls on its own thread ("midi-out").
// The owner must then call output_changed() on the io thread.
// Errors: one sentence in a Result.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/midi/audition.h"
#include "daemon/midi/sender.h"
#include "daemon/song/song_score.h"
#include "daemon/takes/along.h"
#include "daemon/takes/store.h"

namespace undersong::live {

// The wanted part of a take; by default all of it.
struct TakeSpan {
  std::optional<Micros> from, to;  // from the beginning of the take
  bool held = false;               // strike the notes that already sound at `from`
};

// A span of a take, ready to be played.
struct TakeScore {
  takes::TakeId take = 0;
  Micros from{}, to{};  // from the beginning of the take
  std::shared_ptr<const midi::Score> score;
};
// Makes the score of a span. `velocity`: a take that is louder on average is scaled down to this mean. Error:
// the span is empty. Takes some milliseconds for a take of an hour.
Result<TakeScore> score_of(const takes::Store::Midi& take, const TakeSpan& span, Velocity velocity);

// What is being played.
struct Playing {
  struct Along {       // the repeating loop of a take
    double tempo = 0;  // beats per minute
    int meter = 4;
    Micros count_in{}, cycle{};
    std::vector<takes::AlongChord> chords;
    int rounds = 0;          // ends after this many rounds; 0: repeats until stopped
    bool given = false;      // a client gave other chords than the loop's own
    bool listen = false;     // only to listen: the log gets no lines about passes of the loop
    bool by_client = false;  // a client sounds it, not the MIDI output
    std::shared_ptr<const midi::Score> score;
  };
  struct Song {
    std::string title;
    Micros length{};  // of the whole song
    std::vector<song::SectionTurn> turns;
  };
  takes::TakeId take = 0;  // 0 for a song
  Micros since{};          // when the score begins
  Micros from{}, to{};     // from the beginning of the take or song; 0 for a loop
  std::optional<Along> along{};
  std::optional<Song> song{};
};

struct OutputState {
  std::string name;
  bool connected = false;
  std::string trouble;                // why it is not connected, in one sentence; empty when all is well
  std::optional<unsigned> listeners;  // see midi::Sink
  std::vector<std::string> offered;
  // Nothing is connected to our own port, so nobody hears what is played.
  bool unheard() const { return connected && listeners == 0u; }
};

class Playback {
 public:
  struct World {
    // Called on the io thread; makes the output called `name`. Empty name: our own port "Undersong out".
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    // Called on the thread "midi-out" when the output came, went or has trouble.
    std::function<void()> changed_output;
    // Called on the io thread when output() or playing() may have changed, or next_deadline() may be earlier.
    std::function<void()> changed_status, changed_deadline;
  };
  Playback(std::string output, World world);

  // Succeeds if the output is connected; otherwise says why it is not, and looks for the port again.
  Result<void> ready();
  void set_output(const std::string& name);
  void output_changed();
  OutputState output() const;

  void strike(std::span<const Pitch> chord, const midi::Strike& strike);
  void stop_striking();
  Result<Playing> play(const TakeScore& take);
  Result<Playing> play_song(const song::SongScore& song);
  // Plays the score of `along`, made from the loop of take `of`, for as many rounds as it says. `listen` is
  // only reported in playing(). With `by_client` the output stays silent, and a client plays the score.
  Result<Playing> play_along(takes::TakeId of, const takes::Along& along, bool listen, bool by_client);
  // Stops a take, a loop or a song. True if one was being played.
  bool stop();
  const std::optional<Playing>& playing() const { return playing_; }

  void advance(Micros now);
  std::optional<Micros> next_deadline() const;

 private:
  // Delay between the request and the beginning of a score, so that its first message is on time. Common
  // practice, no source.
  static constexpr Micros kLead{30'000};
  // A client needs the answer first, and sound in a browser needs a while; common practice, no source.
  static constexpr Micros kClientLead{300'000};
  midi::Audition::Send send() {
    return [this](const midi::Event& event) { sender_.send(event); };
  }
  Playing begin(std::shared_ptr<const midi::Score> score, Micros length, bool by_client = false);
  // The same for a span of a take or a song, from beginning to end.
  Result<Playing> play_span(std::shared_ptr<const midi::Score> score, Playing what);

  std::string name_;  // from the settings; empty: our own port
  const World world_;
  midi::Audition audition_;
  std::optional<Playing> playing_;
  Micros ends_{};  // when what is being played ends; Micros::max(): never
  midi::Sender sender_;
};

}  // namespace undersong::live
