// Found moments and meetings of takes as messages.
//
// Threads: pure functions.
#pragma once

#include <string>

#include "daemon/takes/moments.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::FoundMoments found_of(const takes::FoundMoments& found, const std::string& understood);
protocol::TakeMeetings meetings_of(const takes::TakeMeetings& met);

}  // namespace undersong::server
