// Bytes as base64 text, and back. Files travel in messages in this form.
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: from_base64 returns nullopt for text that is not base64 with its padding.
// Source: RFC 4648, section 4.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace undersong::protocol {

std::string base64(std::span<const std::uint8_t> bytes);
std::optional<std::vector<std::uint8_t>> from_base64(std::string_view text);

}  // namespace undersong::protocol
