// Over 400 lines: everything that an event may change is decided here in one order, on one state.
#include "daemon/listen/analysis.h"

#include <algorithm>
#include <array>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/durations.h"
#include "daemon/harmony/written_spelling.h"

namespace undersong::listen {
namespace {

// Lower held keys count as accompaniment, even the highest of them.
constexpr int kLowestHeld = 55;  // G3; common practice, no source
constexpr Micros kEarBegins{1'000'000};
constexpr Micros kTuneLingers{2'000'000};
constexpr Micros kAlternates{8'000'000};  // notes that alternate more slowly count as separate

// Builds all tables that are made at first use, before the first note.
void warm_up() {
  static const bool kWarm = [] {
    harmony::Question question;
    question.melody.push_back(Pitch(72));
    harmony::Alternatives list;
    const harmony::Hands hands;
    harmony::rank_alternatives(question, &hands, list);
    return !list.empty() && harmony::voicings(list[0].chord, {question.melody.begin(), 1}, hands).size() > 0;
  }();
  (void)kWarm;
}

static_assert(static_cast<int>(Lean::kJazz) - 1 == static_cast<int>(harmony::Idiom::kJazz));

bool same_question(const harmony::Question& a, const harmony::Question& b) {
  return a.melody == b.melody && a.previous == b.previous && a.wishes == b.wishes && a.style == b.style;
}

}  // namespace

Analysis::Analysis(Settings settings) : settings_(settings) {
  moment_.wishes = settings.wishes;
  asked_.wishes = settings.wishes;
  if (settings.key) take_key();
  if (!settings.names_only) warm_up();
}

Micros Analysis::to_ear(Micros at) {
  if (!origin_) origin_ = at - kEarBegins;
  return at - *origin_;
}

bool Analysis::event(const midi::Event& event) {
  findings_ = {};
  const auto changes = notes_.apply(event);
  for (const NoteChange& change : changes) {
    if (change.kind == NoteChange::Kind::kStruck) {
      ear_.note_on(to_ear(event.at), change.pitch, change.velocity);
      headline_.struck(to_ear(event.at), change.pitch, ear_);
    } else if (change.kind == NoteChange::Kind::kReleased) {
      ear_.note_off(to_ear(event.at), change.pitch);
      headline_.let_go();
      melody_.release(change.pitch);
    }
  }
  if (notes_.damper_down() != damper_) {
    damper_ = !damper_;
    ear_.pedal(to_ear(event.at), damper_);
    headline_.let_go();
  }
  if (!collect(event.at) && changes.empty()) return false;
  return publish(event.at);
}

bool Analysis::advance(Micros at) {
  findings_ = {};
  ear_.advance(to_ear(at));
  bool heard = collect(at);
  const auto returned = returns_.number();
  if (settled_from_ && at >= *settled_from_) note_tried();
  heard |= returned != returns_.number();
  if (!list_offered_ && at >= list_since_ + settings_.offered_after) {
    list_offered_ = findings_.offered = true;
    offered_ = moment_.alternatives;
    offered_question_ = asked_;
    offered_number_ = moment_.alternatives_number;
  }
  return heard ? publish(at) : findings_.offered || findings_.tried;
}

std::optional<Micros> Analysis::next_deadline() const {
  auto due = ear_.next_deadline();
  if (const auto named = headline_.next_deadline(); named && (!due || *named < *due)) due = named;
  if (due) due = from_ear(*due);
  if (const auto supposed = supposed_from(); supposed && (!due || *supposed < *due)) due = supposed;
  if (settled_from_ && (!due || *settled_from_ < *due)) due = settled_from_;
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

bool Analysis::ask_anew(Micros at) {
  findings_ = {};
  asked_.melody.clear();  // so that the question counts as new
  refresh_alternatives(at);
  return publish(at);
}

bool Analysis::set_under(Micros at, Under under) {
  if (settings_.under == under) return false;
  settings_.under = under;
  return ask_anew(at);
}

bool Analysis::set_style(Micros at, harmony::Style style) {
  if (settings_.style == style) return false;
  settings_.style = style;
  return ask_anew(at);
}

bool Analysis::set_lean(Micros at, Lean lean) {
  if (settings_.lean == lean) return false;
  settings_.lean = lean;
  return ask_anew(at);
}

bool Analysis::set_reach(Micros at, int reach) {
  if (settings_.reach == reach) return false;
  settings_.reach = reach;
  return ask_anew(at);
}

bool Analysis::set_player(Micros at, const harmony::PlayerMemory* player) {
  if (player_ == player) return false;
  player_ = player;
  return ask_anew(at);
}

void Analysis::take_key() {
  moment_.key.reset();
  if (settings_.key) {
    moment_.key = harmony::KeyReading{*settings_.key, 1, true};
  } else if (const auto key = ear_.key()) {
    moment_.key = harmony::KeyReading{
        {key->tonic, key->minor ? harmony::Mode::kMinor : harmony::Mode::kMajor}, key->confidence, false};
  }
}

bool Analysis::pin_key(Micros at, std::optional<harmony::Key> key) {
  findings_ = {};
  if (settings_.key == key) return false;
  settings_.key = key;
  take_key();
  findings_.key = moment_.key.has_value();
  asked_.melody.clear();  // so that the list is ranked and spelled in the new key at once
  refresh_alternatives(at);
  return publish(at);
}

harmony::Hands Analysis::hands() const {
  std::array<Pitch, 128> held;
  std::size_t count = 0;
  for (std::size_t key = 0; key < 128; ++key)
    if (notes_.down()[key]) held[count++] = Pitch(static_cast<int>(key));
  return harmony::Hands(std::span<const Pitch>(held.data(), count), settings_.reach);
}

harmony::Voicings Analysis::voicings(const harmony::Chord& chord) const {
  const auto& on_top = asked_.melody;
  return harmony::voicings(chord, {on_top.begin(), std::min(on_top.size(), asked_.voiced)}, hands());
}

harmony::MelodyPitches Analysis::alternating(Micros at) const {
  const std::size_t n = sung_.size();
  if (n < 3 || sung_[n - 1].pitch != sung_[n - 3].pitch || sung_[n - 2].pitch == sung_[n - 1].pitch)
    return {};
  if (at - sung_[n - 3].onset > kAlternates) return {};
  harmony::MelodyPitches two;
  two.push_back(std::max(sung_[n - 1].pitch, sung_[n - 2].pitch));
  two.push_back(std::min(sung_[n - 1].pitch, sung_[n - 2].pitch));
  return two;
}

void Analysis::mark() {
  constexpr int kMarkCounts = 2;  // a mark counts as much as coming back twice
  if (in_force_) liked_.add(in_force_->chord, kMarkCounts);
}

void Analysis::begin_take() {
  for (auto& tried : tried_) tried.clear();
  newest_tried_.reset();
  liked_.clear();
  returns_.clear();
  memory_.clear();
  settled_.clear();
  sung_.clear();
}

harmony::Phrase Analysis::phrase_at(Micros at, Micros since) const {
  harmony::Phrase out;
  for (std::size_t i = 0; i < sung_.size(); ++i) {
    const Micros ends = i + 1 < sung_.size() ? sung_[i + 1].onset : at;
    const auto sounded = std::chrono::duration<float>(ends - std::max(sung_[i].onset, since)).count();
    if (ends > since) out.add(sung_[i].pitch.pitch_class(), std::clamp(sounded, 0.05f, 4.0f));
  }
  if (!sung_.empty()) out.held = sung_.back().pitch.pitch_class();
  return out;
}

bool Analysis::collect(Micros at) {
  bool found = false;
  while (const auto note = ear_.take_melody()) {
    if (!note->is_melody) continue;
    const Micros onset = from_ear(note->onset);
    const bool held = notes_.is_down(note->pitch) && notes_.onset(note->pitch) == onset;
    melody_.add(note->pitch, onset, held);
    if (sung_.full()) sung_.erase(0);
    sung_.push_back({note->pitch, onset});
    findings_.melody.push_back({note->pitch, {}, {}, onset, held});
    found = true;
  }
  if (ear_.take_key_change() && !settings_.key) {
    findings_.key = found = true;
    take_key();
  }
  std::optional<InForce> named;
  if (settings_.by_ear) {
    if (const auto& heard = ear_.harmony())
      named = InForce{harmony::chord_of(heard->chord), heard->confidence, from_ear(heard->since)};
  } else {
    headline_.hear(to_ear(at), ear_, moment_.key ? std::optional(moment_.key->key) : std::nullopt);
    if (const auto& shown = headline_.chord())
      named = InForce{shown->chord, shown->confidence, from_ear(shown->since)};
  }
  if (named) {
    const bool changed = !in_force_ || in_force_->chord != named->chord;
    in_force_ = named;
    if (changed) {
      findings_.harmony = found = true;
      settled_from_ = at + harmony::kMeant;
    }
  }
  found |= hold_highest(at);
  refresh_alternatives(at);
  return found;
}

std::optional<Pitch> Analysis::highest_held() const {
  for (int key = 127; key >= kLowestHeld; --key)
    if (notes_.is_down(Pitch(key))) return Pitch(key);
  return std::nullopt;
}

std::optional<Micros> Analysis::supposed_from() const {
  const auto& newest = melody_.newest();
  if (!newest.empty() && newest[0].held) return std::nullopt;
  const auto top = highest_held();
  const auto onset = top ? notes_.onset(*top) : std::nullopt;
  if (!onset) return std::nullopt;
  // Not before the ear has decided about this note, and not while the melody before it still lingers in the
  // player's ear.
  const Micros decided = *onset + harmony::kMelodyDelay;
  return newest.empty() ? decided : std::max(decided, newest[0].since + kTuneLingers);
}

bool Analysis::hold_highest(Micros at) {
  const auto from = supposed_from();
  if (!from || at < *from) return false;
  const Pitch top = *highest_held();
  melody_.suppose(top, *notes_.onset(top));
  return true;
}

void Analysis::note_tried() {
  const Micros at = *settled_from_;
  settled_from_.reset();
  const harmony::Chord& chord = in_force_->chord;
  returns_.settled(chord, at);
  const auto& melody = melody_.newest();
  const auto alike = [&](const harmony::Chord& other) {
    return other.root == chord.root &&
           harmony::row(other.quality).family == harmony::row(chord.quality).family;
  };
  const auto same = [&](const harmony::Chord& other) {
    return harmony::is_played_as(chord, other) || harmony::is_played_as(other, chord);
  };
  if (!settled_.empty() && alike(settled_[0])) {
    settled_[0] = chord;  // the same chord with another colour or bass
  } else {
    if (std::any_of(settled_.begin(), settled_.end(), same)) liked_.add(chord);  // the player came back to it
    if (settled_.full()) settled_.pop_back();
    settled_.insert(0, chord);
    const harmony::Phrase over = phrase_at(at, in_force_->since);
    harmony::PitchClassSet notes;
    for (int pc = 0; pc < 12; ++pc)
      if (over.weight[static_cast<std::size_t>(pc)] > 0) notes.insert(PitchClass(pc));
    memory_.add(chord, melody.empty() ? std::nullopt : std::optional(melody[0].pitch.pitch_class()), notes);
  }
  if (melody.empty() || !notes_.is_sounding(melody[0].pitch)) return;
  const PitchClass under = melody[0].pitch.pitch_class();
  // A chord that was only revoiced, or turned over, is not tried anew.
  const bool anew = !newest_tried_ || newest_tried_->under != under || !same(newest_tried_->chord);
  newest_tried_ = {under, chord};
  if (!anew) return;
  tried_[static_cast<std::size_t>(under.value())].add(chord);
  const auto& asked = offered_question_.melody;
  if (std::none_of(asked.begin(), asked.end(), [&](Pitch note) { return note.pitch_class() == under; }))
    return;
  if (const auto& before = offered_question_.previous; before && same(*before))
    return;  // this chord was in force already
  for (std::size_t i = 0; i < offered_.size(); ++i) {
    if (!harmony::is_played_as(offered_[i].chord, chord)) continue;
    findings_.tried = Findings::Tried{offered_[i], i, offered_number_};
    return;
  }
}

void Analysis::refresh_alternatives(Micros at) {
  if (moment_.still || settings_.names_only) return;
  harmony::Question question;
  question.style = settings_.style;
  const auto& newest = melody_.newest();
  if (settings_.under == Under::kTwo && !newest.empty() && !(newest.size() > 1 && newest[1].held)) {
    question.melody = alternating(at);
    if (!question.melody.empty()) {
      question.voiced = 1;
      const auto sung = phrase_at(at, at - kAlternates);
      for (Pitch note : question.melody) {
        const PitchClass pc = note.pitch_class();
        question.phrase.add(pc, sung.weight[static_cast<std::size_t>(pc.value())]);
      }
    }
  }
  for (std::size_t i = 0;
       question.voiced > 1 && i < newest.size() && i < (settings_.under == Under::kTwo ? 2 : 1); ++i) {
    if (i > 0 && !newest[i].held) break;
    question.melody.push_back(newest[i].pitch);
  }
  if (moment_.key) question.key = moment_.key->key;
  if (in_force_) {
    question.previous = in_force_->chord;
    for (const harmony::Chord& chord : settled_)
      if (question.earlier.size() > 0 || chord != in_force_->chord) question.earlier.push_back(chord);
  }
  if (settings_.under == Under::kBar) question.phrase = phrase_at(at, at - settings_.bar);
  question.liked = liked_;
  question.wishes = settings_.wishes;
  if (!question.melody.empty())
    question.tried = tried_[static_cast<std::size_t>(question.melody[0].pitch_class().value())];
  // The list changes only when the melody, the chord or a wish changed. A new key takes effect with the next
  // change.
  if (same_question(question, asked_) && moment_.alternatives_number > 0) return;
  asked_ = question;
  const harmony::Hands held = hands();
  question.take = &memory_;
  question.player = player_;
  if (settings_.lean == Lean::kOwn)
    question.lean_own = true;
  else if (settings_.lean != Lean::kFound)
    question.lean = static_cast<harmony::Idiom>(static_cast<int>(settings_.lean) - 1);
  harmony::rank_alternatives(question, &held, moment_.alternatives);
  moment_.under = question.melody;
  ++moment_.alternatives_number;
  findings_.alternatives = true;
  list_since_ = at;
  list_offered_ = moment_.alternatives.empty();
}

void Analysis::write_returned() {
  const auto key = moment_.key ? std::optional(moment_.key->key) : std::nullopt;
  if (returned_written_ == returns_.number() && returned_key_ == key) return;
  returned_written_ = returns_.number();
  returned_key_ = key;
  moment_.returned = returns_.most();
  for (Return& each : moment_.returned) each.root_name = harmony::root_name_in(each.chord, key);
  ++moment_.returned_number;
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
    moment_.held.push_back({sounding[i], notes_.velocity(sounding[i]).value_or(Velocity()),
                            notes_.is_down(sounding[i]), notes_.onset(sounding[i]).value_or(at)});

  if (in_force_)
    moment_.harmony = HarmonyInForce{
        {in_force_->chord, harmony::root_name_in(in_force_->chord, key), in_force_->confidence},
        in_force_->since,
        count > 0};
  moment_.readings.clear();
  for (const auto& reading : headline_.readings())
    moment_.readings.push_back(
        {reading.chord, harmony::root_name_in(reading.chord, key), reading.confidence});

  write_returned();

  moment_.melody.clear();
  for (const auto& note : melody_.newest())
    moment_.melody.push_back(described({note.pitch, {}, {}, note.since, note.held}));
  for (MelodyNote& note : findings_.melody) note = described(note);
  moment_.under_names.clear();
  for (const Pitch under : moment_.under)
    moment_.under_names.push_back(described({under, {}, {}, at, false}).name);
}

MelodyNote Analysis::described(MelodyNote note) const {
  const int home = moment_.key ? harmony::signature(moment_.key->key) : 0;
  if (moment_.harmony) {
    const auto& reading = moment_.harmony->reading;
    note.degree =
        harmony::degree_in(reading.chord.quality, ascending(reading.chord.root, note.pitch.pitch_class()));
    note.name = harmony::spell_note(note.pitch.pitch_class(), home, &reading.chord, &reading.root_name);
  } else {
    note.name = harmony::spell_note(note.pitch.pitch_class(), home, nullptr, nullptr);
  }
  return note;
}

}  // namespace undersong::listen
