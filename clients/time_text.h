// Times as people type them: "83.4" (seconds) or "1:23.4" (minutes and seconds).
//
// Units: microseconds.
// Threads: pure function; any thread.
// Errors: nullopt if the text is not a time.
#pragma once

#include <charconv>
#include <cstdint>
#include <optional>
#include <string_view>

namespace undersong {

inline std::optional<std::int64_t> time_of(std::string_view text) {
  const auto number = [](std::string_view part, double below) -> std::optional<double> {
    double value = 0;
    const auto [end, error] =
        std::from_chars(part.data(), part.data() + part.size(), value, std::chars_format::fixed);
    if (error != std::errc() || end != part.data() + part.size() || !(value >= 0 && value < below))
      return std::nullopt;
    return value;
  };
  const auto colon = text.find(':');
  double minutes = 0;
  if (colon != std::string_view::npos) {
    const auto whole = number(text.substr(0, colon), 1e5);
    if (!whole || *whole != static_cast<double>(static_cast<int>(*whole))) return std::nullopt;
    minutes = *whole;
  }
  const auto seconds = number(text.substr(colon == std::string_view::npos ? 0 : colon + 1),
                              colon == std::string_view::npos ? 1e6 : 60);
  if (!seconds) return std::nullopt;
  return static_cast<std::int64_t>((minutes * 60 + *seconds) * 1e6 + .5);
}

}  // namespace undersong
