#include "daemon/listen/meetings.h"

#include <algorithm>
#include <bit>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/durations.h"
#include "daemon/harmony/written_spelling.h"

namespace undersong::listen {
namespace {

harmony::Family family(const harmony::Chord& chord) {
  return harmony::row(chord.quality).family;
}
bool alike(const harmony::Chord& a, const harmony::Chord& b) {
  return a.root == b.root && family(a) == family(b);
}

}  // namespace

std::span<const Meeting> Meetings::hear(const Analysis& analysis) {
  told_.clear();
  const Moment& moment = analysis.moment();
  follow_keys(analysis.notes(), moment.at);
  for (const MelodyNote& note : analysis.findings().melody) join(note.pitch, note.since, note.since);
  for (std::size_t i = moment.melody.size();
       i-- > 0;) {  // a note that only stands for a melody is in no finding
    const MelodyNote& note = moment.melody[i];
    const Stroke& stroke = strokes_[static_cast<std::size_t>(note.pitch.value())];
    if (stroke.sounding && stroke.onset == note.since) join(note.pitch, note.since, moment.at);
  }
  end_notes();
  if (moment.harmony) come_in_force(*moment.harmony, moment.key);
  tell(moment.at - kDecided, std::nullopt);
  std::size_t gone = 0;
  while (gone + 1 < stays_.size() && stays_[gone + 1].at <= moment.at - kRemembered) ++gone;
  for (; gone > 0; --gone) stays_.erase(0);
  return {told_.begin(), told_.size()};
}

std::span<const Meeting> Meetings::end_take(Micros at) {
  told_.clear();
  tell(at, at);
  for (Note& note : notes_) note.told = std::max(note.told, at);
  return {told_.begin(), told_.size()};
}

void Meetings::begin_take(Micros at) {
  for (auto& of_note : visits_) of_note.fill({});
  for (Note& note : notes_) note.told = std::max(note.told, at);
}

void Meetings::follow_keys(const NoteState& notes, Micros at) {
  static const PitchSet kLower(~0ull);
  const PitchSet of_interest = notes.sounding() | sounding_;
  for (const int half : {0, 64})
    for (std::uint64_t keys = ((half == 0 ? of_interest : of_interest >> 64) & kLower).to_ullong(); keys != 0;
         keys &= keys - 1) {
      const auto i = static_cast<std::size_t>(half + std::countr_zero(keys));
      Stroke& stroke = strokes_[i];
      const bool down = notes.down()[i], sounding = notes.sounding()[i];
      if (const auto onset = sounding ? notes.onset(Pitch(static_cast<int>(i))) : std::nullopt;
          onset && (!stroke.sounding || *onset != stroke.onset)) {
        strokes_before_[i] = stroke;
        if (stroke.down) strokes_before_[i].up = *onset;
        if (stroke.sounding) strokes_before_[i].silent = *onset;
        stroke = {*onset, *onset, *onset, true, true};
      }
      if (stroke.down && !down) stroke.up = at;
      if (stroke.sounding && !sounding) stroke.silent = at;
      stroke.down = down;
      stroke.sounding = sounding;
    }
  sounding_ = notes.sounding();
}

void Meetings::join(Pitch pitch, Micros onset, Micros from) {
  for (const Note& known : notes_)
    if (known.pitch == pitch && known.onset == onset) return;
  if (notes_.full()) notes_.erase(0);
  notes_.push_back({pitch, onset, std::nullopt, from});
  newest_join_ = std::max(newest_join_, from);
  due_ = Micros::min();
}

void Meetings::end_notes() {
  for (Note& note : notes_) {
    if (note.end) continue;
    const auto i = static_cast<std::size_t>(note.pitch.value());
    const Stroke& stroke = strokes_[i];
    const Stroke& before = strokes_before_[i];
    if (stroke.onset != note.onset) {  // it was struck again since
      note.end = before.onset == note.onset ? before.silent : note.onset;
      if (before.onset == note.onset && before.up < before.silent && newest_join_ > note.onset)
        note.end = std::clamp(newest_join_, before.up, before.silent);
    } else if (!stroke.sounding) {
      note.end = stroke.silent;
      if (stroke.up < stroke.silent && newest_join_ > note.onset)
        note.end = std::clamp(newest_join_, stroke.up, stroke.silent);
    } else if (!stroke.down && newest_join_ > note.onset) {
      note.end = std::max(stroke.up, newest_join_);
    }
    if (note.end) due_ = Micros::min();
  }
}

void Meetings::come_in_force(const HarmonyInForce& harmony, const std::optional<harmony::KeyReading>& key) {
  if (!stays_.empty() && stays_.back().chord.chord == harmony.reading.chord) return;
  Stay next{harmony.since, harmony.reading, key ? std::optional(key->key) : std::nullopt, 0};
  while (!stays_.empty() && next.at - stays_.back().at < harmony::kPassing) {
    next.at = std::min(next.at, stays_.back().at);
    stays_.pop_back();
  }
  if (!stays_.empty() && stays_.back().chord.chord == next.chord.chord) return;
  next.harmony = !stays_.empty() && alike(stays_.back().chord.chord, next.chord.chord) ? stays_.back().harmony
                                                                                       : ++harmonies_;
  if (stays_.full()) stays_.erase(0);
  stays_.push_back(next);
  due_ = Micros::min();
}

void Meetings::tell(Micros until, std::optional<Micros> cut) {
  if (!cut && until < due_) return;
  due_ = Micros::max();
  for (std::size_t s = 0; s < stays_.size(); ++s) {
    for (Note& note : notes_) {
      std::optional<Micros> end = s + 1 < stays_.size() ? std::optional(stays_[s + 1].at) : std::nullopt;
      if (note.end) end = end ? std::min(*end, *note.end) : *note.end;
      if (cut) end = end ? std::min(*end, *cut) : *cut;
      if (end && *end > until && *end > note.told) due_ = std::min(due_, *end);
      if (!end || *end > until) continue;
      const Micros from = std::max({stays_[s].at, note.onset, note.told});
      if (*end <= from) continue;
      if (*end - from >= harmony::kPassing) told_.push_back(met(note, stays_[s], from, *end));
      note.told = *end;
    }
  }
  for (std::size_t n = notes_.size(); n-- > 0;) {
    if (!notes_[n].end) continue;
    if (*notes_[n].end <= until)
      notes_.erase(n);
    else
      due_ = std::min(due_, *notes_[n].end);
  }
}

Meeting Meetings::met(const Note& note, const Stay& stay, Micros from, Micros to) {
  const harmony::Chord& chord = stay.chord.chord;
  const PitchClass pc = note.pitch.pitch_class();
  Visits& visits =
      visits_[static_cast<std::size_t>(pc.value())]
             [static_cast<std::size_t>(chord.root.value() * 8 + static_cast<int>(family(chord)))];
  if (visits.count == 0 || visits.harmony != stay.harmony) visits = {stay.harmony, visits.count + 1};
  Meeting out;
  out.at = from;
  out.length = to - from;
  out.pitch = note.pitch;
  out.name =
      harmony::spell_note(pc, stay.key ? harmony::signature(*stay.key) : 0, &chord, &stay.chord.root_name);
  out.degree = harmony::degree_in(chord.quality, ascending(chord.root, pc));
  out.chord = stay.chord;
  out.key = stay.key;
  out.time = visits.count;
  return out;
}

}  // namespace undersong::listen
