// Converts kept takes to messages: searches, notes, passes, exports, lines. Summaries and details are
// converted in wire.h.
//
// Units: Micros on the clock of the run that made the take; wall time in milliseconds since 1970, UTC.
// Threads: pure functions; call them from any thread.
// Errors: one sentence that names the member of the params, or the take.
#pragma once

#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/search.h"
#include "daemon/takes/store.h"

namespace undersong::protocol {
enum class LineKind : std::uint8_t;
struct ExportedTake;
struct FindMoments;
struct ListTakes;
struct TakeNotes;
struct TakePasses;
struct TakeThumbnail;
}  // namespace undersong::protocol

namespace undersong::server {

takes::Search search_of(const protocol::ListTakes& wish);
// `utc_ms`: the current time, for questions such as "last week".
Result<takes::MomentSearch> search_of(const protocol::FindMoments& wish, std::int64_t utc_ms);
std::vector<takes::LineKind> kinds_of(const std::vector<protocol::LineKind>& kinds);
// The JSON text of protocol::TakeLines, with at most `limit` of the lines. `from`: the first number that was
// asked for.
std::string lines_text(std::vector<takes::Line> lines, std::size_t limit, takes::LineNumber from);

protocol::TakeNotes notes_of(const takes::Store::Midi& take);
protocol::TakeThumbnail thumbnail_of(const takes::Store::Midi& take, std::size_t spans);
Result<protocol::ExportedTake> export_of(const takes::Store::Midi& take);
// `lines`: the lines of kinds kAlong and kPass. Error: the take was not played along with a loop.
Result<protocol::TakePasses> passes_of(const takes::Store::Midi& take, const std::vector<takes::Line>& lines);

}  // namespace undersong::server
