// Error codes: those of JSON-RPC 2.0, and Undersong's own in the range that JSON-RPC leaves to servers.
//
// Units: none.
// Threads: constants.
// Errors: none.
// Source: JSON-RPC 2.0 specification, section 5.1 (the codes from -32700 to -32600).
#pragma once

#include <cstdint>

namespace undersong::protocol {

// The numbers never change.
enum class RpcCode : std::int32_t {
  kParseError = -32700,
  kInvalidRequest = -32600,
  kMethodNotFound = -32601,
  kInvalidParams = -32602,
  kInternalError = -32603,
  kTokenNeeded = -32000,
  kNotFound = -32001,     // no such take, list or output
  kUnavailable = -32002,  // not now: no store, no output, or no take is being played
  kConflict = -32003,     // it has changed since it was read, or another client holds it
  kExhausted = -32004,    // the disk or a documented limit is full
  kOnlyLocal = -32005,    // only the player at this machine may do that
};

}  // namespace undersong::protocol
