#include "daemon/harmony/beat_tracker.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr Micros kNear{90'000};  // a note this near to a beat belongs to it
// The shares of the two kinds of evidence: single notes, and strikes as judged by the network.
constexpr float kNotesShare = .7f;
constexpr StrikeShares kStrikeShares{1.2f, .75f, .15f};
constexpr float kSilent = .05f;       // probability that a beat without a strike begins a bar
constexpr float kBarMemory = .94f;    // from beat to beat
constexpr float kMetreMemory = .05f;  // from strike to strike
constexpr float kMetreWeight = 2;     // of what the strikes say of the number of beats a bar
constexpr std::array<float, kMetres.size()> kUsualMetre{-4, 0, 0, 0, 0};  // bars of two beats are rare

}  // namespace

void BeatTracker::to_frame(int frame) {
  while (lattice_.now() < frame) {
    lattice_.step();
    if (lattice_.now() % kLook == 0) look();
  }
}

void BeatTracker::note_on(Micros at, Pitch pitch, Velocity velocity) {
  if (origin_ && at - last_note_ > kBeatSilence) *this = BeatTracker();
  if (!origin_) origin_ = last_note_ = clock_ = at;  // the first time may be negative
  at = std::max(at, last_note_);
  pass(at);
  last_note_ = at;
  const Micros since = at - *origin_;
  const BeatOnset onset = weigher_.weigh(since, pitch, velocity);
  notes_[next_note_++ % notes_.size()] = at;
  const auto height = static_cast<float>(pitch.value()), loud = static_cast<float>(velocity.value());
  const auto pitch_class = static_cast<std::uint16_t>(1u << pitch.pitch_class().value());
  if (strike_notes_.empty()) {
    strike_ = {since, height, height, loud, 1, pitch_class};
    strike_sum_ = {};
  } else {
    strike_.low = std::min(strike_.low, height);
    strike_.high = std::max(strike_.high, height);
    strike_.loud = std::max(strike_.loud, loud);
    strike_.classes = static_cast<std::uint16_t>(strike_.classes | pitch_class);
    strike_.size += 1;
    strike_sum_ += since - strike_.at;
  }
  strike_notes_.push_back(onset);
  if (strike_notes_.size() == kLargestStrike) judge_strike();
}

void BeatTracker::judge_strike() {
  if (strike_notes_.empty()) return;
  strike_.at += strike_sum_ / static_cast<std::int64_t>(strike_notes_.size());
  const Judgement judged = judge_.hear(strike_);
  judged_[next_judged_++ % judged_.size()] = {strike_.at, judged.downbeat};
  for (std::size_t m = 0; m < kMetres.size(); ++m)
    metres_[m] += kMetreMemory * (judged.metres[m] - metres_[m]);
  for (BeatOnset& onset : strike_notes_) onset.weight *= kNotesShare;
  std::size_t place = 0;
  while (place < strike_notes_.size() && strike_notes_[place].at <= strike_.at) ++place;
  strike_notes_.insert(place, strike_onset(strike_.at, judged, strike_.at - struck_before_, kStrikeShares));
  struck_before_ = strike_.at;
  // All notes of a frame at once.
  for (std::size_t i = 0, end = 0; i < strike_notes_.size(); i = end) {
    const int frame = frame_of(strike_notes_[i].at);
    for (end = i + 1; end < strike_notes_.size() && frame_of(strike_notes_[end].at) == frame;) ++end;
    to_frame(frame);
    lattice_.note({&strike_notes_[i], end - i});
  }
  strike_notes_.clear();
}

// Time goes on to `at`. Until a strike is complete, the lattice waits.
void BeatTracker::pass(Micros at) {
  clock_ = std::max(clock_, at);
  if (!strike_notes_.empty()) {
    if (at - last_note_ <= kTogether && at - *origin_ - strike_.at <= 2 * kTogether) return;
    judge_strike();
  }
  to_frame(static_cast<int>((at - *origin_) / kBeatFrame));
}

void BeatTracker::advance(Micros at) {
  if (!origin_ || at <= last_note_) return;
  // After a long silence, waiting longer teaches nothing.
  pass(std::min(at, last_note_ + kBeatSilence));
}

void BeatTracker::look() {
  const auto best = lattice_.best();
  const int now = lattice_.now();
  if (!best) {
    newest_.reset();
    return;
  }
  if (Micros(kBeatFrame * (now - best->beat)) < kBeatDelay) return;
  if (newest_frame_ >= 0 && best->beat - newest_frame_ < .6 * best->interval) return;
  if (Micros(kBeatFrame * now) + *origin_ - last_note_ > Micros(3'000'000)) return;  // the player has stopped
  TrackedBeat beat;
  beat.at = *origin_ + kBeatFrame * best->beat;
  beat.told = std::max(clock_, *origin_ + kBeatFrame * now);
  beat.interval = kBeatFrame * best->interval;
  beat.confidence = confidence(beat.at);
  if (!newest_) places_ = {}, count_ = 0;
  place_in_bar(beat);
  hear_feel(beat);
  newest_ = beat;
  newest_frame_ = best->beat;
  if (size_ == kWaiting) first_ = (first_ + 1) % kWaiting, --size_;
  waiting_[(first_ + size_++) % kWaiting] = beat;
}

float BeatTracker::confidence(Micros at) {
  constexpr float kMemory = .9f;      // memory of about ten beats
  constexpr float kWandering = .07f;  // this much change from beat to beat leaves a third of the confidence
  const bool struck = std::any_of(notes_.begin(), notes_.end(), [&](Micros note) {
    return note > at - kNear / 2 && note < at + kNear / 2;
  });
  struck_ = kMemory * struck_ + (struck ? 1.f : 0.f);
  change_ *= kMemory;
  told_ = kMemory * told_ + 1;
  if (newest_) {
    const float here = static_cast<float>((at - newest_->at).count()),
                expected = static_cast<float>(newest_->interval.count());
    // Bounded, so that one jump to another level is soon forgotten.
    change_ += std::min(.2f, std::abs(std::log(here / expected)));
  } else {
    change_ += .1f;  // nothing is known about the steadiness yet
  }
  return struck_ / told_ * std::exp(-change_ / told_ / kWandering);
}

// The strike on the beat says how likely the beat begins a bar. The bar that explains all such words best is
// taken: its number of beats, and the place where it begins.
void BeatTracker::place_in_bar(TrackedBeat& beat) {
  float downbeat = kSilent;
  for (const Judged& judged : judged_)
    if (std::chrono::abs(*origin_ + judged.at - beat.at) < kNear)
      downbeat = std::max(downbeat, judged.downbeat);
  ++count_;
  float top = 0;
  bool any = false;
  for (std::size_t m = 0; m < kMetres.size(); ++m) {
    const int beats = kMetres[m];
    const float usual = 1 / static_cast<float>(beats);
    for (int p = 0; p < beats; ++p) {
      float& place = places_[m][static_cast<std::size_t>(p)];
      place = kBarMemory * place +
              (count_ % beats == p ? std::log(downbeat / usual) : std::log((1 - downbeat) / (1 - usual)));
      if (const float value = place + kMetreWeight * metres_[m] + kUsualMetre[m]; !any || value > top)
        any = true, top = value, beat.meter = beats, beat.place = (count_ - p + beats) % beats;
    }
  }
  beat.downbeat = beat.place == 0;
}

// Counts where the strikes since the last beat lie. At another level, counting begins again.
void BeatTracker::hear_feel(const TrackedBeat& beat) {
  if (!newest_) return;
  const auto length = static_cast<float>((beat.at - newest_->at).count()),
             expected = static_cast<float>(newest_->interval.count());
  if (length > 1.4f * expected || length < .7f * expected) feel_ = {};
  Micros before{-3'600'000'000};
  const std::size_t n = std::min(next_note_, notes_.size());
  for (std::size_t k = n; k-- > 0;) {  // from the oldest on
    const Micros note = notes_[(next_note_ - 1 - k) % notes_.size()];
    if (note >= newest_->at && note < beat.at && note - before > kTogether)
      feel_.strike(static_cast<float>((note - newest_->at).count()) / length);
    before = note;
  }
  feel_now_ = feel_.now();
}

std::optional<TrackedBeat> BeatTracker::take_beat() {
  if (size_ == 0) return std::nullopt;
  const TrackedBeat beat = waiting_[first_];
  first_ = (first_ + 1) % kWaiting;
  --size_;
  return beat;
}

}  // namespace undersong::harmony
