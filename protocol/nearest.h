// Finds the known word that somebody probably meant: "lsit" is "list".
//
// Units: none.
// Threads: pure; any thread.
// Errors: none; all functions are total.
// Source: Damerau (1964), "A technique for computer detection and correction of spelling errors": a slip is
// one letter too many, too few, another, or two that changed places.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace undersong::protocol {

// How many slips lead from one word to the other, at most kMostSlips + 1. Case and the difference between "-"
// and
// "_" do not count.
inline constexpr std::size_t kMostSlips = 3;
std::size_t slips(std::string_view a, std::string_view b);

// The known word with the fewest slips, the first of equals; nullopt if that is more than a third of the
// word.
std::optional<std::string> nearest(std::string_view word, const std::vector<std::string_view>& known);

}  // namespace undersong::protocol
