// The codes of errors: JSON-RPC 2.0's own, and ours in the range that it leaves to servers.
#pragma once

#include <cstdint>

namespace undersong::protocol {

// Their numbers never change.
enum class RpcCode : std::int32_t {
  kParseError = -32700,
  kInvalidRequest = -32600,
  kMethodNotFound = -32601,
  kInvalidParams = -32602,
  kInternalError = -32603,
  kTokenNeeded = -32000,
  kNotFound = -32001,     // no such take, list, output
  kUnavailable = -32002,  // not now: store or output isn't there, no take is being played
  kConflict = -32003,     // something changed in between, or another holds it
  kExhausted = -32004,    // disk or a stated bound is full
};

}  // namespace undersong::protocol
