#include "daemon/harmony/headline.h"

#include <algorithm>
#include <utility>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/headline_limits.h"

namespace undersong::harmony {
namespace {

constexpr Micros kOverlap{120'000};  // a legato player releases the chord before within this time
constexpr Micros kGrowing{80'000}, kDisputed{200'000}, kOneKeyMore{150'000};
constexpr Micros kLetGo{150'000};
constexpr Micros kLostToTheEar{100'000};
constexpr Micros kBassOverlaps{150'000};  // a bass may be let go so long after its chord
// The name in force is kept while it fits the keys, until another is better by this price.
constexpr float kKeptInStroke = 0.3f, kKeptOtherwise = 0.8f, kKeptUnderTune = 3.0f;
constexpr int kFifth = 7;  // semitones

// In a march the bass goes from the root to the fifth and back, which makes no inversion.
bool is_alternate(PitchClass bass, const Chord& chord) {
  return chord.bass == chord.root && ascending(chord.root, bass) == kFifth;
}

ChordReadings of_the_ear(const Ear& ear) {
  ChordReadings out;
  for (const EarReading& reading : ear.readings()) {
    const Chord chord = chord_of(reading.chord);
    if (std::none_of(out.begin(), out.end(), [&](const ChordReading& had) { return had.chord == chord; }))
      out.push_back({chord, reading.probability});
  }
  return out;
}

}  // namespace

std::optional<Micros> Headline::next_deadline() const {
  if (!pending_) return look_;
  return look_ ? std::min(due_, *look_) : due_;
}

PitchClassSet Headline::Held::tones(bool without_highest) const {
  PitchClassSet out;
  for (std::size_t i = 0; i + (without_highest ? 1 : 0) < count; ++i) out.insert(keys[i].pitch_class());
  return out;
}

Headline::Held Headline::held(const Ear& ear) const {
  Held out;
  for (int p = 0; p < 128; ++p) {
    const EarKey& key = ear.features().key(p);
    // Notes of the last chord that the pedal holds count as held.
    if (!key.down && !(key.sounding && gesture_ == Gesture::kWhole && key.on >= gesture_at_)) continue;
    out.keys[out.count] = Pitch(p);
    out.on[out.count++] = key.on;
    out.set.insert(Pitch(p).pitch_class());
    out.newest = std::max(out.newest, key.on);
  }
  if (out.count > 0 && gesture_ == Gesture::kWhole && is_bass_of(out.keys[0], out.set, ear)) {
    out.over_bass = out.set;
    std::copy_backward(out.keys.begin(), out.keys.begin() + out.count, out.keys.begin() + out.count + 1);
    std::copy_backward(out.on.begin(), out.on.begin() + out.count, out.on.begin() + out.count + 1);
    out.keys[0] = bass_->key;
    out.on[0] = bass_->on;
    ++out.count;
    out.set.insert(bass_->key.pitch_class());
  }
  out.under_tune = has_moving_tune(out);
  out.stroke = out.newest;
  for (bool grew = true; grew;) {
    grew = false;
    for (std::size_t i = 0; i < out.count; ++i)
      if (out.on[i] < out.stroke && out.stroke - out.on[i] <= kStroke) out.stroke = out.on[i], grew = true;
  }
  for (std::size_t i = 0; i < out.count; ++i)
    if (out.on[i] >= out.stroke) out.struck.insert(out.keys[i].pitch_class());
  return out;
}

bool Headline::repeats_bass() const {
  if (!bass_now_ || !shown_) return false;
  const Chord& chord = shown_->chord;
  const PitchClass bass = bass_now_->pitch_class();
  const bool root_before = (bass_ && bass_->key.pitch_class() == chord.root) ||
                           (before_.kind == Gesture::kWhole && gesture_at_ - before_.at <= kInTwo);
  return bass == chord.bass || (root_before && is_alternate(bass, chord));
}

bool Headline::goes_on(const Held& held, const Ear& ear) const {
  if (!shown_ || !bass_ || bass_->key != held.keys[0] || bass_->on >= gesture_at_) return false;
  const Chord& chord = shown_->chord;
  const bool alternate = bass_->before == chord.root && is_alternate(bass_->key.pitch_class(), chord);
  // Over the bass itself, a note that the tune keeps is a tone of the chord.
  const bool tune = tune_is_heard() && (alternate || held.keys[held.count - 1] != *tune_);
  const PitchClassSet tones = held.tones(tune);
  if (!tones.contains(chord.root) && !(alternate && held.set.contains(chord.root))) return false;
  if (!(tones.relative_to(chord.root) - row(chord.quality).tones).empty()) return false;
  return alternate || (tune && tones.size() >= kWholeTones && chord_of(ear.harmony()->chord) == chord);
}

bool Headline::leave_out_old(Held& held) const {
  std::size_t lowest = held.count, highest = 0, old = 0;
  for (std::size_t i = 0; i < held.count; ++i) {
    if (held.on[i] < held.stroke && held.on[i] < gesture_at_) {
      ++old;
    } else {
      lowest = std::min(lowest, i);
      highest = i;
    }
  }
  if (old == 0) return false;
  // The other hand, a little earlier: all that it struck is still held, and is no chord by itself.
  if (static_cast<int>(old) == before_.keys && before_.tones < kWholeTones &&
      held.stroke - before_.at <= kHandsApart)
    return false;
  std::size_t kept = 0;
  PitchClassSet set;
  for (std::size_t i = 0; i < held.count; ++i) {
    // A melody note may be held over a chord, and a pedal point under it.
    const bool tune = i + 1 == held.count && i > highest, pedal_point = i == 0 && i < lowest && old == 1;
    if (held.on[i] < held.stroke && !tune && !pedal_point) continue;
    held.keys[kept] = held.keys[i];
    held.on[kept++] = held.on[i];
    set.insert(held.keys[i].pitch_class());
  }
  if (kept == held.count) return false;
  held.count = kept;
  held.set = set;
  return true;
}

bool Headline::believes(Micros t, const Held& held) {
  if (gesture_ == Gesture::kWhole && last_on_ >= doubted_until_) return true;
  // When a chord is held still, the ear's name is doubted only where the hands contradict it.
  const bool chord = held.set.size() >= kWholeTones;
  if (t - last_on_ >= kStillLong) return chord;
  if (chord) look_ = last_on_ + (t - last_on_ >= kStill ? kStillLong : kStill);
  if (t - last_on_ >= kStill) return chord && !lies_under(held);
  return false;
}

bool Headline::lies_under(const Held& held) const {
  if (!shown_ || held.count == 0 || held.keys[0].pitch_class() != shown_->chord.bass) return false;
  const PitchClassSet seen = held.set.relative_to(shown_->chord.root);
  return (row(shown_->chord.quality).tones - seen - kRootAndFifth).empty();
}

void Headline::take_over(const ShownChord& next, const ChordReadings& readings) {
  if (!shown_ || shown_->chord != next.chord) shown_ = next;
  readings_ = readings;
  for (std::size_t i = 0; i < readings_.size(); ++i)
    if (readings_[i].chord == next.chord) {
      readings_.erase(i);
      break;
    }
  if (readings_.full()) readings_.pop_back();
  readings_.insert(0, {next.chord, next.confidence});
}

void Headline::show(Micros t, const ShownChord& next, const ChordReadings& readings, Micros wait) {
  if (wait == Micros(0) || (shown_ && shown_->chord == next.chord)) {
    pending_.reset();
    take_over(next, readings);
  } else if (!pending_ || pending_->chord != next.chord) {
    pending_ = next;
    pending_readings_ = readings;
    due_ = t + wait;
  }
}

void Headline::name_keys(Micros t, const Ear& ear, const std::optional<Key>& key, const Held& held) {
  const bool without_tune =
      held.under_tune && held.tones(true).size() >= kWholeTones && t - held.newest < kStill;
  if (without_tune) look_ = held.newest + kStill;  // held still, its highest note belongs to the chord
  Context context{key, shown_ ? std::optional(shown_->chord) : std::nullopt, ear.net().scores(), true};
  const auto readings = recognise({held.keys.data(), held.count - (without_tune ? 1 : 0)}, context);
  if (readings.empty()) return;
  const ChordReading& best = readings[0];
  const bool stroke = held.struck.size() >= kWholeTones, now = t == held.newest;
  const bool tune =
      now && held.stroke == held.newest && held.on[held.count - 1] == held.newest && held.struck.size() == 1;
  named_ |= now;
  const bool same_bass = shown_ && shown_->chord.bass == held.keys[0].pitch_class();
  if (same_bass) {
    const float margin = stroke ? kKeptInStroke : tune ? kKeptUnderTune : kKeptOtherwise;
    for (const auto& reading : readings)
      if (reading.chord == shown_->chord && reading.price - best.price < margin)
        return show(t, {reading.chord, reading.confidence, shown_->since}, readings, Micros(0));
  }
  if (t - held.newest < kStill && goes_on(held, ear)) {
    look_ = held.newest + kStill;  // held still, it is an inversion
    return show(t, *shown_, readings, Micros(0));
  }
  // The more the ear agrees, the shorter the wait for more keys.
  const EarHarmony& heard = *ear.harmony();
  const bool sure = heard.confidence > Ear::kSure, same_root = sure && heard.chord.root == best.chord.root;
  Micros wait = !same_root ? kDisputed : chord_of(heard.chord) != best.chord ? kGrowing : Micros(0);
  if (!stroke) wait = std::max(wait, kOneKeyMore);
  if (held.set.size() == 2 || !now) wait = kLetGo;
  const ShownChord next{best.chord, best.confidence, ear.features().cluster_start()};
  if (now && gesture_ == Gesture::kWhole && wait > Micros(0)) {
    whole_ = next;
    whole_readings_ = readings;
    whole_until_ = t + wait + kLetGo;
  }
  show(t, next, readings, wait);
}

bool Headline::hear(Micros t, const Ear& ear, const std::optional<Key>& key) {
  if (!ear.harmony()) return false;
  const auto before = shown_;
  if (pending_ && due_ <= t) {
    take_over(*std::exchange(pending_, std::nullopt), pending_readings_);
    whole_.reset();
  }
  const EarHarmony& heard = *ear.harmony();
  const Chord learnt = chord_of(heard.chord);
  const bool ear_changed = learnt_ != learnt;
  learnt_ = learnt;
  if (look_ && *look_ <= t) {
    look_.reset();
    changed_ = true;
  }
  if (!std::exchange(changed_, false) && !ear_changed) return shown_ != before;

  if (bass_ && !ear.features().key(bass_->key.value()).down) {
    if (!bass_->off) bass_->off = t;
    // Let go under a chord that is held, it leaves the name, as any other tone does.
    if (gesture_ == Gesture::kWhole && *bass_->off - gesture_at_ > kBassOverlaps) bass_.reset();
  }
  Held down = held(ear);
  if (is_near(ear)) bass_->under = bass_->under | down.over_bass;
  const bool believed = believes(t, down);
  if (believed && t - down.newest < kOverlap && down.struck.size() >= kWholeTones && leave_out_old(down))
    look_ = down.newest + kOverlap;
  // Two tones are a chord if one is doubled: the bare fifth, or a root under two melody notes.
  const bool doubled =
      down.set.size() == 2 && down.count >= 3 && (down.struck.size() == 2 || down.on[0] == down.newest);
  const bool chord = down.set.size() >= kWholeTones || doubled;
  if (believed && chord) {
    name_keys(t, ear, key, down);
  } else if (believed && whole_ && t <= whole_until_) {
    // A short chord: its keys were let go before its name was due.
    pending_.reset();
    take_over(*std::exchange(whole_, std::nullopt), whole_readings_);
  } else if (shown_ &&
             ((believed && (!ear_changed || (named_ && t > last_on_))) ||
              (gesture_ == Gesture::kTune && (lies_under(down) || repeats_bass() || is_between_beats())))) {
    // Too little is held to name a new chord: the name stays, also when the ear thinks again of keys that
    // have a name.
    pending_.reset();
  } else if (shown_ && shown_->chord == learnt && !ear_changed) {
    pending_.reset();  // nothing new, so its other names need not be found again
  } else {
    show(t, {learnt, heard.confidence, heard.since}, of_the_ear(ear),
         !believed && lies_under(down) ? kLostToTheEar : Micros(0));
  }
  return shown_ != before;
}

}  // namespace undersong::harmony
