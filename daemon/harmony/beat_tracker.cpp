#include "daemon/harmony/beat_tracker.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr Micros kNear{90'000};  // a note this near to a beat belongs to it

}  // namespace

void BeatTracker::to_frame(int frame) {
  while (lattice_.now() < frame) {
    lattice_.step();
    if (lattice_.now() % kLook == 0) look();
  }
}

void BeatTracker::note_on(Micros at, Pitch pitch, Velocity velocity) {
  if (origin_ && at - last_note_ > kBeatSilence) *this = BeatTracker();
  if (!origin_) origin_ = last_note_ = at;  // the first time may be negative
  at = std::max(at, last_note_);
  last_note_ = at;
  to_frame(static_cast<int>((at - *origin_ + kBeatFrame / 2) / kBeatFrame));
  const BeatOnset onset = weigher_.weigh(at, pitch, velocity);
  lattice_.note(onset);
  notes_[next_note_++ % notes_.size()] = at;
  if (onset.bass > 0) strikes_[next_strike_++ % strikes_.size()] = {at, onset.bass * onset.weight};
}

void BeatTracker::advance(Micros at) {
  if (!origin_ || at <= last_note_) return;
  // After a long silence, waiting longer teaches nothing.
  at = std::min(at, last_note_ + kBeatSilence);
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
  beat.told = *origin_ + kBeatFrame * now;
  beat.interval = kBeatFrame * best->interval;
  beat.confidence = confidence(beat.at);
  if (!newest_) votes_ = {}, count_ = 0;
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

void BeatTracker::place_in_bar(TrackedBeat& beat) {
  const Micros at = beat.at;
  float strike = 0;
  for (const Strike& s : strikes_)
    if (s.weight > 0 && s.at > at - kNear && s.at < at + kNear) strike = std::max(strike, s.weight);
  ++count_;
  float top = -1;
  int meter = 4, place = 0;
  for (int m = 3; m <= 4; ++m) {
    auto& votes = votes_[static_cast<std::size_t>(m - 3)];
    for (float& v : votes) v *= .96f;
    votes[static_cast<std::size_t>(count_ % m)] += strike;
    float sum = 0;
    int best = 0;
    for (int p = 0; p < m; ++p) {
      sum += votes[static_cast<std::size_t>(p)];
      if (votes[static_cast<std::size_t>(p)] > votes[static_cast<std::size_t>(best)]) best = p;
    }
    // By how much the strongest place exceeds an even share. Four beats are more usual than three.
    const float share =
        sum > 0 ? votes[static_cast<std::size_t>(best)] / sum - 1.f / static_cast<float>(m) : 0;
    const float value = share + (m == 4 ? .05f : 0.f);
    if (value > top) top = value, meter = m, place = best;
  }
  beat.meter = meter;
  beat.place = (count_ - place + meter) % meter;
  beat.downbeat = beat.place == 0;
}

// Counts where the strikes since the last beat lie. At another level, counting begins again.
void BeatTracker::hear_feel(const TrackedBeat& beat) {
  if (!newest_) return;
  const auto length = static_cast<float>((beat.at - newest_->at).count()),
             expected = static_cast<float>(newest_->interval.count());
  if (length > 1.4f * expected || length < .7f * expected) feel_ = {};
  constexpr Micros kTogether{45'000};  // notes struck as one
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
