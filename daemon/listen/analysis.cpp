#include "daemon/listen/analysis.h"

#include <algorithm>
#include <array>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::listen {
namespace {

constexpr harmony::Degree kNoDegree{1, 0};

bool same_question(const harmony::Question& a, const harmony::Question& b) {
  return a.melody == b.melody && a.key == b.key && a.previous == b.previous && a.wishes == b.wishes;
}

}  // namespace

Analysis::Analysis(Settings settings) : settings_(settings) {
  moment_.wishes = settings.wishes;
  asked_.wishes = settings.wishes;
}

bool Analysis::event(const midi::Event& event) {
  findings_ = {};
  const auto changes = notes_.apply(event);
  if (changes.empty()) return false;
  const auto before = key_.now() ? std::optional(key_.now()->key) : std::nullopt;
  for (const NoteChange& change : changes) {
    switch (change.kind) {
      case NoteChange::Kind::kStruck:
        follower_.strike(event.at, change.pitch, change.velocity);
        findings_.key |= key_.strike(event.at, change.pitch, change.velocity);
        if (melody_.strike(event.at, change.pitch)) findings_.melody.push_back({change.pitch, {}, kNoDegree, event.at, true});
        break;
      case NoteChange::Kind::kReleased:
        melody_.release(change.pitch);
        break;
      case NoteChange::Kind::kStopped:
        follower_.damp(event.at, change.pitch);
        break;
    }
  }
  const bool changed = follower_.listen(event.at, before);
  update(event.at, changed);
  return publish(event.at);
}

bool Analysis::advance(Micros at) {
  findings_ = {};
  const bool changed = follower_.advance(at, key_.now() ? std::optional(key_.now()->key) : std::nullopt);
  if (!list_offered_ && at >= list_since_ + settings_.offered_after) {
    list_offered_ = true;
    findings_.offered = true;
  }
  if (changed) {
    update(at, true);
    return publish(at);
  }
  return findings_.offered;
}

std::optional<Micros> Analysis::next_deadline() const {
  auto due = follower_.next_deadline();
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

void Analysis::update(Micros at, bool harmony_changed) {
  if (harmony_changed) {
    findings_.harmony = true;
    const harmony::Chord& chord = follower_.in_force()->chord;
    // The player tried an offered chord if root and family are in the list that stands, under the note they still hold.
    if (!asked_.melody.empty() && notes_.is_sounding(asked_.melody[0])) {
      const auto family = harmony::row(chord.quality).family;
      for (const auto& offered : moment_.alternatives)
        if (offered.chord.root == chord.root && harmony::row(offered.chord.quality).family == family) {
          findings_.tried = offered.chord;
          findings_.tried_in = moment_.alternatives_number;
          break;
        }
      tried_[static_cast<std::size_t>(asked_.melody[0].pitch_class().value())].add(chord);
    }
  }
  refresh_alternatives(at);
}

void Analysis::refresh_alternatives(Micros at) {
  if (moment_.still) return;
  harmony::Question question;
  const auto& newest = melody_.newest();
  for (std::size_t i = 0; i < newest.size() && i < settings_.melody_notes; ++i) {
    if (i > 0 && !newest[i].held) break;
    question.melody.push_back(newest[i].pitch);
  }
  if (key_.now()) question.key = key_.now()->key;
  if (follower_.in_force()) question.previous = follower_.in_force()->chord;
  question.wishes = settings_.wishes;
  if (!question.melody.empty())
    question.tried = tried_[static_cast<std::size_t>(question.melody[0].pitch_class().value())];
  // The list keeps still unless the melody, the chord, the key or a wish truly changed.
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
  moment_.key = key_.now();
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
  if (follower_.in_force()) {
    const auto& in_force = *follower_.in_force();
    moment_.harmony = HarmonyInForce{
        {in_force.chord, harmony::root_name_in(in_force.chord, key), in_force.confidence}, in_force.since, count > 0};
    context.previous = in_force.chord;
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
