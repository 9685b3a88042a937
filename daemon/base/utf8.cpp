#include "daemon/base/utf8.h"

namespace undersong {
namespace {

// How many bytes the well-formed sequence at `at` has; 0 if none begins there.
std::size_t sequence_at(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) {
    return at + i < text.size() ? static_cast<unsigned char>(text[at + i]) : 0u;
  };
  const auto within = [&](std::size_t i, unsigned low, unsigned high) {
    return byte(i) >= low && byte(i) <= high;
  };
  const unsigned first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return within(1, 0x80, 0xBF) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF)
    return within(1, first == 0xE0 ? 0xA0 : 0x80, first == 0xED ? 0x9F : 0xBF) && within(2, 0x80, 0xBF) ? 3
                                                                                                        : 0;
  if (first >= 0xF0 && first <= 0xF4)
    return within(1, first == 0xF0 ? 0x90 : 0x80, first == 0xF4 ? 0x8F : 0xBF) && within(2, 0x80, 0xBF) &&
                   within(3, 0x80, 0xBF)
               ? 4
               : 0;
  return 0;
}

}  // namespace

bool is_utf8(std::string_view text) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t size = sequence_at(text, at);
    if (size == 0) return false;
    at += size;
  }
  return true;
}

std::string as_utf8(std::string text) {
  if (is_utf8(text)) return text;
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t size = sequence_at(text, at);
    out += size == 0 ? std::string("\xEF\xBF\xBD") : text.substr(at, size);
    at += size == 0 ? 1 : size;
  }
  return out;
}

}  // namespace undersong
