#include "protocol/messages.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <map>
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

// What PROTOCOL.md says joined: the sentence "Added within version ..." under the heading that begins so.
std::string told_as_added(const std::string& page, const std::string& heading) {
  const auto begin = page.find("\n" + heading);
  if (begin == std::string::npos) return {};
  const std::string section = page.substr(begin, page.find("\n```\n", begin) - begin);
  const auto added = section.find("Added within version");
  return added == std::string::npos ? std::string() : section.substr(added);
}

TEST(Messages, NothingOfThisVersionHasGoneAndWhatJoinedIsSaid) {
  namespace json = boost::json;
  std::ifstream file(std::string(UNDERSONG_SOURCE_DIR) + "/tests/protocol/version_2_begins.json");
  std::stringstream text;
  text << file.rdbuf();
  const json::object begins = json::parse(text.str()).as_object();
  const json::value schema = json::parse(schema_json());
  const json::object& now = schema.at("$defs").as_object();
  const std::string page = protocol_page();

  std::map<std::string, std::string> heading;  // of a shape
  std::size_t joined = 0;
  for (const char* kind : {"request", "notification"}) {
    const json::array& known = begins.at(std::string(kind) + "s").as_array();
    for (const json::value& method : known)
      EXPECT_TRUE(now.contains(std::string(method.as_string()) + " " + kind)) << method << " has gone";
    for (const auto& [name, message] : now) {
      if (!name.ends_with(std::string(" ") + kind)) continue;
      const std::string method = std::string(name).substr(0, name.rfind(' '));
      const std::string shape(message.at("properties").at("params").at("$ref").as_string());
      heading[shape.substr(shape.rfind('/') + 1)] = "### " + method + "\n";
      const bool is_new = std::none_of(known.begin(), known.end(),
                                       [&](const json::value& each) { return each.as_string() == method; });
      const auto at = page.find("\n### " + method + "\n");
      ASSERT_NE(at, std::string::npos) << method;
      const std::string section = page.substr(at, page.find("\n```\n", at) - at);
      EXPECT_EQ(section.find("joined within version") != std::string::npos, is_new) << method;
      joined += is_new;
    }
  }
  EXPECT_GE(joined, 18u);
  for (const auto& [name, members] : begins.at("shapes").as_object()) {
    ASSERT_TRUE(now.contains(name)) << name << " has gone";
    const json::object& properties = now.at(name).at("properties").as_object();
    const json::array& known = members.as_array();
    for (const json::value& member : known)
      EXPECT_TRUE(properties.contains(member.as_string())) << name << "." << member << " has gone";
    if (name == "Log") continue;  // what joined it joined LogLine
    const auto own = heading.find(std::string(name));
    const std::string told =
        told_as_added(page, own == heading.end() ? "**" + std::string(name) + "**" : own->second);
    for (const auto& [member, type] : properties) {
      const bool is_new = std::find(known.begin(), known.end(), member) == known.end();
      EXPECT_EQ(told.find("`" + std::string(member) + "`") != std::string::npos, is_new)
          << name << "." << member << ": " << told;
    }
  }
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
