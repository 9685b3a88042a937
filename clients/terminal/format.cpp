#include "clients/terminal/format.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <array>
#include <ctime>

namespace undersong::terminal {

std::string duration(protocol::TimeUs length) {
  const auto tenths = length / 100'000;
  return fmt::format("{}:{:02d}.{}", tenths / 600, tenths / 10 % 60, tenths % 10);
}

std::string local_time(protocol::TimeUtcMs utc) {
  const std::time_t seconds = utc / 1000;
  std::tm local{};
  localtime_r(&seconds, &local);
  return fmt::format("{:%Y-%m-%d %H:%M}", local);
}

std::string dark_bright_word(double value) {
  return value < -0.45 ? "very dark" : value < -0.15 ? "dark" : value < 0.15 ? "neutral" : value < 0.45 ? "bright" : "very bright";
}

std::string resolved_tense_word(double value) {
  // In a key chords lie between about .1 and .9, half of them above .7.
  return value < 0.45 ? "at rest" : value < 0.62 ? "mild" : value < 0.78 ? "leaning" : "tense";
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
