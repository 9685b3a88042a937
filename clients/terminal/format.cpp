#include "clients/terminal/format.h"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <cctype>
#include <charconv>
#include <cstdlib>
#include <string_view>

#include <array>
#include <ctime>

#include "clients/time_text.h"

namespace undersong::terminal {

std::string duration(protocol::TimeUs length) {
  const auto tenths = length / 100'000;
  return fmt::format("{}:{:02d}.{}", tenths / 600, tenths / 10 % 60, tenths % 10);
}

std::optional<protocol::TimeUs> time_in_take(const std::string& text) {
  return time_of(text);
}

std::string nth(std::uint32_t number) {
  const bool teen = number % 100 > 10 && number % 100 < 14;
  const std::uint32_t last = teen ? 0 : number % 10;
  return std::to_string(number) + (last == 1 ? "st" : last == 2 ? "nd" : last == 3 ? "rd" : "th");
}

std::string local_time(protocol::TimeUtcMs utc) {
  const std::time_t seconds = utc / 1000;
  std::tm local{};
  localtime_r(&seconds, &local);
  return fmt::format("{:%Y-%m-%d %H:%M}", local);
}

std::string beat_words(const protocol::BeatNow& beat) {
  const char* sure = beat.source == protocol::BeatSource::kClock    ? "by the clock"
                     : beat.source == protocol::BeatSource::kTapped ? "as tapped"
                     : beat.confidence > .65                        ? "sure"
                     : beat.confidence > .35                        ? "fairly sure"
                                                                    : "unsure";
  std::string feel;
  if (beat.signature.lower.value != 4) feel = fmt::format(" in {}/8", beat.signature.upper.value);
  if (beat.swing.value > 1) feel += fmt::format(", swung {:.1f} to 1", beat.swing.value);
  return fmt::format("{} a minute, beat {} of {}{}, {}", beat.tempo.value, beat.place.value, beat.meter.value,
                     feel, sure);
}

std::string symbol(const protocol::Chord& chord, protocol::SymbolStyle style) {
  std::string out = chord.root_name;
  for (const auto& part : style == protocol::SymbolStyle::kSigns ? chord.signs : chord.letters) out += part;
  if (chord.bass_name) out += "/" + *chord.bass_name;
  return out;
}

std::string key_text(const std::string& harte) {
  if (harte.ends_with(":maj")) return harte.substr(0, harte.size() - 4) + " major";
  if (harte.ends_with(":min")) return harte.substr(0, harte.size() - 4) + " minor";
  return harte;
}

std::optional<int> pitch_class_of(const std::string& note) {
  int number = 0;
  const char* end = note.data() + note.size();
  if (const auto read = std::from_chars(note.data(), end, number); read.ec == std::errc() && read.ptr == end)
    return number >= 0 && number <= 11 ? std::optional(number) : std::nullopt;
  constexpr std::string_view kLetters = "C D EF G A B";
  if (note.empty()) return std::nullopt;
  const auto place = kLetters.find(static_cast<char>(std::toupper(static_cast<unsigned char>(note[0]))));
  if (place == std::string_view::npos || kLetters[place] == ' ') return std::nullopt;
  number = static_cast<int>(place);
  for (const char sign : note.substr(1)) {
    if (sign != 'b' && sign != '#') return std::nullopt;
    number += sign == '#' ? 1 : -1;
  }
  return (number % 12 + 12) % 12;
}

std::string content_name(const protocol::TakeContent& content, protocol::SymbolStyle style) {
  std::string out;
  for (const auto& chord : content.chords) out += (out.empty() ? "" : " ") + symbol(chord, style);
  return out + (content.times > 1 ? fmt::format(", {} times", content.times) : " ...");
}

bool unicode_terminal() {
  for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"})
    if (const char* value = std::getenv(name); value && *value) {
      const std::string_view locale = value;
      return locale != "C" && locale != "POSIX";
    }
  return true;
}

std::string padded(const std::string& text, std::size_t width) {
  std::size_t columns = 0;
  for (char c : text) columns += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  return columns < width ? text + std::string(width - columns, ' ') : text;
}

std::string clipped(const std::string& text, std::size_t width) {
  std::string out;
  std::size_t columns = 0;
  bool escape = false;
  for (char c : text) {
    const bool first = (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    if (c == '\x1b') escape = true;
    if (!escape && first && columns++ >= width) continue;
    if (!escape && !first && columns > width) continue;
    out += c;
    if (escape && c >= 'A' && c != '[') escape = false;
  }
  return out;
}

}  // namespace undersong::terminal
