#include "daemon/song/describer.h"

#include <algorithm>
#include <memory>
#include <optional>
#include <utility>

#include "daemon/song/about_of.h"
#include "daemon/song/study_progress.h"

namespace undersong::song {

void Describer::nudge() {
  again_ = true;
  if (busy_) return;
  busy_ = true;
  next();
}

void Describer::rest() {
  busy_ = false;
  tell();
}

void Describer::tell() {
  if (untold_ > 0) world_.studied(std::exchange(untold_, 0));
}

void Describer::next() {
  if (*stopped_ || !world_.may_work()) return rest();
  if (again_) before_ = ~takes::TakeId{0};  // a newer take may have come
  again_ = false;
  world_.store.next_unstudied(before_, [this](Result<std::optional<takes::TakeId>> take) {
    if (!take || !*take) return again_ && take ? next() : rest();
    before_ = **take;
    study(**take);
  });
}

void Describer::study(takes::TakeId take) {
  world_.store.midi(take, [this](Result<takes::Store::Midi> found) {
    if (!found) return rest();
    const auto midi = std::make_shared<const takes::Store::Midi>(std::move(*found));
    world_.aside.answer<takes::StudiedTake>(
        "a take was studied",
        [this](Result<takes::StudiedTake> studied) {
          if (!studied) return next();
          world_.store.put_study(std::move(*studied), [this](Result<bool> kept) {
            if (!kept) return rest();
            if (++untold_ == kTellEvery) tell();
            next();
          });
        },
        [midi, study_of = world_.study, answers = world_.answers,
         stopped = stopped_]() -> Result<takes::StudiedTake> {
          const auto study = study_of(*midi, [&](double) {
            if (*stopped) throw StudyGivenUp();
          });
          takes::StudiedTake out;
          out.take = midi->detail.summary.take;
          for (const takes::Line& line : midi->said) out.said = std::max(out.said, line.number);
          out.about = about_of(*study);
          out.answers = answers(*midi, *study);
          return out;
        });
  });
}

}  // namespace undersong::song
