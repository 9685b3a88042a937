// Makes text that came from a daemon safe to print on a terminal. Names and titles may hold any character,
// and a terminal obeys some: they move the cursor, change colours, or answer as if somebody had typed.
//
// Control characters other than tab and the ends of lines become U+FFFD. The text is UTF-8.
//
// Threads: pure functions. Errors: none.
// Source: ECMA-48 (1991), 5.3 and 5.4: the control functions of the sets C0 and C1.
#pragma once

#include <boost/json.hpp>
#include <string>

namespace undersong::protocol {

std::string printable(std::string text);
// All strings in it.
void make_printable(boost::json::value& value);

}  // namespace undersong::protocol
