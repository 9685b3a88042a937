// Pulse: the beat that is shown and logged, from the playing, from taps or from an external MIDI clock,
// together with the player's corrections.
//
// - A clock with a position (start, continue, song position) takes priority. When it stops or is lost, the
//   playing is followed again.
// - A clock without a position gives the tempo, and the beats while somebody plays, counted from its first
//   message until the playing says otherwise. Where the bar begins, the playing or the player says.
// - Four even taps set tempo and place; the first tap is beat one. The pulse then follows the playing at that
//   level.
// - A correction takes effect at once and lasts until the take ends.
//
// Beats come out in two forms. take_beat() gives every beat once and never revises it. now() is for display:
// it changes with a beat or a correction, and its tempo changes only when the tempo really is another.
// Nothing is due while nobody plays.
//
// The tempo stays within 20 to 400 beats per minute (tempo.h). A correction that would leave this range is
// refused and changes nothing.
//
// Units: Micros of one stream; time is an argument, as in Analysis. Any time may come, however far away: the
// number of beats told and the work are bounded. A correction whose time lies more than the longest beat
// ahead does not advance the clock.
// Threads: one owner.
// Errors: corrections return a Correction; everything else is total.
// Source: clock, MIDI 1.0 Detailed Specification (MMA, 1996): 24 per quarter note; the rest as in
// harmony/beat_tracker.h.
// Memory: no allocation per event; a correction may allocate.
#pragma once

#include <array>
#include <deque>
#include <optional>

#include "daemon/harmony/beat_tracker.h"
#include "daemon/listen/moment.h"
#include "daemon/listen/tempo.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

// True for messages that only the pulse uses: clock, start, continue, stop and song position.
constexpr bool is_clock(const midi::Event& event) {
  const auto status = event.status();
  return event.size > 0 &&
         (status == 0xF8 || status == 0xFA || status == 0xFB || status == 0xFC || status == 0xF2);
}

struct ToldBeat {
  Micros at{}, told{};
  Micros interval{};  // expected time to the next beat
  int place = 0, meter = 4;
  BeatSource source = BeatSource::kPlayed;
  // True if a clock with a position says where in the bar the beat is; otherwise the place is our own
  // estimate.
  bool barred = false;
};

// The result of a correction. All results except kDone changed nothing.
enum class Correction : std::uint8_t {
  kDone,
  kNoPulse,  // there is no beat to correct
  kClocked,  // an external clock gives the beat
  kTooFast,  // the result would exceed 400 beats per minute
  kTooSlow,  // the result would fall below 20 beats per minute
  kNothing,  // undo: there is no correction to undo
  kNoMeter,  // a bar has 1 to 16 beats
};

class Pulse {
 public:
  static constexpr Micros kShortestTap{200'000}, kLongestTap{2'500'000};
  static constexpr Micros kClockLost{500'000};

  // Each returns true if now() changed.
  bool note_on(Micros at, Pitch pitch, Velocity velocity);
  bool clock(const midi::Event& event);  // REQUIRES: is_clock(event)
  bool advance(Micros at);
  std::optional<Micros> next_deadline() const;

  bool tap(Micros at);
  // The beat nearest to `at` is the first of a bar.
  Correction beat_one(Micros at);
  Correction twice_as_fast(Micros at);
  Correction half_as_fast(Micros at);
  Correction set_meter(Micros at, int beats);  // 1..16
  Correction undo(Micros at);                  // undoes the last correction
  // Ends the corrections of the take before, except those made shortly before this take, to count it in.
  void begin_take(Micros at);

  const std::optional<BeatNow>& now() const { return now_; }
  // The oldest beat that has not been taken; the newest kWaiting are kept.
  std::optional<ToldBeat> take_beat();
  // The newest beat, taken or not.
  std::optional<ToldBeat> newest() const {
    return told_ == 0 ? std::nullopt : std::optional(history_[(told_ - 1) % kHistory]);
  }
  // The interval between taps, if the last four taps were even.
  std::optional<Micros> tapped() const { return tapped_; }

 private:
  static constexpr std::size_t kWaiting = 64, kHistory = 16;
  struct Corrections {
    std::optional<Micros> level;  // the length of beat that was asked for
    bool tapped = false;          // the level was tapped
    std::optional<int> meter;
    bool counted = false;  // we count the bars, from the beat that the player called one
    int shift = 0;         // offset added to our own count
    Micros made{-3'600'000'000};
  };
  struct Clock {
    midi::PortNumber port = midi::kNoPort;
    std::array<Micros, 25> times{};
    std::size_t count = 0;  // clock messages since the clock appeared
    Micros last{-3'600'000'000};
    bool placed = false;  // start, continue or song position was received
    bool running = false;
    std::int64_t position = 0;     // song position in clock messages
    std::optional<Micros> untold;  // a beat seen before the tempo was known
    std::optional<Micros> quarter() const;
  };
  bool rules() const { return clock_.placed && clock_.running && clock_.quarter().has_value(); }
  bool listens(Micros at) const { return at - last_note_ < kStops; }
  static constexpr Micros kStops{3'000'000};  // no beat is told this long after the last note

  void catch_up(Micros at);
  void catch_up_to_correct(Micros at) {
    if (near_enough(at) <= time_ + kLongestBeat) catch_up(at);
  }
  void newest_lasts(Micros interval);
  std::optional<Correction> not_ours() const;  // why the tempo cannot be corrected; nullopt if it can
  void hear(const harmony::TrackedBeat& beat, Micros at);
  void follow_level(Micros interval, Micros last, BeatSource source);
  static Micros patience(Micros interval);
  void run_free(Micros until, Micros at);
  void tell(Micros beat, Micros at, Micros interval, float confidence, BeatSource source, int place,
            int meter, bool barred = false);
  void show();
  void remember();

  harmony::BeatTracker tracker_;
  Micros time_{}, last_note_{-3'600'000'000};
  Corrections corrections_;
  std::deque<Corrections> before_;  // earlier states, for undo
  Clock clock_;
  // State while following at a level of our own: the last beat there and the interval between beats.
  struct Follow {
    Micros last{}, interval{};
    float confidence = 1;
    BeatSource source = BeatSource::kPlayed;
    bool fixed = false;  // the clock sets the interval
    int apart = 0;       // beats of the playing in a row that fell between ours
  };
  std::optional<Follow> follow_;
  std::array<ToldBeat, kHistory> history_{};
  std::size_t told_ = 0;  // number of beats told
  int count_ = 0;         // beats counted for our own bars
  float smooth_ = 0;      // smoothed interval, microseconds
  int tempo_ = 0;         // beats per minute, as shown
  float confidence_ = 0;  // confidence in the newest beat
  std::optional<BeatNow> now_;
  std::array<Micros, 4> taps_{};
  std::size_t taps_count_ = 0;
  std::optional<Micros> tapped_;
  int patience_ = 0;  // how many more times to look for a beat that is late
  std::array<ToldBeat, kWaiting> waiting_{};
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace undersong::listen
