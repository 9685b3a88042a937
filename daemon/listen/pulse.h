// The pulse as it is told: from the playing, from taps, or from another machine's MIDI clock; and the
// player's corrections.
//
// Clock with a position (start, continue, song position) rules; when it stops or is lost, the playing is
// followed again. Clock without one gives the tempo, and the beats while somebody plays: counted from its
// first message until the playing says otherwise; where the bar begins the playing or the player says. Four
// even taps set tempo and place (the first is one), and the pulse then follows the playing at that level.
// Corrections hold at once and until the take is over.
//
// Beats come out in two forms: every beat, told once and never revised (take_beat), and what a glance should
// see (now), which changes with a beat or a correction, and whose tempo changes only when it is truly
// another. Nothing is due while nobody plays.
//
// The tempo stays within 20 to 400 beats a minute (tempo.h): a correction that would leave it is refused and
// changes nothing.
//
// Times: Micros of one stream; time is data, as in Analysis. Any time may come, however far away: what is
// told and how long it takes to tell it are bounded. A correction whose time is more than the longest beat
// ahead does not move time. Threads: one owner. Heap: none per event; a correction may. Source: clock,
// MIDI 1.0 Detailed Specification (MMA, 1996): 24 a quarter note; the rest as harmony/beat_tracker.h.
#pragma once

#include <array>
#include <deque>
#include <optional>

#include "daemon/harmony/beat_tracker.h"
#include "daemon/listen/moment.h"
#include "daemon/listen/tempo.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

// Is it for the pulse and nobody else: clock, start, continue, stop, song position?
constexpr bool is_clock(const midi::Event& event) {
  const auto status = event.status();
  return event.size > 0 &&
         (status == 0xF8 || status == 0xFA || status == 0xFB || status == 0xFC || status == 0xF2);
}

struct ToldBeat {
  Micros at{}, told{};
  Micros interval{};  // to the next, as expected
  int place = 0, meter = 4;
  BeatSource source = BeatSource::kPlayed;
  bool barred = false;  // a clock with a position says where in the bar it is; otherwise the place is only
                        // what we think
};

// What became of a correction. All but kDone have changed nothing.
enum class Correction : std::uint8_t {
  kDone,
  kNoPulse,  // there is no beat to correct
  kClocked,  // another machine's clock gives the beat
  kTooFast,  // it would be more than 400 beats a minute
  kTooSlow,  // it would be fewer than 20
  kNothing,  // undo: there was no correction
  kNoMeter,  // a bar has 1 to 16 beats
};

class Pulse {
 public:
  static constexpr Micros kShortestTap{200'000}, kLongestTap{2'500'000};
  static constexpr Micros kClockLost{500'000};

  // Each returns true if now() changed.
  bool note_on(Micros at, Pitch pitch, Velocity velocity);
  bool clock(const midi::Event& event);  // is_clock(event)
  bool advance(Micros at);
  std::optional<Micros> next_deadline() const;

  bool tap(Micros at);
  // The beat nearest to `at` begins a bar.
  Correction beat_one(Micros at);
  Correction twice_as_fast(Micros at);
  Correction half_as_fast(Micros at);
  Correction set_meter(Micros at, int beats);  // 1..16
  Correction undo(Micros at);                  // the last correction
  // Corrections of the take before end, except such as were made just now, to count it in.
  void begin_take(Micros at);

  const std::optional<BeatNow>& now() const { return now_; }
  // The oldest told beat that has not been taken; the newest kWaiting are kept.
  std::optional<ToldBeat> take_beat();
  // The newest that was told, taken or not.
  std::optional<ToldBeat> newest() const {
    return told_ == 0 ? std::nullopt : std::optional(history_[(told_ - 1) % kHistory]);
  }
  // Beats that were tapped to the end: the interval when four taps in a row were even.
  std::optional<Micros> tapped() const { return tapped_; }

 private:
  static constexpr std::size_t kWaiting = 64, kHistory = 16;
  struct Corrections {
    std::optional<Micros> level;  // beats are wanted about so long
    bool tapped = false;          // ... because they were tapped
    std::optional<int> meter;
    bool counted = false;  // bars are counted by us, from the beat that was said to be one
    int shift = 0;         // added to our count
    Micros made{-3'600'000'000};
  };
  struct Clock {
    midi::PortNumber port = midi::kNoPort;
    std::array<Micros, 25> times{};
    std::size_t count = 0;  // of clocks since it came
    Micros last{-3'600'000'000};
    bool placed = false;  // start, continue or song position was received
    bool running = false;
    std::int64_t position = 0;     // in clocks
    std::optional<Micros> untold;  // a beat that came before it was known how long beats are
    std::optional<Micros> quarter() const;
  };
  bool rules() const { return clock_.placed && clock_.running && clock_.quarter().has_value(); }
  bool listens(Micros at) const { return at - last_note_ < kStops; }
  static constexpr Micros kStops{3'000'000};  // after so long without a note no beat is told

  void catch_up(Micros at);
  void catch_up_to_correct(Micros at) {
    if (near_enough(at) <= time_ + kLongestBeat) catch_up(at);
  }
  void newest_lasts(Micros interval);
  std::optional<Correction> not_ours() const;  // why the tempo can't be corrected
  void hear(const harmony::TrackedBeat& beat, Micros at);
  void follow_level(Micros interval, Micros last, BeatSource source);
  void run_free(Micros until, Micros at);
  void tell(Micros beat, Micros at, Micros interval, float confidence, BeatSource source, int place,
            int meter, bool barred = false);
  void show();
  void remember();

  harmony::BeatTracker tracker_;
  Micros time_{}, last_note_{-3'600'000'000};
  Corrections corrections_;
  std::deque<Corrections> before_;  // for undo
  Clock clock_;
  // Following at a level of our own: the last beat there, and how long they are.
  struct Follow {
    Micros last{}, interval{};
    float confidence = 1;
    BeatSource source = BeatSource::kPlayed;
    bool fixed = false;  // the clock says how long
    int apart = 0;       // beats of the playing in a row that fell elsewhere
  };
  std::optional<Follow> follow_;
  std::array<ToldBeat, kHistory> history_{};
  std::size_t told_ = 0;  // how many
  int count_ = 0;         // beats in our own bars
  float smooth_ = 0;      // interval, microseconds
  int tempo_ = 0;         // as shown
  float confidence_ = 0;  // of the newest beat
  std::optional<BeatNow> now_;
  std::array<Micros, 4> taps_{};
  std::size_t taps_count_ = 0;
  std::optional<Micros> tapped_;
  int patience_ = 0;  // looks that are still made for a beat that is late
  std::array<ToldBeat, kWaiting> waiting_{};
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace undersong::listen
