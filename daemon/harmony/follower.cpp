#include "daemon/harmony/follower.h"

#include <array>

namespace undersong::harmony {
namespace {

constexpr Micros kClusterGap{40'000};    // keys of one block or rolled chord follow at most so far apart
constexpr Micros kSettle{140'000};       // a new name after single notes
constexpr Micros kReleaseSettle{450'000};  // a new name only because something was let go
constexpr float kAudible = 0.16f;        // of the loudest string

}  // namespace

void Follower::strike(Micros at, Pitch pitch, Velocity velocity) {
  if (at - last_strike_ > kClusterGap) {
    cluster_start_ = at;
    cluster_size_ = 0;
    cluster_ = {};
  }
  last_strike_ = at;
  ++cluster_size_;
  cluster_.insert(pitch.pitch_class());
  evidence_.strike(at, pitch, velocity);
}

void Follower::damp(Micros at, Pitch pitch) { evidence_.damp(at, pitch); }

std::optional<ChordReading> Follower::heard(Micros at, const std::optional<Key>& key) const {
  const auto rings = evidence_.ringing(at, kAudible);
  std::array<Pitch, 128> notes;
  std::size_t count = 0;
  for (std::size_t i = 0; i < rings.size(); ++i)
    if (rings[i]) notes[count++] = Pitch(static_cast<int>(i));
  Context context;
  context.key = key;
  if (in_force_) context.previous = in_force_->chord;
  const auto readings = recognise({notes.data(), count}, context);
  if (readings.empty()) return std::nullopt;
  return readings[0];
}

bool Follower::listen(Micros at, const std::optional<Key>& key) {
  const auto reading = heard(at, key);
  if (!reading) return false;
  const Chord& chord = reading->chord;
  if (in_force_ && in_force_->chord == chord) {
    in_force_->confidence = reading->confidence;
    pending_.reset();
    return false;
  }
  const bool struck_now = last_strike_ == at;
  if (!pending_ || pending_->chord != chord) {
    const Micros since = struck_now && cluster_size_ > 1 ? cluster_start_ : at;
    pending_ = Pending{chord, reading->confidence, since, at + (struck_now ? kSettle : kReleaseSettle)};
  }
  // The fast path: three tones struck together, and the chord's bass among them or still there.
  const bool block = struck_now && cluster_.size() >= 3 && reading->confidence > 0.25f;
  if (!in_force_ || block) return settle();
  return false;
}

bool Follower::settle() {
  in_force_ = ChordInForce{pending_->chord, pending_->confidence, pending_->since};
  pending_.reset();
  return true;
}

std::optional<Micros> Follower::next_deadline() const {
  if (!pending_) return std::nullopt;
  return pending_->due;
}

bool Follower::advance(Micros at, const std::optional<Key>& key) {
  if (!pending_ || at < pending_->due) return false;
  // What rang when it was first heard may have died away.
  const auto reading = heard(at, key);
  if (!reading || reading->chord != pending_->chord) {
    pending_.reset();
    return false;
  }
  return settle();
}

}  // namespace undersong::harmony
