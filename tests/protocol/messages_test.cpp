#include "protocol/messages.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <set>
#include <sstream>

#include "protocol/schema.h"

namespace undersong::protocol {
namespace {

using boost::mp11::mp_for_each;
using boost::mp11::mp_identity;
using boost::mp11::mp_transform;

// Reading an example and writing it again gives the same tree, and no member of it is unknown.
template <class T>
void expect_round_trip(const std::string& text, const std::string& name) {
  const auto value = read_text<T>(text, name, Unknown::kRefuse);
  ASSERT_TRUE(value) << name << ": " << value.error().sentence;
  EXPECT_EQ(*parse(to_json(*value)), *parse(text)) << name;
}

TEST(Messages, EveryExampleReadsAndWritesBackAsItWas) {
  std::size_t seen = 0;
  mp_for_each<mp_transform<mp_identity, Notifications>>([&](auto id) {
    using T = typename decltype(id)::type;
    expect_round_trip<T>(T::kExample, T::kMethod);
    ++seen;
  });
  mp_for_each<mp_transform<mp_identity, Requests>>([&](auto id) {
    using T = typename decltype(id)::type;
    expect_round_trip<T>(T::kExample, T::kMethod);
    expect_round_trip<typename T::Reply>(T::kReplyExample, std::string(T::kMethod) + " reply");
    ++seen;
  });
  EXPECT_EQ(seen, notifications().size() + requests().size());
}

TEST(Messages, NamesAreDistinctAndDescribed) {
  std::set<std::string> names;
  for (const auto* list : {&notifications(), &requests()})
    for (const auto& info : *list) {
      EXPECT_TRUE(names.insert(info.method).second) << info.method;
      EXPECT_GT(info.says.size(), 10u) << info.method;
    }
  EXPECT_TRUE(names.contains("moment"));
  EXPECT_TRUE(names.contains("take.events"));
}

TEST(Messages, WelcomeShowsWhatADaemonCanDo) {
  const auto shown = read_text<Welcome>(Welcome::kExample, "example");
  ASSERT_TRUE(shown);
  std::vector<std::string> all;
  for (const auto& capability : kCapabilities) all.emplace_back(capability.name);
  EXPECT_EQ(shown->capabilities, all);
  EXPECT_EQ(shown->protocol, static_cast<std::uint32_t>(kProtocolVersion));
}

// A newer client reads what an older daemon of the same version of the protocol sends.
TEST(Messages, WhatTheFirstDaemonOfThisVersionSentIsStillRead) {
  std::ifstream file(std::string(UNDERSONG_SOURCE_DIR) + "/tests/protocol/earlier_messages.json");
  std::stringstream text;
  text << file.rdbuf();
  const auto earlier = parse(text.str());
  ASSERT_TRUE(earlier);
  const auto& notes = earlier->at("notifications").as_object();
  const auto& replies = earlier->at("replies").as_object();
  std::size_t read = 0;
  mp_for_each<mp_transform<mp_identity, Notifications>>([&](auto id) {
    using T = typename decltype(id)::type;
    const auto* message = notes.if_contains(T::kMethod);
    if (!message) return;
    const auto value = read_value<T>(*message, T::kMethod);
    EXPECT_TRUE(value) << value.error().sentence;
    ++read;
  });
  mp_for_each<mp_transform<mp_identity, Requests>>([&](auto id) {
    using T = typename decltype(id)::type;
    const auto* message = replies.if_contains(T::kMethod);
    if (!message) return;
    const auto value = read_value<typename T::Reply>(*message, T::kMethod);
    EXPECT_TRUE(value) << value.error().sentence;
    ++read;
  });
  EXPECT_EQ(read, notes.size() + replies.size()) << "a message of this version has gone";
}

// The names in kAddedLater are members; a misspelt one would make nothing optional.
TEST(Messages, WhatWasAddedLaterIsStillWritten) {
  const auto beat = to_json(BeatNow());
  for (const char* name : BeatNow::kAddedLater)
    EXPECT_NE(beat.find(std::string("\"") + name + "\":"), std::string::npos);
  const auto settings = to_json(Settings());
  for (const char* name : Settings::kAddedLater)
    EXPECT_NE(settings.find(std::string("\"") + name + "\":"), std::string::npos);
}

void expect_file(const std::string& name, const std::string& wanted) {
  const std::string path = std::string(UNDERSONG_SOURCE_DIR) + "/protocol/" + name;
  if (std::getenv("UNDERSONG_REWRITE") != nullptr) std::ofstream(path) << wanted;
  std::ifstream file(path);
  std::stringstream text;
  text << file.rdbuf();
  EXPECT_TRUE(text.str() == wanted) << path
                                    << " is not what messages.h says; write it anew with UNDERSONG_REWRITE=1 "
                                    << "in the environment of this test.";
}

TEST(Messages, SchemaFileIsGeneratedFromThem) {
  expect_file("schema.json", schema_json());
}
TEST(Messages, PageIsGeneratedFromThem) {
  expect_file("PROTOCOL.md", protocol_page());
}

TEST(Schema, EveryReferenceIsDefined) {
  const auto root = *parse(schema_json());
  const auto& definitions = root.at("$defs").as_object();
  std::vector<const boost::json::value*> open{&root};
  std::size_t references = 0;
  while (!open.empty()) {
    const auto* value = open.back();
    open.pop_back();
    if (const auto* object = value->if_object()) {
      for (const auto& [key, member] : *object) {
        if (key == "$ref") {
          const std::string name(member.as_string().subview(8));
          EXPECT_TRUE(definitions.contains(name)) << name;
          ++references;
        }
        open.push_back(&member);
      }
    } else if (const auto* array = value->if_array()) {
      for (const auto& item : *array) open.push_back(&item);
    }
  }
  EXPECT_GT(references, 50u);
}

}  // namespace
}  // namespace undersong::protocol
