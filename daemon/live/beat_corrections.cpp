#include "daemon/live/beat_corrections.h"

#include <fmt/format.h>

#include <utility>

#include "daemon/listen/tempo.h"
#include "daemon/takes/take_times.h"

namespace undersong::live {
namespace {

// How far back a correction may refer while no take is open. Common practice, no source.
constexpr Micros kLongAgo{60'000'000};

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

}  // namespace

void BeatCorrections::correct(const CorrectionWish& wish, Answer<Corrected> answer) {
  const auto& playing = world_.recorder.take();
  if (wish.take && !(playing && playing->id == *wish.take))
    return correct_kept(wish, *wish.take, std::move(answer));
  correct_played(wish, std::move(answer));
}

BeatCorrections::Answer<takes::LineNumber> BeatCorrections::with_beat(Answer<Corrected> answer) {
  return [this, answer = std::move(answer)](Result<takes::LineNumber> number) {
    if (!number) return answer(number.error());
    answer(Corrected{*number, world_.performance.beat()});
  };
}

void BeatCorrections::correct_played(const CorrectionWish& wish, Answer<Corrected> answer) {
  const auto& playing = world_.recorder.take();
  const Micros time = world_.performance.now();
  const takes::BeatLine said{wish.at.value_or(time), wish.what, {}, wish.meter, 0};
  // A correction may name a tap or a note shortly before the take, or the next beat.
  const Micros from = (playing ? playing->since : time - kLongAgo) - takes::kAroundTake,
               to = time + listen::kLongestBeat;
  if (said.at < from || said.at > to)
    return answer(
        invalid_input(fmt::format("{} is {}, but what is being played goes from {} to {}, in microseconds.",
                                  wish.at_name, said.at.count(), from.count(), to.count())));
  if (const auto became = world_.performance.correct(said); became != listen::Correction::kDone)
    return answer(sentence_for(became));
  if (playing) return world_.recorder.said(said, with_beat(std::move(answer)));
  answer(Corrected{std::nullopt, world_.performance.beat()});
}

// Checks that the time lies within the take and, for twice and half, that the take's tempo with all earlier
// corrections allows it. Then writes the line.
void BeatCorrections::correct_kept(const CorrectionWish& wish, takes::TakeId take, Answer<Corrected> answer) {
  using takes::BeatWord;
  auto& store = world_.studies.fetcher().store();
  const takes::BeatLine said{wish.at.value_or(world_.performance.now()), wish.what, {}, wish.meter, 0};
  const bool level = said.what == BeatWord::kTwice || said.what == BeatWord::kHalf;
  if (!wish.at && !level && said.what != BeatWord::kUndo)
    return answer(invalid_input(wish.at_name + " is missing: where in the take?"));
  const auto keep = [this, answer, said, take, &store] {
    store.edit(takes::LineKind::kBeat, take, said.at, takes::beat_data(said), with_beat(answer));
  };
  const auto check_level = [this, answer, keep, level, said, take] {
    if (!level) return keep();
    world_.studies.with_study<bool>(
        take,
        [answer, keep](Result<bool> fits) {
          if (!fits) return answer(fits.error());
          keep();
        },
        [said](const takes::Store::Midi& midi, const song::TakeStudy& study) -> Result<bool> {
          if (const auto wrong = takes::refused(study.beats, said.what, midi.detail.summary.take))
            return *wrong;
          return true;
        });
  };
  if (!wish.at) return check_level();
  store.detail(take, [answer, said, check_level, name = wish.at_name](Result<takes::Detail> detail) {
    if (!detail) return answer(detail.error());
    if (const auto wrong = takes::outside(detail->summary, said.at, name)) return answer(*wrong);
    check_level();
  });
}

}  // namespace undersong::live
