// Requests about the beat: taps, corrections, the beats of a kept take and how far the work on them is.
#include "daemon/live/stage.h"
#include "daemon/server/answer_aside.h"
#include "daemon/server/beat_wire.h"
#include "daemon/server/digest_wire.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"

namespace undersong::server {

void answer(Session& session, const protocol::TapBeat&, To<protocol::Tapped> to) {
  auto& performance = session.room().stage.performance();
  performance.tap(performance.now());
  to(tapped_of(performance.beat()));
}

void answer(Session& session, const protocol::CorrectBeat& wish, To<protocol::Corrected> to) {
  const auto correction = correction_of(wish);
  if (!correction) return to(correction.error());
  session.room().stage.corrections().correct(*correction, [to](Result<live::Corrected> corrected) {
    if (!corrected) return to(corrected.error());
    to(corrected_of(*corrected));
  });
}

void answer(Session& session, const protocol::GetBeats& wish, To<protocol::TakeBeats> to) {
  auto& room = session.room();
  answer_kept(room.store, wish.take, kKeptBeats, to.reply, [&room, wish, to] {
    answer_aside<protocol::TakeBeats>(
        room.studies, wish.take, to.reply,
        [](const takes::Store::Midi& take, const song::TakeStudy& study) -> Result<protocol::TakeBeats> {
          return beats_of(take.detail.summary, study);
        });
  });
}

void answer(Session& session, const protocol::GetStudyProgress& wish, To<protocol::StudyProgress> to) {
  const auto done = session.room().studies.progress().of(wish.take);
  protocol::StudyProgress out;
  out.working = done.has_value();
  out.done = done.value_or(0);
  to(out);
}

void answer(Session& session, const protocol::CancelStudy& wish, To<protocol::StudyCancelled> to) {
  to(protocol::StudyCancelled{session.room().studies.progress().give_up(wish.take)});
}

}  // namespace undersong::server
