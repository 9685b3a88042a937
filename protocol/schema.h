// The protocol as documents generated from messages.h: a JSON Schema (draft 2020-12) for programs, and a page
// for people.
//
// The texts are stored as protocol/schema.json and protocol/PROTOCOL.md; a test fails if they differ. To
// write them again:
//   UNDERSONG_REWRITE=1 build/tests/protocol_tests
//
// In the schema, $defs has every struct by its name. For each message it has the whole JSON-RPC form, named
// "NAME notification", or "NAME request" and "NAME response"; errors are "error response". Unknown members
// are allowed, because readers must ignore them.
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: none.
#pragma once

#include <string>
#include <vector>

namespace undersong::protocol {

std::string schema_json();
std::string protocol_page();

// For tests and tools: every message by name, with its examples as JSON.
struct MessageInfo {
  std::string method;
  std::string says;
  std::string example;
  std::string reply_example;  // empty for notifications
};
const std::vector<MessageInfo>& notifications();
const std::vector<MessageInfo>& requests();

}  // namespace undersong::protocol
