#include "daemon/harmony/beat_tracker.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr Micros kNear{90'000};  // a note this near to a beat belongs to it
// The shares of the two kinds of evidence: strikes as judged by the network, and single notes.
constexpr StrikeShares kShares{.5f, .75f, 0};
constexpr float kNotesShare = 1;

}  // namespace

void BeatTracker::to_frame(int frame) {
  while (lattice_.now() < frame) {
    lattice_.step();
    if (lattice_.now() % kLook == 0) look();
  }
}

void BeatTracker::note_on(Micros at, Pitch pitch, Velocity velocity) {
  if (origin_ && at - last_note_ > kBeatSilence) *this = BeatTracker();
  if (!origin_) origin_ = last_note_ = now_ = at;  // the first time may be negative
  at = std::max(at, last_note_);
  if (strike_.size > 0 && (at - last_note_ > kTogether || at - strike_began_ > 2 * kTogether)) judge();
  last_note_ = at;
  now_ = std::max(now_, at);
  const float height = static_cast<float>(pitch.value());
  if (strike_.size == 0) {
    to_frame(static_cast<int>((at - *origin_) / kBeatFrame));
    strike_ = {at, height, height, 0, 0, 0};
    strike_began_ = at;
    after_began_ = Micros(0);
    collected_count_ = 0;
  }
  const BeatOnset onset = weigher_.weigh(at, pitch, velocity);
  if (collected_count_ < collected_.size()) collected_[collected_count_++] = onset;
  strike_.low = std::min(strike_.low, height);
  strike_.high = std::max(strike_.high, height);
  strike_.loud = std::max(strike_.loud, static_cast<float>(velocity.value()));
  strike_.size += 1;
  strike_.classes = static_cast<std::uint16_t>(strike_.classes | 1u << pitch.pitch_class().value());
  after_began_ += at - strike_began_;
}

// The strike is complete: its time is the mean of its notes. It counts as a whole and by its single notes.
void BeatTracker::judge() {
  strike_.at = strike_began_ + after_began_ / static_cast<std::int64_t>(strike_.size);
  auto& judged = judged_[next_judged_++ % judged_.size()];
  judged = {strike_.at, ear_.hear(strike_)};
  BeatOnset whole = strike_onset(judged.at, judged.judgement, Micros(0), kShares);
  const auto add = [&](const BeatOnset& onset) {
    to_frame(static_cast<int>((onset.at - *origin_ + kBeatFrame / 2) / kBeatFrame));
    lattice_.note(onset);
  };
  bool added = false;
  for (std::size_t i = 0; i < collected_count_; ++i) {
    if (!added && collected_[i].at >= whole.at) add(whole), added = true;
    collected_[i].weight *= kNotesShare;
    add(collected_[i]);
  }
  if (!added) add(whole);
  strike_.size = 0;
}

void BeatTracker::advance(Micros at) {
  if (!origin_ || at <= last_note_) return;
  // After a long silence, waiting longer teaches nothing.
  at = std::min(at, last_note_ + kBeatSilence);
  now_ = std::max(now_, at);
  if (strike_.size > 0) {
    if (at - last_note_ <= kTogether) return;
    judge();
  }
  to_frame(static_cast<int>((at - *origin_) / kBeatFrame));
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
  beat.told = std::max(now_, *origin_ + kBeatFrame * now);
  beat.interval = kBeatFrame * best->interval;
  beat.confidence = confidence(beat.at);
  place_in_bar(beat, !newest_);
  hear_feel(beat);
  newest_ = beat;
  newest_frame_ = best->beat;
  if (size_ == kWaiting) first_ = (first_ + 1) % kWaiting, --size_;
  waiting_[(first_ + size_++) % kWaiting] = beat;
}

float BeatTracker::confidence(Micros at) {
  constexpr float kMemory = .9f;      // memory of about ten beats
  constexpr float kWandering = .07f;  // this much change from beat to beat leaves a third of the confidence
  const bool struck = std::any_of(judged_.begin(), judged_.end(), [&](const Judged& strike) {
    return strike.at > at - kNear / 2 && strike.at < at + kNear / 2;
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

void BeatTracker::place_in_bar(TrackedBeat& beat, bool begins) {
  const Micros reach = std::min(kNear, beat.interval / 4);
  const Judgement* on = nullptr;
  for (const Judged& strike : judged_)
    if (strike.at >= beat.at - reach && strike.at <= beat.at + reach &&
        (!on || strike.judgement.downbeat > on->downbeat))
      on = &strike.judgement;
  bars_.beat(bar_evidence(on), begins);
  const auto [metre, place] = BarLattice::state(bars_.best());
  beat.meter = kMetres[metre];
  beat.place = place;
  beat.downbeat = place == 0;
}

// Counts where the strikes since the last beat lie. At another level, counting begins again.
void BeatTracker::hear_feel(const TrackedBeat& beat) {
  if (!newest_) return;
  const auto length = static_cast<float>((beat.at - newest_->at).count()),
             expected = static_cast<float>(newest_->interval.count());
  if (length > 1.4f * expected || length < .7f * expected) feel_ = {};
  for (const Judged& strike : judged_)
    if (strike.at >= newest_->at && strike.at < beat.at)
      feel_.strike(static_cast<float>((strike.at - newest_->at).count()) / length);
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
