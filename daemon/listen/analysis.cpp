#include "daemon/listen/analysis.h"

#include <algorithm>
#include <array>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::listen {
namespace {

// The row of the vocabulary for what the ear heard: its class with the extensions that sound.
harmony::Quality quality_of(const harmony::EarChord& heard) {
  static const auto kTable = [] {
    std::array<std::array<harmony::Quality, 128>, harmony::kEarClasses> table;
    for (std::size_t cls = 0; cls < table.size(); ++cls)
      for (std::size_t extensions = 0; extensions < 128; ++extensions) {
        const harmony::Quality frame = harmony::quality(harmony::kEarClassText[cls]);
        harmony::PitchClassSet tones = harmony::row(frame).tones;
        for (std::size_t i = 0; i < harmony::kEarExtensions; ++i)
          if (extensions >> i & 1)
            tones.insert(PitchClass(harmony::semitones(*harmony::parse_degree(harmony::kEarExtensionText[i]))));
        table[cls][extensions] = harmony::enrich(frame, PitchClass(0), tones);
      }
    return table;
  }();
  return kTable[static_cast<std::size_t>(heard.cls)][heard.extensions & 127u];
}

// A held key below is accompaniment even when it is the highest.
constexpr int kLowestHeld = 55;  // G3; common practice, no source

harmony::Chord chord_of(const harmony::EarChord& heard) { return {heard.root, quality_of(heard), heard.bass}; }

bool same_question(const harmony::Question& a, const harmony::Question& b) {
  return a.melody == b.melody && a.previous == b.previous && a.wishes == b.wishes;
}

}  // namespace

Analysis::Analysis(Settings settings) : settings_(settings) {
  moment_.wishes = settings.wishes;
  asked_.wishes = settings.wishes;
}

bool Analysis::event(const midi::Event& event) {
  findings_ = {};
  const auto changes = notes_.apply(event);
  for (const NoteChange& change : changes) {
    if (change.kind == NoteChange::Kind::kStruck) {
      ear_.note_on(event.at, change.pitch, change.velocity);
    } else if (change.kind == NoteChange::Kind::kReleased) {
      ear_.note_off(event.at, change.pitch);
      melody_.release(change.pitch);
    }
  }
  if (notes_.damper_down() != damper_) {
    damper_ = !damper_;
    ear_.pedal(event.at, damper_);
  }
  if (!collect(event.at) && changes.empty()) return false;
  return publish(event.at);
}

bool Analysis::advance(Micros at) {
  findings_ = {};
  ear_.advance(at);
  const bool heard = collect(at);
  if (!list_offered_ && at >= list_since_ + settings_.offered_after) {
    list_offered_ = true;
    findings_.offered = true;
  }
  return heard ? publish(at) : findings_.offered;
}

std::optional<Micros> Analysis::next_deadline() const {
  auto due = ear_.next_deadline();
  if (!list_offered_) {
    const Micros offered = list_since_ + settings_.offered_after;
    if (!due || offered < *due) due = offered;
  }
  return due;
}

bool Analysis::set_wishes(Micros at, harmony::Wishes wishes) {
  findings_ = {};
  if (wishes == settings_.wishes) return false;
  settings_.wishes = wishes;
  refresh_alternatives(at);
  return publish(at);
}

bool Analysis::hold_still(Micros at, bool still) {
  findings_ = {};
  if (moment_.still == still) return false;
  moment_.still = still;
  if (!still) refresh_alternatives(at);
  return publish(at);
}

bool Analysis::set_melody_notes(Micros at, std::size_t count) {
  findings_ = {};
  settings_.melody_notes = std::clamp<std::size_t>(count, 1, harmony::kMelodyNotes);
  refresh_alternatives(at);
  return publish(at);
}

void Analysis::begin_take() {
  for (auto& tried : tried_) tried.clear();
}

bool Analysis::collect(Micros at) {
  bool found = false;
  while (const auto note = ear_.take_melody()) {
    if (!note->is_melody) continue;
    const auto onset = notes_.onset(note->pitch);
    const bool held = notes_.is_down(note->pitch) && onset && *onset == note->onset;
    melody_.add(note->pitch, note->onset, held);
    findings_.melody.push_back({note->pitch, {}, {}, note->onset, held});
    found = true;
  }
  if (ear_.take_key_change()) {
    findings_.key = found = true;
    const auto key = ear_.key();
    moment_.key = harmony::KeyReading{{key->tonic, key->minor ? harmony::Mode::kMinor : harmony::Mode::kMajor}, key->confidence};
  }
  if (const auto& heard = ear_.harmony()) {
    const harmony::Chord chord = chord_of(heard->chord);
    const bool changed = !in_force_ || in_force_->chord != chord;
    in_force_ = InForce{chord, heard->confidence, heard->since};
    if (changed) {
      findings_.harmony = found = true;
      note_tried(chord);
    }
  }
  found |= hold_highest(at);
  refresh_alternatives(at);
  return found;
}

bool Analysis::hold_highest(Micros at) {
  if (!melody_.newest().empty() && melody_.newest()[0].held) return false;
  for (int key = 127; key >= kLowestHeld; --key) {
    const Pitch pitch(key);
    if (!notes_.is_down(pitch)) continue;
    // Not before the ear has decided about it, so that the answer doesn't waver.
    const auto onset = notes_.onset(pitch);
    if (!onset || at - *onset < harmony::kMelodyDelay) return false;
    melody_.add(pitch, *onset, true);
    return true;
  }
  return false;
}

void Analysis::note_tried(const harmony::Chord& chord) {
  // The player tried an offered chord if root and family are in the list that stands, under a note they still hold.
  if (asked_.melody.empty() || !notes_.is_sounding(asked_.melody[0])) return;
  const auto family = harmony::row(chord.quality).family;
  for (std::size_t i = 0; i < moment_.alternatives.size(); ++i) {
    const auto& offered = moment_.alternatives[i].chord;
    if (offered.root != chord.root || harmony::row(offered.quality).family != family) continue;
    findings_.tried = Findings::Tried{moment_.alternatives[i], i, moment_.alternatives_number};
    break;
  }
  tried_[static_cast<std::size_t>(asked_.melody[0].pitch_class().value())].add(chord);
}

void Analysis::refresh_alternatives(Micros at) {
  if (moment_.still) return;
  harmony::Question question;
  const auto& newest = melody_.newest();
  for (std::size_t i = 0; i < newest.size() && i < settings_.melody_notes; ++i) {
    if (i > 0 && !newest[i].held) break;
    question.melody.push_back(newest[i].pitch);
  }
  if (moment_.key) question.key = moment_.key->key;
  if (in_force_) question.previous = in_force_->chord;
  question.wishes = settings_.wishes;
  if (!question.melody.empty())
    question.tried = tried_[static_cast<std::size_t>(question.melody[0].pitch_class().value())];
  // The list keeps still unless the melody, the chord or a wish truly changed; a new key counts from the next change on.
  if (same_question(question, asked_) && moment_.alternatives_number > 0) return;
  asked_ = question;
  std::array<Pitch, 128> held;
  std::size_t count = 0;
  for (std::size_t key = 0; key < 128; ++key)
    if (notes_.down()[key]) held[count++] = Pitch(static_cast<int>(key));
  const harmony::Hands hands{std::span<const Pitch>(held.data(), count)};
  harmony::rank_alternatives(question, &hands, moment_.alternatives);
  ++moment_.alternatives_number;
  findings_.alternatives = true;
  list_since_ = at;
  list_offered_ = moment_.alternatives.empty();
}

bool Analysis::publish(Micros at) {
  write_moment(at);
  ++moment_.number;
  return true;
}

void Analysis::write_moment(Micros at) {
  moment_.at = at;
  moment_.wishes = settings_.wishes;
  const auto key = moment_.key ? std::optional(moment_.key->key) : std::nullopt;

  moment_.held.clear();
  std::array<Pitch, 128> sounding;
  std::size_t count = 0;
  for (std::size_t i = 0; i < 128; ++i)
    if (notes_.sounding()[i]) sounding[count++] = Pitch(static_cast<int>(i));
  for (std::size_t i = count > moment_.held.capacity() ? count - moment_.held.capacity() : 0; i < count; ++i)
    moment_.held.push_back({sounding[i], notes_.velocity(sounding[i]).value_or(Velocity()), notes_.is_down(sounding[i]),
                            notes_.onset(sounding[i]).value_or(at)});

  harmony::Context context{key, std::nullopt};
  if (in_force_) {
    moment_.harmony = HarmonyInForce{
        {in_force_->chord, harmony::root_name_in(in_force_->chord, key), in_force_->confidence}, in_force_->since, count > 0};
    context.previous = in_force_->chord;
  }
  moment_.readings.clear();
  for (const auto& reading : harmony::recognise({sounding.data(), count}, context))
    moment_.readings.push_back({reading.chord, harmony::root_name_in(reading.chord, key), reading.confidence});

  moment_.melody.clear();
  for (const auto& note : melody_.newest()) {
    MelodyNote shown{note.pitch, harmony::spell_within(note.pitch.pitch_class(), (key ? harmony::signature(*key) : 0) - 5),
                     harmony::usual_degree(0), note.since, note.held};
    if (moment_.harmony) {
      const auto& chord = moment_.harmony->reading.chord;
      const int interval = ascending(chord.root, note.pitch.pitch_class());
      shown.degree = harmony::degree_in(chord.quality, interval);
      if (harmony::role(chord.quality, interval) == harmony::Role::kChordTone)
        shown.name = moment_.harmony->reading.root_name.above(shown.degree);
    }
    moment_.melody.push_back(shown);
  }
}

}  // namespace undersong::listen
