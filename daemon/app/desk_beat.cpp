// The desk's part that has to do with time: the beat and its corrections, and playing along with a loop.
#include <fmt/format.h>

#include <algorithm>

#include "daemon/app/desk.h"
#include "daemon/base/caught.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/server/wire.h"
#include "daemon/takes/take_times.h"

namespace undersong::app {
namespace {

constexpr std::size_t kMostGivenNotes = 16;
constexpr Micros kLongAgo{60'000'000};  // beats that were told so long ago, before any take, can't be meant

Error sentence_for(listen::Correction became) {
  using listen::Correction;
  switch (became) {
    case Correction::kTooFast:
      return invalid_input(
          fmt::format("Twice as fast would be more than {} beats a minute; a tempo is {} to {}.",
                      listen::kFastest, listen::kSlowest, listen::kFastest));
    case Correction::kTooSlow:
      return invalid_input(
          fmt::format("Half as fast would be fewer than {} beats a minute; a tempo is {} to {}.",
                      listen::kSlowest, listen::kSlowest, listen::kFastest));
    case Correction::kClocked:
      return unavailable("Another machine's MIDI clock gives the beat: set its tempo there.");
    case Correction::kNothing: return unavailable("There is no correction of the beat to take back.");
    case Correction::kNoMeter: return invalid_input("A bar has 1 to 16 beats.");
    case Correction::kNoPulse:
    case Correction::kDone: break;
  }
  return unavailable("There is no steady pulse to correct yet: play on, or tap four times.");
}

std::optional<protocol::BeatNow> wire_beat(const listen::Pulse& pulse) {
  if (!pulse.now()) return std::nullopt;
  return server::beat_of(*pulse.now());
}

}  // namespace

const listen::Moment& Desk::moment() {
  shown_ = analysis_.moment();
  shown_.number += beat_changes_;
  shown_.beat = pulse_.now();
  if (shown_.beat) shown_.at = std::max(shown_.at, shown_.beat->at);
  return shown_;
}

void Desk::beat_changed(bool changed) {
  while (const auto beat = pulse_.take_beat())
    if (take_ && beat->at >= take_->since) keep_clock(*beat);
  if (!changed) return;
  // What was sung in the last bar may be asked about: as long as a bar is now.
  if (const auto& beat = pulse_.now(); beat && beat->tempo > 0)
    analysis_.set_bar(Micros(60'000'000LL * beat->meter / beat->tempo));
  ++beat_changes_;
  world_.changed_moment();
}

// Of a clock the beginnings of its bars are kept: with them its beats can be found again. Of one that says no
// position only how long its beats are.
void Desk::keep_clock(const listen::ToldBeat& beat) {
  if (beat.source != listen::BeatSource::kClock) return;
  if (clock_kept_ && !(beat.barred && beat.place == 0)) return;
  clock_kept_ = true;
  world_.store.append(takes::beat_said(
      beat.barred ? takes::BeatLine{beat.at, takes::BeatWord::kClock, beat.interval, beat.meter, beat.place}
                  : takes::BeatLine{beat.at, takes::BeatWord::kTap, beat.interval, 0, 0}));
}

// A clock that ran before the take: the beat in which the take begins says where its bars are from the first
// note on.
void Desk::begin_clock(Micros take_begins) {
  clock_kept_ = false;
  if (const auto beat = pulse_.newest();
      beat && beat->at <= take_begins && take_begins - beat->at <= beat->interval + beat->interval / 4)
    keep_clock(*beat);
}

void Desk::tap_at(Micros at) {
  beat_changed(pulse_.tap(at));
  if (take_ && pulse_.tapped())
    world_.store.append(takes::beat_said({at, takes::BeatWord::kTap, *pulse_.tapped(), 0, 0}));
  world_.changed_deadline();
}

std::optional<protocol::BeatNow> Desk::tap() {
  tap_at(now());
  return wire_beat(pulse_);
}

listen::Correction Desk::correct_now(const takes::BeatLine& said) {
  using listen::Correction;
  Correction became = Correction::kNothing;
  switch (said.what) {
    case takes::BeatWord::kOne:
      became = pulse_.now() ? Correction::kDone : Correction::kNoPulse;
      if (became == Correction::kDone && said.meter != 0) became = pulse_.set_meter(said.at, said.meter);
      if (became == Correction::kDone) became = pulse_.beat_one(said.at);
      break;
    case takes::BeatWord::kTwice: became = pulse_.twice_as_fast(said.at); break;
    case takes::BeatWord::kHalf: became = pulse_.half_as_fast(said.at); break;
    case takes::BeatWord::kMeter: became = pulse_.set_meter(said.at, said.meter); break;
    case takes::BeatWord::kUndo: became = pulse_.undo(said.at); break;
    case takes::BeatWord::kTap:
    case takes::BeatWord::kClock: break;
  }
  beat_changed(became == Correction::kDone);
  world_.changed_deadline();
  return became;
}

void Desk::correct_beat(const protocol::CorrectBeat& wish, Answer<protocol::Corrected> answer) {
  using takes::BeatWord;
  constexpr std::array kWords{BeatWord::kOne, BeatWord::kTwice, BeatWord::kHalf, BeatWord::kMeter,
                              BeatWord::kUndo};
  const Micros time = now();
  takes::BeatLine said{wish.at ? Micros(*wish.at) : time,
                       kWords[static_cast<std::size_t>(wish.what)],
                       {},
                       wish.meter ? static_cast<int>(wish.meter->value) : 0,
                       0};
  if (said.what == BeatWord::kMeter && said.meter == 0)
    return answer(invalid_input("params.meter is missing: how many beats a bar?"));
  if (wish.take && !(take_ && take_->id == *wish.take))
    return correct_kept(said, *wish.take, wish.at.has_value(), answer);
  // Something was tapped or played shortly before the take, and a bar may begin with the next beat.
  const Micros from = (take_ ? take_->since : time - kLongAgo) - takes::kAroundTake,
               to = time + listen::kLongestBeat;
  if (said.at < from || said.at > to)
    return answer(invalid_input(
        fmt::format("params.at is {}, but what is being played goes from {} to {}, in microseconds.",
                    said.at.count(), from.count(), to.count())));
  if (const auto became = correct_now(said); became != listen::Correction::kDone)
    return answer(sentence_for(became));
  const auto kept = [this, answer](Result<takes::LineNumber> number) {
    if (!number) return answer(number.error());
    protocol::Corrected out;
    out.number.emplace(*number);
    if (const auto beat = wire_beat(pulse_)) out.beat.emplace(*beat);
    answer(out);
  };
  if (take_) return world_.store.append(takes::beat_said(said), kept);
  protocol::Corrected out;
  if (const auto beat = wire_beat(pulse_)) out.beat.emplace(*beat);
  answer(out);
}

// Of a take that is kept: where in it is checked, and for twice and half the tempo that its beats have by
// now.
void Desk::correct_kept(const takes::BeatLine& said, takes::TakeId take, bool has_time,
                        Answer<protocol::Corrected> answer) {
  using takes::BeatWord;
  const auto keep = [this, answer, said, take] {
    world_.store.edit(takes::LineKind::kBeat, take, said.at, takes::beat_data(said),
                      [this, answer](Result<takes::LineNumber> number) {
                        if (!number) return answer(number.error());
                        protocol::Corrected out;
                        out.number.emplace(*number);
                        if (const auto beat = wire_beat(pulse_)) out.beat.emplace(*beat);
                        answer(out);
                      });
  };
  const bool level = said.what == BeatWord::kTwice || said.what == BeatWord::kHalf;
  if (!has_time && !level && said.what != BeatWord::kUndo)
    return answer(invalid_input("params.at is missing: where in the take?"));
  const auto check_level = [this, answer, keep, level, said, take] {
    if (!level) return keep();
    with_take_aside<protocol::Corrected>(
        take, answer,
        [answer, keep, said](const takes::Summary& take_heard,
                             const song::TakeStudy& study) -> std::function<void()> {
          if (const auto wrong = takes::refused(study.beats, said.what, take_heard.take))
            return [answer, wrong = *wrong] { answer(wrong); };
          return keep;
        });
  };
  if (!has_time) return check_level();
  world_.store.detail(take, [answer, said, check_level](Result<takes::Detail> detail) {
    if (!detail) return answer(detail.error());
    if (const auto wrong = takes::outside(detail->summary, said.at, "params.at")) return answer(*wrong);
    check_level();
  });
}

// ---- a take listened to again, aside

template <class T>
void Desk::with_take_aside(
    std::optional<std::uint64_t> number, Answer<T> answer,
    std::function<std::function<void()>(const takes::Summary&, const song::TakeStudy&)> work) {
  world_.store.midi(number, [this, answer, work](Result<takes::Store::Midi> take) {
    if (!take) return answer(take.error());
    const bool fits = world_.aside(
        [work, answer, studies = world_.studies, take = std::move(*take)]() -> std::function<void()> {
          try {
            return work(take.detail.summary, *studies->of(take));
          } catch (...) {
            return [answer, error = caught(fmt::format("take {} was listened to again",
                                                       take.detail.summary.take))] { answer(error); };
          }
        });
    if (!fits)
      answer(Error{ErrorCode::kExhausted, "Too much is being worked on already; ask again in a while."});
  });
}

void Desk::take_beats(std::optional<std::uint64_t> take, Answer<protocol::TakeBeats> answer) {
  with_take_aside<protocol::TakeBeats>(
      take, answer,
      [answer](const takes::Summary& summary, const song::TakeStudy& study) -> std::function<void()> {
        const takes::Beats& beats = study.beats;
        const Micros from = takes::span_of(summary).from;  // a study's times count from there
        protocol::TakeBeats out;
        out.take = summary.take;
        out.pulse = beats.pulse();
        out.confidence = static_cast<double>(beats.confidence);
        out.meter = beats.meter;
        // A take that begins within a bar: its first beats count towards the first bar line.
        const auto one = std::find_if(beats.beats.begin(), beats.beats.end(),
                                      [](const auto& beat) { return beat.downbeat; });
        const auto before = one - beats.beats.begin();
        std::uint32_t place = one != beats.beats.end() && before < beats.meter
                                  ? static_cast<std::uint32_t>(beats.meter - before)
                                  : 0;
        for (const auto& beat : beats.beats) {
          place = beat.downbeat ? 1 : place + 1;
          out.at.push_back((from + beat.at).count());
          out.place.push_back(place);
        }
        return [answer, out] { answer(out); };
      });
}

// ---- playing along

std::vector<Pitch> Desk::keys_of(const std::vector<protocol::PitchNumber>& notes) {
  std::vector<Pitch> out;
  for (const auto& note : notes) out.emplace_back(static_cast<int>(note.value));
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

std::optional<Error> Desk::wrong_notes(const std::optional<std::vector<protocol::PitchNumber>>& notes,
                                       const std::string& where) {
  if (!notes || (!notes->empty() && notes->size() <= kMostGivenNotes)) return std::nullopt;
  return invalid_input(
      fmt::format("{} holds {} notes; give 1 to {}.", where, notes->size(), kMostGivenNotes));
}

void Desk::play_along(const protocol::PlayAlong& wish, Answer<protocol::Playing> answer) {
  if (auto there = playback_.ready(); !there) return answer(there.error());
  takes::AlongWish how;
  if (wish.tempo) how.tempo = *wish.tempo;
  if (wish.count_in) how.count_in = static_cast<int>(wish.count_in->value);
  if (wish.layers) {
    how.bass = how.chords = how.melody = false;
    for (const auto layer : *wish.layers)
      (layer == protocol::Layer::kBass     ? how.bass
       : layer == protocol::Layer::kChords ? how.chords
                                           : how.melody) = true;
    if (wish.layers->empty())
      return answer(invalid_input("params.layers is empty: name one or more of bass, chords and melody."));
  }
  if (wish.rounds) how.rounds = static_cast<int>(wish.rounds->value);
  if (wish.chords) {
    if (wish.chords->empty())
      return answer(
          invalid_input("params.chords is empty: give one for each chord of the loop, or leave it out."));
    for (std::size_t i = 0; i < wish.chords->size(); ++i) {
      const auto& given = (*wish.chords)[i];
      const auto chord = harmony::parse_harte(given.harte);
      if (!chord)
        return answer(invalid_input(
            fmt::format("params.chords[{}].harte: \"{}\" is no chord in Harte syntax.", i, given.harte)));
      if (const auto wrong = wrong_notes(given.notes, fmt::format("params.chords[{}].notes", i)))
        return answer(*wrong);
      how.given.push_back(
          {chord->chord, chord->root, given.notes ? keys_of(*given.notes) : std::vector<Pitch>()});
    }
  }
  if (!how.bass && !how.chords &&
      std::all_of(how.given.begin(), how.given.end(), [](const auto& chord) { return chord.notes.empty(); }))
    return answer(invalid_input(
        "params.layers is the melody alone, but no notes are given: name bass or chords, or give notes."));
  how.velocity = wish.velocity ? Velocity(static_cast<int>(wish.velocity->value)) : soft();
  with_take_aside<protocol::Playing>(
      wish.take, answer,
      [this, how, answer, listen = wish.listen.value_or(false), asked = ++play_asked_](
          const takes::Summary& summary, const song::TakeStudy& study) -> std::function<void()> {
        const takes::TakeId id = summary.take;
        auto along = study.loop
                         ? takes::accompaniment(*study.loop, study.beats, how)
                         : Result<takes::Along>(not_found(fmt::format(
                               "There is no loop in take {}: no chord cycle comes round often enough.", id)));
        return [this, id, answer, asked, listen, along = std::move(along)] {
          if (!along) return answer(along.error());
          if (asked != play_asked_)
            return answer(Error{ErrorCode::kConflict, "Something else was asked for meanwhile."});
          auto playing = playback_.play_along(id, *along, listen);
          if (!playing) return answer(playing.error());
          round_.reset();
          if (listen) return answer(*playing);
          if (take_) end_take_at(now(), takes::EndReason::kRequest, {});
          round_ = Round{id, *along, Micros(playing->since), 1};
          world_.changed_deadline();
          answer(*playing);
        };
      });
}

std::optional<Micros> Desk::next_pass() const {
  if (!round_ || (round_->along.rounds > 0 && round_->next > round_->along.rounds)) return std::nullopt;
  return round_->pass(round_->next);
}

void Desk::begin_pass() {
  const int number = round_->next++;
  if (take_) world_.store.append(takes::pass_begins(round_->pass(number), number));
}

}  // namespace undersong::app
