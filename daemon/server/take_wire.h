// Kept takes as messages: searches, notes, passes, exports, lines. Summaries and details are in wire.h.
//
// Threads: pure functions. Errors: one sentence that names the member of the params.
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
struct TakeSketch;
}  // namespace undersong::protocol

namespace undersong::server {

takes::Search search_of(const protocol::ListTakes& wish);
// `utc_ms`: now, for days as "last week".
Result<takes::MomentSearch> search_of(const protocol::FindMoments& wish, std::int64_t utc_ms);
std::vector<takes::LineKind> kinds_of(const std::vector<protocol::LineKind>& kinds);
// TakeLines as text: at most `limit` of the lines, which begin with number `from`.
std::string lines_text(std::vector<takes::Line> lines, std::size_t limit, takes::LineNumber from);

protocol::TakeNotes notes_of(const takes::Store::Midi& take);
protocol::TakeSketch sketch_of(const takes::Store::Midi& take, std::size_t spans);
Result<protocol::ExportedTake> export_of(const takes::Store::Midi& take);
// `lines`: those of kinds kAlong and kPass.
Result<protocol::TakePasses> passes_of(const takes::Store::Midi& take, const std::vector<takes::Line>& lines);

}  // namespace undersong::server
