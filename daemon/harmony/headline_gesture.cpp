// What was struck: which keys are one gesture, and whether it is a whole chord, a bass before its chord, a
// tune, or something else.
#include <algorithm>

#include "daemon/harmony/headline.h"
#include "daemon/harmony/headline_limits.h"

namespace undersong::harmony {
namespace {

// Keys at most this far apart are one gesture: a rolled chord, a right hand that comes early.
constexpr Micros kOneGesture{110'000};
// A chord held this long is at rest: a key that doubles one of its tones is not a moving line.
constexpr Micros kResting{500'000};
constexpr Micros kOneByOne{35'000};  // keys of a rolled chord come sooner after each other
constexpr int kStepwise = 2;         // semitones
// A bass that is struck below middle C, alone or under a tune, belongs to the chord that follows within
// kInTwo, even if it is let go first. For kBassLasts it also belongs to repeats of that chord, and to all
// that is struck while the pedal holds it.
constexpr int kBassBelow = 60;      // MIDI key
constexpr int kOctavesBelow = 48;   // MIDI key; what lies higher may be a chord with an octave at the bottom
constexpr int kBassApart = 3;       // semitones to the rest of the chord
constexpr int kBassUnderTune = 12;  // semitones to a tune that is played with it
constexpr int kTuneKeys = 2;        // keys that a tune has at once
constexpr int kTuneApart = 5;       // semitones to the chord under a tune
constexpr Micros kBassLasts{3'000'000};

// True if the key is low, and its octave is held but none between them: a bass of its own.
bool is_octave(int lowest, const Ear& ear) {
  for (int q = lowest + 1; q < lowest + 12 && q < 128; ++q)
    if (ear.features().key(q).down) return false;
  return lowest < kOctavesBelow && ear.features().key(lowest + 12).down;
}

// True if the keys struck since then came one by one and mostly by step: a run, not a chord that is rolled.
bool is_run(const Ear& ear, Micros since) {
  int steps = 0;
  for (int q = 0; q < 128; ++q) {
    const Micros on = ear.features().key(q).on;
    if (on < since) continue;
    for (int next = std::max(0, q - kStepwise); next <= std::min(127, q + kStepwise); ++next) {
      const Micros later = ear.features().key(next).on - on;
      if (next == q || later < kOneByOne || later > kOneGesture) continue;
      ++steps;
      break;
    }
  }
  return steps >= 2;
}

}  // namespace

bool Headline::is_bass_of(Pitch lowest, PitchClassSet upper, const Ear& ear) const {
  return bass_ && !is_octave(lowest.value(), ear) && !ear.features().key(bass_->key.value()).down &&
         gesture_at_ - bass_->on <= kBassLasts && lowest.value() >= bass_->key.value() + kBassApart &&
         (is_near(ear) || (upper - bass_->under).empty());
}

std::optional<Pitch> Headline::bass_alone(const Ear& ear) const {
  if (gesture_tones_.size() > 2) return std::nullopt;
  std::optional<Pitch> bass;
  int tune = 0;
  for (int q = 0; q < 128; ++q) {
    const EarKey& key = ear.features().key(q);
    if (!key.down) continue;
    if (!bass) {
      if (q >= kBassBelow || key.on < gesture_at_) return std::nullopt;
      bass = Pitch(q);
    } else if (const int over = q - bass->value();
               over % 12 != 0 && (over < kBassUnderTune || ++tune > kTuneKeys)) {
      return std::nullopt;
    }
  }
  return bass;
}

bool Headline::is_between_beats() const {
  return gesture_ == Gesture::kTune && !bass_now_ && gesture_keys_ == 1 && bass_ &&
         gesture_at_ - bass_->on <= kBassLasts && before_.kind != Gesture::kOther;
}

bool Headline::tune_is_heard() const {
  return tune_ && gesture_at_ - tune_at_ > kHandsApart && gesture_at_ - tune_at_ <= kBassLasts;
}

bool Headline::has_moving_tune(const Held& held) const {
  if (held.count < 3) return false;
  const std::size_t top = held.count - 1;
  return bass_ && bass_->on < gesture_at_ && held.keys[0] == bass_->key && tune_is_heard() &&
         held.on[top] >= gesture_at_ && held.keys[top] != *tune_ &&
         held.keys[top].value() - held.keys[top - 1].value() >= kTuneApart;
}

bool Headline::is_near(const Ear& ear) const {
  return bass_ && (gesture_at_ - bass_->on <= kInTwo || ear.features().key(bass_->key.value()).sounding);
}

void Headline::struck(Micros t, Pitch p, const Ear& ear) {
  changed_ = true;
  if (t - last_on_ > kOneGesture) {
    if (gesture_ == Gesture::kOther) {
      // One such gesture may be a slip; several make a texture.
      doubted_until_ = last_on_ + (last_on_ - other_at_ < kWholeFor ? kWholeFor : kAfterSlip);
      other_at_ = last_on_;
    }
    if (bass_now_)
      bass_ = Bass{
          *bass_now_, gesture_at_, bass_ ? std::optional(bass_->key.pitch_class()) : std::nullopt, {}, {}};
    // A tune is a note struck by itself, or by itself over a bass.
    const int over_bass = bass_now_ ? gesture_top_.value() - bass_now_->value() : 0;
    if (bass_now_ ? over_bass >= kBassUnderTune && over_bass % 12 != 0
                  : gesture_ == Gesture::kTune && gesture_keys_ == 1) {
      tune_ = gesture_top_;
      tune_at_ = gesture_at_;
    }
    before_ = {gesture_, gesture_at_, gesture_keys_, gesture_tones_.size()};
    gesture_ = Gesture::kTune;
    gesture_at_ = t;
    gesture_tones_ = {};
    gesture_keys_ = 0;
    gesture_top_ = p;
  }
  last_on_ = t;
  ++gesture_keys_;
  gesture_top_ = std::max(gesture_top_, p);
  gesture_tones_.insert(p.pitch_class());
  whole_.reset();
  named_ = false;
  if (bass_ && bass_->key == p) bass_.reset();
  bass_now_ = bass_alone(ear);

  PitchClassSet at_once;
  Micros at_once_from = t;
  int at_once_keys = 0;
  for (int q = 0; q < 128; ++q) {
    const EarKey& key = ear.features().key(q);
    if (!key.down || key.on < t - kStroke) continue;
    at_once.insert(Pitch(q).pitch_class());
    at_once_from = std::min(at_once_from, key.on);
    ++at_once_keys;
  }
  if (gesture_keys_ > 2 && is_run(ear, gesture_at_)) {
    if (gesture_ == Gesture::kWhole) gesture_ = Gesture::kTune;
    if (at_once.size() < kWholeTones) return;
    gesture_at_ = at_once_from;  // a chord ends the run
    gesture_tones_ = at_once;
    gesture_keys_ = at_once_keys;
  }
  if (gesture_ == Gesture::kWhole) return;

  PitchClassSet down, others, held_before;
  int keys = 0, before = 0, lowest_before = 128, lowest_now = 128, highest_now = -1;
  bool lowest = true, highest = true, resting = true;
  Micros first_before = Micros::max(),
         last_before = Micros::min();  // among the keys that were held before this gesture
  for (int q = 0; q < 128; ++q) {
    const EarKey& key = ear.features().key(q);
    if (key.sounding && key.on < gesture_at_) held_before.insert(Pitch(q).pitch_class());
    if (!key.down) continue;
    ++keys;
    down.insert(Pitch(q).pitch_class());
    if (key.on < gesture_at_) {
      ++before;
      first_before = std::min(first_before, key.on);
      last_before = std::max(last_before, key.on);
      lowest_before = std::min(lowest_before, q);
    } else {
      lowest_now = std::min(lowest_now, q);
      highest_now = q;
    }
    if (q == p.value()) continue;
    others.insert(Pitch(q).pitch_class());
    resting &= t - key.on >= kResting;
    (q < p.value() ? lowest : highest) = false;
  }
  const bool alone = before == 0,
             under_tune = before <= kTuneKeys && highest_now >= 0 && highest_now < lowest_before;
  // A bass of the chord that goes on, alone, in octaves or with a tune, makes no chord with the bass before
  // it.
  const bool bass_goes_on = alone && repeats_bass();
  if (under_tune && !bass_goes_on && is_bass_of(Pitch(lowest_now), down, ear)) {
    ++keys;
    down.insert(bass_->key.pitch_class());
  }
  const bool enough = down.size() >= kWholeTones;
  const bool fifth = down.size() == 2 && keys >= 3 && !bass_goes_on;  // with one tone doubled
  // The bass steps beneath held keys, or doubles one of two.
  const bool bass_steps = lowest && (enough || (fifth && before == 2));
  const bool in_two = alone || (last_before - first_before <= kOneGesture && t - first_before <= kInTwo);
  // Over a chord that is held, by hand or by the pedal, keys that come one by one are a run, however fast
  // they come.
  const bool over_held = held_before.size() >= kWholeTones;
  const bool in_parts = gesture_keys_ >= 2 && (!over_held || t - gesture_at_ <= kStroke) &&
                        ((enough && (in_two || under_tune)) || (fifth && in_two));
  const bool in_one = gesture_tones_.size() >= kWholeTones && (!over_held || at_once.size() >= kWholeTones);
  const bool over_a_chord =
      others.size() >= kWholeTones && (highest || (resting && others.contains(p.pitch_class())));
  if (in_one || (fifth && gesture_keys_ == keys) || bass_steps || in_parts)
    gesture_ = Gesture::kWhole;
  else if (!over_a_chord && !alone && !(bass_now_ && before_.kind == Gesture::kWhole))
    gesture_ = Gesture::kOther;
}

}  // namespace undersong::harmony
