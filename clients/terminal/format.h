// Formats times, beats and chords as text for several commands.
//
// Units: microseconds; milliseconds since 1970, UTC; widths in columns of the terminal.
// Threads: pure functions; call them from any thread. local_time uses the time zone of the machine.
// Errors: none, except that time_in_take returns nullopt for text that is not a time.
#pragma once

#include <optional>
#include <string>

#include "protocol/shapes.h"

namespace undersong::terminal {

// "1:23.4", minutes and seconds.
std::string duration(protocol::TimeUs length);
// Reads "83.4" (seconds) or "1:23.4" (minutes and seconds); nullopt if the text is not a time.
std::optional<protocol::TimeUs> time_in_take(const std::string& text);
// "1st", "2nd", "13th".
std::string nth(std::uint32_t number);
// "2026-03-01 17:20", local time.
std::string local_time(protocol::TimeUtcMs utc);
// "96 a minute, beat 3 of 4, fairly sure", "..., by the clock".
std::string beat_words(const protocol::BeatNow& beat);
// The symbol of a chord: "Cm7b5/Gb", or with signs "Cø7/Gb".
std::string symbol(const protocol::Chord& chord, protocol::SymbolStyle style);
// "Eb minor" for the key "Eb:min"; other text stays.
std::string key_text(const std::string& harte);
// Reads a note by its name, such as G or Db, or as a number 0..11; nullopt if it is neither.
std::optional<int> pitch_class_of(const std::string& note);
// What a take without a title is called by: "Ebmaj9 Cm7 Abmaj7 G7sus4, 10 times".
std::string content_name(const protocol::TakeContent& content, protocol::SymbolStyle style);
// Whether the terminal can show more than ASCII, by the usual variables of the locale. A new system often has
// none; a terminal of today then still shows UTF-8, so only the plain locales "C" and "POSIX" say no.
bool unicode_terminal();
// Appends spaces up to a width in columns (not bytes, because symbols may contain signs).
std::string padded(const std::string& text, std::size_t width);
// Cuts the text to at most `width` columns; escape sequences take none.
std::string clipped(const std::string& text, std::size_t width);

}  // namespace undersong::terminal
