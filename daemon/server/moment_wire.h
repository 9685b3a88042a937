// Converts found moments, and the meetings of a take, to messages of the protocol.
//
// Units: as in protocol/shapes.h.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
#pragma once

#include <string>

#include "daemon/takes/moments.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::FoundMoments found_of(const takes::FoundMoments& found, const std::string& understood);
protocol::TakeMeetings meetings_of(const takes::TakeMeetings& met);

}  // namespace undersong::server
