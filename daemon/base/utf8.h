// Text that comes from a disk may hold any bytes; what goes to clients must be UTF-8.
//
//   title = as_utf8(row.getColumn(0).getString());
//
// Threads: pure functions. Errors: none.
// Source: The Unicode Standard 15.0, table 3-7 (well-formed UTF-8 byte sequences), and 3.9 for the
// replacement.
#pragma once

#include <string>
#include <string_view>

namespace undersong {

bool is_utf8(std::string_view text);
// Each byte that begins no well-formed sequence becomes U+FFFD. Valid text is returned as it is.
std::string as_utf8(std::string text);

}  // namespace undersong
