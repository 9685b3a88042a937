// The date of a file that is brought: the one in its name, or else that of the file.
//
// 2019-05-31, 20190531 or 2019_05_31, and after it, if there is one, a time: 21-04-59, 210459 or 21.04.
// Without a time it is noon.
//
// Units: milliseconds since 1970, UTC; names are read as local time. The form of the date: ISO 8601, with the
// signs that file names allow (common practice, no source).
// Threads: pure; any thread.
// Errors: none. A date that does not exist is no date; one that has not come yet becomes now.
#pragma once

#include <cstdint>
#include <string>

namespace undersong::takes {

// `name`: of the file, without its ending. `changed_utc_ms`: when the file was changed last.
std::int64_t date_brought(const std::string& name, std::int64_t changed_utc_ms, std::int64_t now_utc_ms);

}  // namespace undersong::takes
