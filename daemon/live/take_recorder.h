// TakeRecorder: finds where takes begin and end, and writes their lines to the log: what was played and
// heard, marks, corrections of the beat, lost events, and the loop that is played along with.
//
//   const auto change = recorder.played(at, struck, sounding);
//   if (change.begun) recorder.begin(*change.begun, pinned_key, newest_beat);
//   recorder.event(event, struck);
//
// It reports a beginning or an end but does not act on it. Its owner may have other lines to write before an
// end, and then calls `begin` or `end`. While a loop is being played along with, silence ends no take,
// because the player may just be listening.
//
// Units: Micros of the events, ascending; wall time in milliseconds since 1970, UTC.
// Threads: the io thread only. Answers are given there when the line is on disk.
// Errors: one sentence in a Result.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/listen/analysis.h"
#include "daemon/listen/meetings.h"
#include "daemon/listen/pulse.h"
#include "daemon/midi/inputs.h"
#include "daemon/takes/along.h"
#include "daemon/takes/boundary.h"
#include "daemon/takes/corrected_beats.h"
#include "daemon/takes/store.h"

namespace undersong::live {

class TakeRecorder {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct OpenTake {
    Micros since{};
    std::int64_t begin_utc_ms = 0;
    std::uint64_t notes = 0;
    std::optional<takes::TakeId> id;  // known when its first line is on disk
  };
  struct World {  // all references outlive this object
    takes::Store& store;
    const midi::Inputs& inputs;
    // Called on the io thread; the wall time.
    std::function<std::int64_t()> utc_ms;
    // Called on the io thread when take() has changed.
    std::function<void()> changed_status;
  };
  TakeRecorder(Micros silence, World world);

  // The open take; empty if there is none.
  const std::optional<OpenTake>& take() const { return take_; }
  // Lines that are now on disk. The id of the open take is read from them.
  void kept(const std::vector<takes::Line>& lines);
  void set_silence(Micros silence) { boundary_.set_silence(silence); }

  // ---- where takes begin and end
  takes::Boundary::Change played(Micros at, bool struck, bool sounding) {
    return boundary_.played(at, struck, sounding);
  }
  // When the next pass of the loop begins, or when a silence will be long enough to end the take.
  std::optional<Micros> next_deadline() const;
  takes::Boundary::Change advance(Micros at);
  takes::Boundary::Change asked_to_end(Micros at) { return boundary_.end(at); }
  // `pinned`: the key, if it is pinned. `newest`: the newest beat of the pulse, if there is one.
  void begin(Micros at, const std::optional<harmony::KeyReading>& pinned,
             const std::optional<listen::ToldBeat>& newest);
  void end(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer = {});

  // ---- what is written; most of it only while a take is open
  void event(const midi::Event& event, bool struck);  // remembers pedals even without a take
  void echo(const midi::Event& event);
  void lost(const midi::Event& notice);  // written even without a take
  void findings(const listen::Analysis& analysis);
  void meetings(std::span<const listen::Meeting> meetings);
  void beat(const listen::ToldBeat& beat);
  void tapped(Micros at, Micros interval);
  void heard(Micros at, const harmony::Chord& chord, harmony::NoteName root);
  // Answers with an error if no take is open.
  void mark(Micros at, std::string text, Answer<takes::LineNumber> answer);
  // Takes the newest mark of this take back. Answers with an error if there is none on disk.
  void undo_mark(Micros at, Answer<takes::LineNumber> answer);
  // REQUIRES: a take is open.
  void said(const takes::BeatLine& line, Answer<takes::LineNumber> answer);

  // ---- the loop that is played along with
  void play_along(takes::TakeId of, const takes::Along& along, Micros begin) {
    round_ = Round{of, along, begin};
  }
  void along_is_over() { round_.reset(); }

 private:
  struct Round {
    takes::TakeId of = 0;
    takes::Along along;
    Micros begin{};
    int next = 1;  // number of the pass that begins next
    Micros pass(int number) const { return begin + along.count_in + along.cycle * (number - 1); }
  };
  std::optional<Micros> next_pass() const;
  void begin_pass();
  void begin_clock(Micros take_begins, const std::optional<listen::ToldBeat>& newest);
  void keep_clock(const listen::ToldBeat& beat);
  void remember_pedal(const midi::Event& event);

  const World world_;
  takes::Boundary boundary_;
  std::optional<OpenTake> take_;
  std::vector<takes::LineNumber> marks_;  // of the open take, that are on disk and not taken back
  std::optional<Round> round_;
  bool clock_kept_ = false;                           // the take has a line about an external clock
  std::vector<midi::Event> pedals_;                   // pedals that are down
  std::map<midi::PortNumber, std::uint64_t> losses_;  // lost events of each input that were written already
};

}  // namespace undersong::live
