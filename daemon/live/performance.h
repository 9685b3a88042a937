// Performance: takes the events of all inputs and keeps the moment, that is, everything that is shown about
// the music now. Each event passes through once: echoes and orders by pedal or pad are removed, the analysis
// and the pulse hear the rest, and the take recorder writes it to the log.
//
//   performance.received(event);                        // publish the moment if changed_moment was called
//   performance.catch_up();                             // then write the log and follow the beat
//   if (auto due = performance.next_deadline(); due && *due <= now) performance.advance(now);
//
// Time is an argument: every event carries its own time, and the owner calls `advance` when next_deadline()
// is reached. Whatever falls due is done in the order of its times, so an event that arrives late finds the
// same state as one that arrives on time. Writing the log and following the beat wait for `catch_up`, which
// the owner calls after it has published the moment and before it asks for anything else.
//
// Units: Micros of the events, ascending.
// Threads: the io thread only; all callbacks are called there.
// Errors: one sentence in a Result or a Correction. Nothing throws except when memory runs out.
#pragma once

#include <array>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/listen/analysis.h"
#include "daemon/listen/controls.h"
#include "daemon/listen/meetings.h"
#include "daemon/listen/pulse.h"
#include "daemon/live/settings.h"
#include "daemon/live/take_recorder.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/inputs.h"

namespace undersong::live {

class Performance {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // all references outlive this object
    const midi::Inputs& inputs;
    midi::SharedEchoGuard& echoes;  // knows what was sent to the output
    TakeRecorder& recorder;
    // The input that clients play on. Its notes come over a socket, so they cannot be echoes.
    std::optional<midi::PortNumber> clients;
    // Called on the io thread when moment(), or what the status reports, has changed.
    std::function<void()> changed_moment, changed_status;
    // Called on the io thread when next_deadline() may be earlier although no event was received.
    std::function<void()> changed_deadline;
    // Called on the io thread with each order by pedal or pad; carries it out.
    std::function<void(const listen::Order&)> obey;
    // True if the events come from a file, perhaps faster or slower than real time. Until the file ends, only
    // its events move time forward (file_source.h), and next_deadline() is empty.
    bool follows_file = false;
  };
  Performance(const Settings& settings, World world);

  void received(const midi::Event& event);
  // Completes the last event: log, beat, loudness, and where takes begin and end.
  void catch_up();
  void advance(Micros now);
  // The earliest time at which `advance` has something to do; empty if there is none.
  std::optional<Micros> next_deadline() const;
  // The current time on the clock of the events.
  Micros now() const;

  // The moment, including the beat. The reference is valid until the next call.
  const listen::Moment& moment();
  const std::optional<listen::BeatNow>& beat() const { return pulse_.now(); }
  bool still() const { return analysis_.moment().still; }
  // When a note was played last on an input; nothing before the first. Echoes do not count, drums do.
  std::optional<Micros> last_note(midi::PortNumber port) const { return last_note_[port]; }
  // A slow mean of the played velocities, up to 127; 0 before the first note.
  float loudness() const { return loudness_; }
  harmony::Hands hands() const { return analysis_.hands(); }
  // Voicings of a chord for the current melody and hands; empty while there is no melody note.
  harmony::Voicings voicings(const harmony::Chord& chord) const;

  // Holds the list of alternatives still, or lets it follow the melody. Returns whether it is still now.
  bool hold(bool on);
  void tap(Micros at);
  // Takes effect at once and lasts until the take ends. The caller writes it to the log.
  listen::Correction correct(const takes::BeatLine& said);
  // These answer with the number of the line when it is on disk, or with an error if no take is open. A mark
  // without a text gets one that says what sounded and when, such as "Dbmaj7 under G, 0:46".
  void mark(Micros at, std::string text, Answer<takes::LineNumber> answer);
  void undo_mark(Answer<takes::LineNumber> answer);
  void end_take(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer);

  // Answers with the next pedal, pad, key or program change that is pressed, so that a player can choose it
  // for an order; an error after kLearnFor, or when something else asks. What is pressed is heard as always.
  static constexpr Micros kLearnFor{15'000'000};
  void learn(Answer<listen::ControlMessage> answer);

  void use(const Settings& settings);
  // What the player played in earlier takes; null: nothing is known. It counts from the next list on, unless
  // the setting `own` is off.
  void use(std::shared_ptr<const harmony::PlayerMemory> player);

 private:
  void advance_to(Micros at);
  void beat_changed(bool changed);
  void keep_findings();
  void boundary(const takes::Boundary::Change& change);
  void obey(std::span<const listen::Order> orders);
  void name_ports();

  const World world_;
  TakeRecorder& recorder_;
  listen::Analysis analysis_;
  listen::Meetings meetings_;
  listen::Pulse pulse_;
  std::vector<listen::Mapping> mapped_;  // what controls_ was made of
  listen::Controls controls_;
  struct Learning {
    Answer<listen::ControlMessage> answer;
    Micros until{};
  };
  std::optional<Learning> learning_;
  void learnt(Result<listen::ControlMessage> what);
  listen::Moment shown_;
  std::uint64_t beat_changes_ = 0;
  Micros latest_{};                   // the latest time of any event
  bool in_file_ = false;              // events come from a file that has not ended
  std::optional<midi::Event> heard_;  // the analysis has it; catch_up() has to do the rest
  float loudness_ = 0;
  std::array<std::optional<Micros>, 256> last_note_{};
  std::shared_ptr<const harmony::PlayerMemory> player_;
  bool own_ = true;  // the setting
};

}  // namespace undersong::live
