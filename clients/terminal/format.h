// Small pieces of text that several commands print.
#pragma once

#include <optional>
#include <string>

#include "protocol/shapes.h"

namespace undersong::terminal {

// "1:23.4", minutes and seconds.
std::string duration(protocol::TimeUs length);
// The other way: "83.4" and "1:23.4"; nothing when it is no time.
std::optional<protocol::TimeUs> time_in_take(const std::string& text);
// "1st", "2nd", "13th".
std::string nth(std::uint32_t number);
// "2026-03-01 17:20", local time.
std::string local_time(protocol::TimeUtcMs utc);
// "96 a minute, beat 3 of 4, fairly sure", "..., by the clock".
std::string beat_words(const protocol::BeatNow& beat);
// A chord's symbol: "Cm7b5/Gb", "Cø7/Gb".
std::string symbol(const protocol::Chord& chord, protocol::SymbolStyle style);
// Columns, not bytes: symbols may hold signs.
std::string padded(const std::string& text, std::size_t width);
// At most so many columns; escape sequences take none.
std::string clipped(const std::string& text, std::size_t width);

}  // namespace undersong::terminal
