#include "protocol/base64.h"

#include <algorithm>
#include <array>

namespace undersong::protocol {
namespace {

constexpr std::string_view kAlphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
constexpr std::uint8_t kNone = 255;
constexpr std::array<std::uint8_t, 256> kValues = [] {
  std::array<std::uint8_t, 256> out{};
  out.fill(kNone);
  for (std::size_t i = 0; i < kAlphabet.size(); ++i)
    out[static_cast<unsigned char>(kAlphabet[i])] = static_cast<std::uint8_t>(i);
  return out;
}();

}  // namespace

std::string base64(std::span<const std::uint8_t> bytes) {
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t n = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t group = 0;
    for (std::size_t k = 0; k < 3; ++k) group = group << 8 | (k < n ? bytes[i + k] : 0u);
    for (std::size_t k = 0; k < 4; ++k) out += k <= n ? kAlphabet[group >> (18 - 6 * k) & 63] : '=';
  }
  return out;
}

std::optional<std::vector<std::uint8_t>> from_base64(std::string_view text) {
  if (text.size() % 4 != 0) return std::nullopt;
  std::size_t padding = 0;
  while (padding < 2 && padding < text.size() && text[text.size() - 1 - padding] == '=') ++padding;
  std::vector<std::uint8_t> out;
  out.reserve(text.size() / 4 * 3);
  for (std::size_t i = 0; i < text.size(); i += 4) {
    const std::size_t left_out = i + 4 == text.size() ? padding : 0;
    std::uint32_t group = 0;
    for (std::size_t k = 0; k < 4; ++k) {
      const std::uint8_t value =
          k >= 4 - left_out ? std::uint8_t{0} : kValues[static_cast<unsigned char>(text[i + k])];
      if (value == kNone) return std::nullopt;
      group = group << 6 | value;
    }
    if (left_out > 0 && (group & ((1u << 8 * left_out) - 1)) != 0)
      return std::nullopt;  // bits of the last character would be lost
    for (std::size_t k = 0; k < 3 - left_out; ++k)
      out.push_back(static_cast<std::uint8_t>(group >> (16 - 8 * k)));
  }
  return out;
}

}  // namespace undersong::protocol
