// Over 400 lines: tracker, taps, clock and corrections all change one history of beats.
#include "daemon/listen/pulse.h"

#include <algorithm>
#include <cmath>

namespace undersong::listen {
namespace {

constexpr Micros kForgotten{3'200'000};  // a beat stays visible this long after the last note
constexpr Micros kLookAgain{60'000};
constexpr int kLooks = 4;
// After this many played beats in a row between those of a clock without a position, the clock's beats are
// counted from the played ones.
constexpr int kApart = 4;
constexpr Micros kCountIn{10'000'000};  // corrections made this shortly before a take belong to it
constexpr float kShowFrom = .22f, kHideBelow = .1f;
constexpr double kOtherTempo = .025;  // a smaller relative change is the same tempo
constexpr double kUneven = .22;       // largest relative difference of a tap from the mean

Micros scaled(Micros interval, double by) {
  return Micros(static_cast<std::int64_t>(std::llround(static_cast<double>(interval.count()) * by)));
}
double ratio(Micros a, Micros b) {
  return static_cast<double>(a.count()) / static_cast<double>(std::max<std::int64_t>(1, b.count()));
}
int positive(int value, int modulus) {
  return (value % modulus + modulus) % modulus;
}

}  // namespace

std::optional<Micros> Pulse::Clock::quarter() const {
  const std::size_t spans = std::min<std::size_t>(count, times.size()) - (count > 0);
  if (spans < 6) return std::nullopt;
  const Micros newest = times[(count - 1) % times.size()], oldest = times[(count - 1 - spans) % times.size()];
  if (newest - oldest > 2 * kLongestBeat) return std::nullopt;
  const Micros quarter = Micros((newest - oldest).count() * 24 / static_cast<std::int64_t>(spans));
  if (!is_tempo(quarter)) return std::nullopt;
  return quarter;
}

// ---- reporting beats

void Pulse::tell(Micros beat, Micros at, Micros interval, float confidence, BeatSource source, int place,
                 int meter, bool barred) {
  ++count_;
  if (corrections_.counted && !barred) {
    meter = corrections_.meter.value_or(meter);
    place = positive(count_ + corrections_.shift, meter);
  } else if (corrections_.meter && *corrections_.meter != meter) {
    meter = *corrections_.meter;
  }
  place = positive(place, meter);  // the tracker counts in its own meter
  const ToldBeat told{beat, at, interval, place, meter, source, barred};
  history_[told_++ % kHistory] = told;
  if (size_ == kWaiting) first_ = (first_ + 1) % kWaiting, --size_;
  waiting_[(first_ + size_++) % kWaiting] = told;
  smooth_ = smooth_ == 0 || std::abs(static_cast<float>(interval.count()) / smooth_ - 1) > .15f
                ? static_cast<float>(interval.count())
                : smooth_ + .3f * (static_cast<float>(interval.count()) - smooth_);
  confidence_ = confidence;
  patience_ = kLooks;
  show();
}

void Pulse::show() {
  if (told_ == 0) return;
  const ToldBeat& newest = history_[(told_ - 1) % kHistory];
  if (confidence_ < (now_ ? kHideBelow : kShowFrom)) {
    now_.reset();
    return;
  }
  const double tempo = 60e6 / static_cast<double>(smooth_);
  if (tempo_ == 0 || std::abs(tempo / tempo_ - 1) > kOtherTempo)
    tempo_ = static_cast<int>(std::lround(tempo));
  // Shown in tenths. The shown value stays while the real one is within a tenth of it.
  float shown = std::round(confidence_ * 10) / 10;
  if (now_ && std::abs(confidence_ - now_->confidence) < .1f) shown = now_->confidence;
  // How beats are divided was heard at the level of the tracker.
  const auto& heard = tracker_.newest();
  const bool same_level = heard && std::abs(std::log(ratio(heard->interval, newest.interval))) < .2;
  now_ = BeatNow{newest.at,
                 tempo_,
                 std::clamp(shown, 0.f, 1.f),
                 newest.place,
                 newest.meter,
                 newest.source,
                 same_level ? tracker_.feel() : harmony::FeelNow{}};
}

std::optional<ToldBeat> Pulse::take_beat() {
  if (size_ == 0) return std::nullopt;
  const ToldBeat beat = waiting_[first_];
  first_ = (first_ + 1) % kWaiting;
  --size_;
  return beat;
}

// ---- following the playing

// How long a beat of ours waits for the tracker's word on it before it is told as expected.
Micros Pulse::patience(Micros interval) {
  return std::max(scaled(interval, .25), harmony::kBeatDelay + 5 * harmony::kBeatFrame);
}

// Reports, as expected, the beats at our own level that should have come by `until` but did not. However far
// away `until` is, only the newest kWaiting are reported, because there is no room for more.
void Pulse::run_free(Micros until, Micros at) {
  if (!follow_) return;
  std::int64_t due = std::max<std::int64_t>(0, (until - follow_->last) / follow_->interval);
  const auto pass_over = [&](std::int64_t beats) {
    follow_->last += beats * follow_->interval;
    follow_->confidence *= std::pow(.93f, static_cast<float>(beats));
    due -= beats;
  };
  if (due > static_cast<std::int64_t>(kWaiting)) pass_over(due - static_cast<std::int64_t>(kWaiting));
  while (due > 0) {
    pass_over(1);
    const Micros beat = follow_->last;
    if (!listens(beat)) continue;
    const int meter = corrections_.meter.value_or(4);
    // Beats of a clock continue from the place of the beat before.
    const int place = follow_->source != BeatSource::kClock ? count_ + 1
                      : told_ > 0                           ? history_[(told_ - 1) % kHistory].place + 1
                                                            : 0;
    tell(beat, at, follow_->interval, follow_->confidence, follow_->source, positive(place, meter), meter);
  }
}

void Pulse::hear(const harmony::TrackedBeat& beat, Micros at) {
  if (rules()) return;
  if (!follow_ && corrections_.level) {
    // The player asked for this level, and the tracker is at another one.
    const double r = ratio(*corrections_.level, beat.interval);
    for (const double level : {.25, .5, 2., 4.})
      if (std::abs(std::log(r / level)) < .2) {
        follow_level(scaled(beat.interval, level), beat.at,
                     corrections_.tapped ? BeatSource::kTapped : BeatSource::kPlayed);
        follow_->confidence = beat.confidence;
        tell(beat.at, at, follow_->interval, beat.confidence, follow_->source,
             positive(count_ + 1, beat.meter), beat.meter);
        return;
      }
  }
  if (!follow_) {
    tell(beat.at, at, beat.interval, beat.confidence, BeatSource::kPlayed, beat.place, beat.meter);
    return;
  }
  // A beat between two of ours belongs to another level; a beat near one of ours corrects it.
  run_free(beat.at - scaled(follow_->interval, .25), at);
  const Micros expected = follow_->last + follow_->interval;
  const bool same_level = std::abs(std::log(ratio(beat.interval, follow_->interval))) < .2;
  if (std::chrono::abs(beat.at - expected) > scaled(follow_->interval, .25)) {
    if (!follow_->fixed || !same_level || ++follow_->apart < kApart) return;
  }
  follow_->apart = 0;
  const Micros interval = beat.at - follow_->last;
  if (!follow_->fixed)
    follow_->interval =
        std::clamp(follow_->interval + (interval - follow_->interval) / 4, kShortestBeat, kLongestBeat);
  follow_->last = beat.at;
  follow_->confidence = std::max(.9f * follow_->confidence, beat.confidence);
  const int meter = corrections_.meter.value_or(beat.meter);
  tell(beat.at, at, follow_->interval, follow_->confidence, follow_->source,
       follow_->fixed && same_level ? beat.place : positive(count_ + 1, meter), meter);
}

void Pulse::follow_level(Micros interval, Micros last, BeatSource source) {
  follow_ = Follow{last, std::clamp(interval, kShortestBeat, kLongestBeat), confidence_, source, false};
}

void Pulse::catch_up(Micros at) {
  time_ = std::max(time_, near_enough(at));
  if (clock_.port != midi::kNoPort && time_ - clock_.last > kClockLost) {
    if (follow_ && follow_->source == BeatSource::kClock) follow_.reset();
    clock_ = Clock();
    if (now_ && now_->source == BeatSource::kClock) now_.reset();
  }
  tracker_.advance(time_);
  while (const auto beat = tracker_.take_beat()) hear(*beat, beat->told);
  if (follow_ && !rules()) run_free(time_ - patience(follow_->interval), time_);
  const bool silent = time_ - last_note_ >= kForgotten;
  const bool none = !follow_ && !tracker_.newest();
  if (now_ && !rules() && (silent || none)) now_.reset();
  if (silent && follow_ && follow_->source != BeatSource::kClock && !rules())
    follow_.reset();  // following starts again with the next note, at the same level
}

bool Pulse::note_on(Micros at, Pitch pitch, Velocity velocity) {
  const auto before = now_;
  at = near_enough(at);
  last_note_ = std::max(last_note_, at);
  patience_ = kLooks;
  tracker_.note_on(at, pitch, velocity);
  catch_up(at);
  return now_ != before;
}

bool Pulse::advance(Micros at) {
  const auto before = now_;
  if (patience_ > 0) --patience_;
  catch_up(at);
  return now_ != before;
}

std::optional<Micros> Pulse::next_deadline() const {
  std::optional<Micros> next;
  const auto due = [&](Micros at) {
    if (!next || at < *next) next = at;
  };
  if (clock_.port != midi::kNoPort) {
    // Counted from the newest beat, so that the deadline does not move with every clock message.
    const Micros quarter = clock_.quarter().value_or(Micros(500'000));
    const Micros newest = rules() && told_ > 0
                              ? std::max(history_[(told_ - 1) % kHistory].at, clock_.last - quarter)
                              : clock_.last;
    due(std::max(newest + scaled(quarter, 1.5) + kClockLost, time_ + Micros(1)));
  }
  if (rules()) return next;
  if (now_) due(std::max(last_note_ + kForgotten, time_ + Micros(1)));
  if (!listens(time_)) return next;
  if (follow_)
    due(std::max(follow_->last + follow_->interval + patience(follow_->interval), time_ + Micros(1)));
  if (const auto& newest = tracker_.newest(); newest && patience_ > 0)
    due(std::max(newest->at + newest->interval + harmony::kBeatDelay + harmony::kBeatFrame,
                 time_ + kLookAgain));
  return next;
}

// ---- external clock

bool Pulse::clock(const midi::Event& received) {
  midi::Event event = received;
  event.at = near_enough(event.at);
  const auto before = now_;
  catch_up(event.at);
  if (clock_.port != midi::kNoPort && clock_.port != event.port)
    return now_ != before;  // the first clock keeps its role
  clock_.port = event.port;
  clock_.last = event.at;
  switch (event.status()) {
    case 0xFA:
      clock_.position = 0;
      clock_.placed = clock_.running = true;
      break;
    case 0xFB: clock_.placed = clock_.running = true; break;
    case 0xFC:
      clock_.running = false;
      if (now_ && now_->source == BeatSource::kClock) now_.reset();
      break;
    case 0xF2:
      clock_.position = 6 * (event.bytes[1] + 128 * event.bytes[2]);
      clock_.placed = true;
      break;
    default: {
      clock_.times[clock_.count++ % clock_.times.size()] = event.at;
      const auto quarter = clock_.quarter();
      if (clock_.placed && clock_.running) {
        if (follow_ && follow_->source == BeatSource::kClock) follow_.reset();
        if (clock_.position % 24 == 0) clock_.untold = event.at;
        if (clock_.untold && quarter) {  // the first beat is recognised only some clock messages later
          const int meter = corrections_.meter.value_or(4);
          tell(*clock_.untold, event.at, *quarter, 1.f, BeatSource::kClock,
               positive(static_cast<int>(clock_.position / 24), meter), meter, true);
          clock_.untold.reset();
        }
        ++clock_.position;
      } else if (!clock_.placed && quarter) {
        // The clock gives the tempo and counts from its first message. Where the beats really are, the
        // playing decides.
        const std::size_t since = (clock_.count - 1) % 24;  // clock messages since the newest beat
        const bool ours = follow_ && follow_->source == BeatSource::kClock;
        if (!ours) {
          const Micros counted = clock_.times[(clock_.count - 1 - since) % clock_.times.size()];
          const bool beaten =
              told_ > 0 && event.at - history_[(told_ - 1) % kHistory].at < scaled(*quarter, 1.5);
          follow_level(*quarter, beaten ? history_[(told_ - 1) % kHistory].at : counted, BeatSource::kClock);
        }
        if (!ours || since == 0) {
          follow_->interval = *quarter;
          follow_->fixed = true;
          follow_->confidence = 1;
        }
      }
    }
  }
  return now_ != before;
}

// ---- the player's corrections

void Pulse::remember() {
  constexpr std::size_t kSteps = 16;
  before_.push_back(corrections_);
  if (before_.size() > kSteps) before_.pop_front();
  corrections_.made = time_;
}

bool Pulse::tap(Micros at) {
  const auto before = now_;
  at = near_enough(at);
  catch_up(at);
  tapped_.reset();
  if (taps_count_ > 0) {
    const Micros since = at - taps_[(taps_count_ - 1) % taps_.size()];
    if (since < kShortestTap) return now_ != before;  // the tap key bounced
    if (since > kLongestTap) taps_count_ = 0;
  }
  taps_[taps_count_++ % taps_.size()] = at;
  if (taps_count_ < taps_.size()) return now_ != before;
  const Micros mean = (at - taps_[taps_count_ % taps_.size()]) / 3;
  for (std::size_t i = taps_count_ - 3; i < taps_count_; ++i)
    if (std::abs(ratio(taps_[i % taps_.size()] - taps_[(i - 1) % taps_.size()], mean) - 1) > kUneven)
      return now_ != before;
  tapped_ = mean;
  const bool first = taps_count_ == taps_.size() || !corrections_.tapped || !corrections_.counted;
  if (first) remember();
  corrections_.made = time_;
  corrections_.level = mean;
  corrections_.tapped = true;
  confidence_ = 1;
  follow_level(mean, at, BeatSource::kTapped);
  last_note_ = std::max(last_note_, at);  // for the pulse, a tap counts as playing
  const int meter = corrections_.meter.value_or(4);
  if (first) {  // the first tap is beat one, so this one, the fourth, is beat four
    corrections_.counted = true;
    corrections_.shift = 3 - (count_ + 1);
  }
  tell(at, at, mean, 1.f, BeatSource::kTapped, positive(count_ + 1 + corrections_.shift, meter), meter);
  return now_ != before;
}

Correction Pulse::beat_one(Micros at) {
  if (told_ == 0 || !now_) return Correction::kNoPulse;
  at = near_enough(at);
  remember();
  int back = 0;  // beats from the newest back to the one that is meant; -1: the next beat
  const auto beat = [&](int n) { return history_[(told_ - 1 - static_cast<std::size_t>(n)) % kHistory]; };
  if (at - beat(0).at > beat(0).interval / 2) back = -1;
  while (back >= 0 && back + 1 < static_cast<int>(std::min<std::size_t>(told_, kHistory)) &&
         std::chrono::abs(beat(back + 1).at - at) < std::chrono::abs(beat(back).at - at))
    ++back;
  const int meter = corrections_.meter.value_or(beat(0).meter);
  corrections_.meter = meter;
  corrections_.counted = true;
  corrections_.shift = back - count_;
  ToldBeat& newest = history_[(told_ - 1) % kHistory];
  newest.place = positive(back, meter);
  newest.meter = meter;
  show();
  return Correction::kDone;
}

Correction Pulse::set_meter(Micros at, int beats) {
  (void)at;
  if (beats < 1 || beats > 16) return Correction::kNoMeter;
  remember();
  corrections_.meter = beats;
  if (told_ == 0 || !now_) return Correction::kDone;
  ToldBeat& newest = history_[(told_ - 1) % kHistory];
  if (!newest.barred) {
    corrections_.counted = true;
    corrections_.shift = newest.place - count_;  // continue the current bar
  }
  newest.meter = beats;
  newest.place = positive(newest.place, beats);
  show();
  return Correction::kDone;
}

std::optional<Correction> Pulse::not_ours() const {
  if (told_ == 0 || !now_) return Correction::kNoPulse;
  if (now_->source == BeatSource::kClock) return Correction::kClocked;
  return std::nullopt;
}

Correction Pulse::twice_as_fast(Micros at) {
  catch_up_to_correct(at);
  if (const auto why = not_ours()) return *why;
  ToldBeat& newest = history_[(told_ - 1) % kHistory];
  const Micros interval = newest.interval / 2;
  if (interval < kShortestBeat) return Correction::kTooFast;
  remember();
  corrections_.level = interval;
  follow_level(interval, newest.at, corrections_.tapped ? BeatSource::kTapped : BeatSource::kPlayed);
  corrections_.counted = true;
  corrections_.meter = newest.meter;
  corrections_.shift = positive(2 * newest.place, newest.meter) - count_;
  newest.interval = interval;
  newest.place = positive(2 * newest.place, newest.meter);
  smooth_ = static_cast<float>(interval.count());
  show();
  return Correction::kDone;
}

Correction Pulse::half_as_fast(Micros at) {
  catch_up_to_correct(at);
  if (const auto why = not_ours()) return *why;
  ToldBeat& newest = history_[(told_ - 1) % kHistory];
  const Micros interval = newest.interval * 2;
  if (interval > kLongestBeat) return Correction::kTooSlow;
  remember();
  const bool between = newest.place % 2 != 0;  // the beat before stays a beat; this one is dropped
  corrections_.level = interval;
  follow_level(interval, between ? newest.at - newest.interval : newest.at,
               corrections_.tapped ? BeatSource::kTapped : BeatSource::kPlayed);
  corrections_.counted = true;
  corrections_.meter = newest.meter;
  corrections_.shift = newest.place / 2 - count_;
  newest.at = follow_->last;
  newest.interval = interval;
  newest.place /= 2;
  smooth_ = static_cast<float>(interval.count());
  show();
  return Correction::kDone;
}

// Sets the interval that the next correction starts from and that the display shows at once.
void Pulse::newest_lasts(Micros interval) {
  if (told_ == 0 || !now_ || now_->source == BeatSource::kClock) return;
  history_[(told_ - 1) % kHistory].interval = interval;
  smooth_ = static_cast<float>(interval.count());
  show();
}

Correction Pulse::undo(Micros at) {
  if (before_.empty()) return Correction::kNothing;
  catch_up_to_correct(at);
  corrections_ = before_.back();
  before_.pop_back();
  if (!corrections_.level) {
    if (follow_ && follow_->source != BeatSource::kClock) follow_.reset();
    if (const auto& played = tracker_.newest()) newest_lasts(played->interval);
  } else if (told_ > 0) {
    follow_level(*corrections_.level, history_[(told_ - 1) % kHistory].at,
                 corrections_.tapped ? BeatSource::kTapped : BeatSource::kPlayed);
    newest_lasts(follow_->interval);
  }
  return Correction::kDone;
}

void Pulse::begin_take(Micros at) {
  if (near_enough(at) - corrections_.made < kCountIn) return;
  before_.clear();
  corrections_ = {};
  if (follow_ && follow_->source != BeatSource::kClock) follow_.reset();
}

}  // namespace undersong::listen
