// Beats and their corrections between the daemon's own types and the protocol's. The beat as it is told is in
// wire.h.
//
// Threads: pure functions. Errors: one sentence that names the member of the params.
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
