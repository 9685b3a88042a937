// The take recorder: where takes begin and end, and what is written of them in the log: what was played, what
// was heard in it, marks, beats that were said, losses, and the loop that it is played against.
//
// Of a boundary it only says that it is due; its owner, who knows what else must be written before an end,
// then calls `begin` or `end`. While a loop is played along, silence ends nothing: its player may listen as
// long as he likes. Times: Micros of the events, ascending. Threads: the io thread; answers are given there,
// when the line is on disk. Errors: sentences in Results.
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
    std::optional<takes::TakeId> id;  // once its first line is on disk
  };
  struct World {  // outlives this
    takes::Store& store;
    const midi::Inputs& inputs;
    std::function<std::int64_t()> utc_ms;
    std::function<void()> changed_status;
  };
  TakeRecorder(Micros silence, World world);

  const std::optional<OpenTake>& take() const { return take_; }
  // Lines that are on disk: the number of the take being played is known from them.
  void kept(const std::vector<takes::Line>& lines);
  void set_silence(Micros silence) { boundary_.set_silence(silence); }

  // ---- where takes begin and end
  takes::Boundary::Change played(Micros at, bool struck, bool sounding) {
    return boundary_.played(at, struck, sounding);
  }
  // When a pass of the loop begins, or a silence has been long enough.
  std::optional<Micros> next_deadline() const;
  takes::Boundary::Change advance(Micros at);
  takes::Boundary::Change asked_to_end(Micros at) { return boundary_.end(at); }
  // `pinned`: the key, if it is; `newest`: the last beat that was told.
  void begin(Micros at, const std::optional<harmony::KeyReading>& pinned,
             const std::optional<listen::ToldBeat>& newest);
  void end(Micros at, takes::EndReason reason, Answer<takes::LineNumber> answer = {});

  // ---- what is written, while there is a take
  void event(const midi::Event& event, bool struck);  // pedals are remembered without a take too
  void echo(const midi::Event& event);
  void lost(const midi::Event& notice);  // is written without a take too
  void findings(const listen::Analysis& analysis);
  void meetings(std::span<const listen::Meeting> meetings);
  void beat(const listen::ToldBeat& beat);
  void tapped(Micros at, Micros interval);
  // Error without a take.
  void mark(Micros at, std::string text, Answer<takes::LineNumber> answer);
  // REQUIRES: a take.
  void said(const takes::BeatLine& line, Answer<takes::LineNumber> answer);

  // ---- the loop that is played along
  void play_along(takes::TakeId of, const takes::Along& along, Micros begin) {
    round_ = Round{of, along, begin};
  }
  void along_is_over() { round_.reset(); }

 private:
  struct Round {
    takes::TakeId of = 0;
    takes::Along along;
    Micros begin{};
    int next = 1;  // pass that begins next
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
  std::optional<Round> round_;
  bool clock_kept_ = false;                           // the take has a line about a clock
  std::vector<midi::Event> pedals_;                   // that are down
  std::map<midi::PortNumber, std::uint64_t> losses_;  // events of each input that a line says were lost
};

}  // namespace undersong::live
