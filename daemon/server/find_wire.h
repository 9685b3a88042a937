// Converts what is looked for by playing, and the takes that hold it.
//
// Units: as in protocol/shapes.h.
// Threads: pure functions; call them from any thread.
// Errors: one sentence if there is nothing to look for.
#pragma once

#include <vector>

#include "daemon/takes/find_takes.h"
#include "daemon/takes/store.h"
#include "protocol/messages.h"

namespace undersong::server {

Result<takes::FindQuery> query_of(const std::vector<protocol::AskedNote>& notes);
// The part of the take that is asked for.
Result<takes::FindQuery> query_of(const protocol::FindPlayed& wish, const takes::Store::Midi& take);
// `notes`: how many were looked for.
protocol::FoundTakes found_takes_of(const takes::FoundPlaces& found, std::size_t notes);

}  // namespace undersong::server
