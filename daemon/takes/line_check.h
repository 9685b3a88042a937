// Whether a line is as it was written. Lines have a checksum since layout 6 of the store. Older lines have
// none; there only what the line must look like can be checked.
//
// Units: none. Threads: pure functions. Errors: none.
// Source: CRC-32 as in IEEE 802.3, from Boost.
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/takes/log_line.h"

namespace undersong::takes {

// Over the number, the take, the time, the kind and the data.
std::uint32_t checksum(const Line& line);
std::uint32_t checksum(std::string_view text);

// True if the line can be shown to others: it has a kind that exists, a time that is possible, text that is
// UTF-8, and a JSON object where it must be one.
bool is_whole(const Line& line);
// By the checksum if there is one, else by `is_whole`.
bool is_sound(const Line& line, const std::optional<std::int64_t>& sum);

}  // namespace undersong::takes
