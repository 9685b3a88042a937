// Converts beats and corrections of the beat between the daemon's own types and the protocol's. The current
// beat is converted in wire.h.
//
// Units: Micros on the clock of the run that made the take; places in a bar count from 1.
// Threads: pure functions; call them from any thread.
// Errors: one sentence that names the member of the params.
#pragma once

#include <optional>

#include "daemon/base/result.h"
#include "daemon/live/beat_corrections.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/search.h"

namespace undersong::protocol {
struct CorrectBeat;
struct Corrected;
struct TakeBeats;
struct Tapped;
}  // namespace undersong::protocol

namespace undersong::server {

Result<live::CorrectionWish> correction_of(const protocol::CorrectBeat& wish);
protocol::Corrected corrected_of(const live::Corrected& corrected);
protocol::Tapped tapped_of(const std::optional<listen::BeatNow>& beat);
protocol::TakeBeats beats_of(const takes::Summary& take, const song::TakeStudy& study);

}  // namespace undersong::server
