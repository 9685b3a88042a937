// Requests about the beat: taps, corrections, the beats of a kept take.
#include "daemon/live/stage.h"
#include "daemon/server/answer_aside.h"
#include "daemon/server/beat_wire.h"
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
  answer_aside<protocol::TakeBeats>(
      session.room().studies, wish.take, to.reply,
      [](const takes::Store::Midi& take, const song::TakeStudy& study) -> Result<protocol::TakeBeats> {
        return beats_of(take.detail.summary, study);
      });
}

}  // namespace undersong::server
