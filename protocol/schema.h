// The protocol as documents, both made from messages.h: a JSON Schema (draft 2020-12) and the page for
// people.
//
// protocol/schema.json and protocol/PROTOCOL.md are these texts; a test fails when they differ. To write them
// anew:
//   UNDERSONG_REWRITE=1 build/tests/protocol_tests
//
// In the schema, $defs holds every shape by its name, and for each message its whole JSON-RPC form: "NAME
// notification", "NAME request", "NAME response", besides "error response". Unknown members are allowed, as
// readers must allow them.
#pragma once

#include <string>
#include <vector>

namespace undersong::protocol {

std::string schema_json();
std::string protocol_page();

// For tests and tools: every message by name, with the JSON of its examples.
struct MessageInfo {
  std::string method;
  std::string says;
  std::string example;
  std::string reply_example;  // empty for notifications
};
const std::vector<MessageInfo>& notifications();
const std::vector<MessageInfo>& requests();

}  // namespace undersong::protocol
