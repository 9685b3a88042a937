// The frame of a notification: its head, its params and its end.
//
// Units: bytes. Threads: pure functions. Errors: none but exhausted memory.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "daemon/server/buffer.h"

namespace undersong::server {

inline constexpr std::string_view kMomentHead = R"({"jsonrpc":"2.0","method":"moment","params":)";
inline constexpr std::string_view kStatusHead = R"({"jsonrpc":"2.0","method":"status","params":)";
inline constexpr std::string_view kLogHead = R"({"jsonrpc":"2.0","method":"log","params":)";
inline constexpr std::string_view kTail = "}\n";

// `room`: about how long the whole will be. `append(text)` appends the params.
template <class Append>
Buffer message(std::string_view head, std::size_t room, Append append) {
  auto text = std::make_shared<std::string>();
  text->reserve(room);
  text->append(head);
  append(*text);
  text->append(kTail);
  return text;
}

}  // namespace undersong::server
