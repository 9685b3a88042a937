#include "protocol/schema.h"

#include <algorithm>
#include <boost/core/type_name.hpp>
#include <boost/mp11.hpp>

#include "protocol/messages.h"

namespace undersong::protocol {
namespace {

namespace json = boost::json;
// What a member or a message is, as far as the schema and the page tell. Only this is made from the C++
// types; what follows works on it, so that the compiler has little to do.
struct Type;
using TypeOf = const Type& (*)();
struct Member {
  const char* name;
  TypeOf type;
  bool later;  // it joined its shape after the version of the protocol began
};
struct Type {
  enum class Kind : std::uint8_t {
    kBool,
    kWhole,
    kReal,
    kNatural,
    kInteger,
    kNumber,
    kText,
    kNullable,
    kOptional,
    kArray,
    kWords,
    kShape
  } kind;
  std::int64_t low = 0, high = 0;  // kWhole, kReal
  TypeOf of = nullptr;             // kNullable, kOptional, kArray
  std::vector<std::string> words{};
  std::string name{},
      says{};  // kShape; `says` is empty if it only has that of its base, which is shown there
  std::vector<TypeOf> bases{};
  std::vector<Member> members{};  // without those of the bases
};

std::string last_name(std::string name) {
  return name.substr(name.rfind(':') + 1);
}

template <class T>
const Type& type_of();

template <class T, class Base>
constexpr bool has_says_of() {
  if constexpr (requires { Base::kSays; }) return &T::kSays == &Base::kSays;
  return false;
}

template <class T, template <class...> class Bases, class... Base, template <class...> class Members,
          class... M>
Type shape(Bases<Base...>, Members<M...>) {
  Type type{Type::Kind::kShape};
  type.name = last_name(boost::core::type_name<T>());
  if constexpr (requires { T::kSays; })
    if constexpr (!(has_says_of<T, typename Base::type>() || ...)) type.says = T::kSays;
  type.bases = {&type_of<typename Base::type>...};
  type.members = {Member{M::name, &type_of<std::remove_cvref_t<decltype(std::declval<T>().*M::pointer)>>,
                         added_later<T>(M::name)}...};
  return type;
}

template <class T>
Type make_type() {
  using Kind = Type::Kind;
  if constexpr (std::is_same_v<T, bool>) {
    return {Kind::kBool};
  } else if constexpr (IsWhole<T>::value) {
    return {Kind::kWhole, T::kLow, T::kHigh};
  } else if constexpr (IsReal<T>::value) {
    return {Kind::kReal, T::kLow, T::kHigh};
  } else if constexpr (std::is_integral_v<T>) {
    return {std::is_unsigned_v<T> ? Kind::kNatural : Kind::kInteger};
  } else if constexpr (std::is_floating_point_v<T>) {
    return {Kind::kNumber};
  } else if constexpr (std::is_same_v<T, std::string>) {
    return {Kind::kText};
  } else if constexpr (IsNullable<T>::value) {
    return {Kind::kNullable, 0, 0, &type_of<typename T::value_type>};
  } else if constexpr (IsOptional<T>::value) {
    return {Kind::kOptional, 0, 0, &type_of<typename T::value_type>};
  } else if constexpr (IsVector<T>::value) {
    return {Kind::kArray, 0, 0, &type_of<typename T::value_type>};
  } else if constexpr (std::is_enum_v<T>) {
    Type type{Kind::kWords};
    for (const auto& [e, name] : enum_names<T>()) type.words.push_back(name);
    return type;
  } else {
    return shape<T>(boost::describe::describe_bases<T, boost::describe::mod_public>{},
                    boost::describe::describe_members<T, boost::describe::mod_public>{});
  }
}

template <class T>
const Type& type_of() {
  static const Type type = make_type<T>();
  return type;
}

struct Message {
  const char *method, *says, *example, *reply_example;
  TypeOf params, reply;
  bool joined;  // after this version of the protocol began
};
template <class T>
constexpr bool joined_later() {
  if constexpr (requires { T::kJoined; }) return T::kJoined;
  return false;
}
const std::vector<Message>& all_notifications() {
  static const auto all = []<class... T>(boost::mp11::mp_list<T...>) {
    return std::vector{
        Message{T::kMethod, T::kSays, T::kExample, "", &type_of<T>, nullptr, joined_later<T>()}...};
  }(boost::mp11::mp_rename<Notifications, boost::mp11::mp_list>{});
  return all;
}
const std::vector<Message>& all_requests() {
  static const auto all = []<class... T>(boost::mp11::mp_list<T...>) {
    return std::vector{Message{T::kMethod, T::kSays, T::kExample, T::kReplyExample, &type_of<T>,
                               &type_of<typename T::Reply>, joined_later<T>()}...};
  }(boost::mp11::mp_rename<Requests, boost::mp11::mp_list>{});
  return all;
}

std::string joined(const std::vector<std::string>& parts, std::string_view between) {
  std::string all;
  for (const std::string& part : parts) all += (all.empty() ? "" : std::string(between)) + part;
  return all;
}

std::string notation(const Type& type) {
  switch (type.kind) {
    case Type::Kind::kBool: return "true/false";
    case Type::Kind::kWhole: return std::to_string(type.low) + ".." + std::to_string(type.high);
    case Type::Kind::kReal: return std::to_string(type.low) + ".0.." + std::to_string(type.high) + ".0";
    case Type::Kind::kNatural:
    case Type::Kind::kInteger: return "whole";
    case Type::Kind::kNumber: return "number";
    case Type::Kind::kText: return "text";
    case Type::Kind::kNullable: return notation(type.of()) + " or null";
    case Type::Kind::kOptional: return notation(type.of());
    case Type::Kind::kArray: return "[" + notation(type.of()) + "]";
    case Type::Kind::kWords: return joined(type.words, " | ");
    case Type::Kind::kShape: return type.name;
  }
  return {};
}

// "{ at: whole }"; for a shape with a base, "Chord and { at: whole }".
std::string members(const Type& shape) {
  std::vector<std::string> own, others;
  for (const Member& each : shape.members) {
    const Type& type = each.type();
    own.push_back(each.name + std::string(type.kind == Type::Kind::kOptional ? "?: " : ": ") +
                  notation(type));
  }
  for (const TypeOf base : shape.bases) others.push_back(base().name);
  const std::string all = own.empty() ? "{}" : "{ " + joined(own, ", ") + " }";
  if (others.empty()) return all;
  return joined(others, " and ") + (own.empty() ? "" : " and " + all);
}

// What joined the shape after this version of the protocol began, or nothing.
std::string history(const Type& shape, bool params = false) {
  std::vector<std::string> names;
  for (const Member& each : shape.members)
    if (each.later) names.push_back("`" + std::string(each.name) + "`");
  if (names.empty()) return {};
  return std::string(" Added within version ") + std::to_string(kProtocolVersion) +
         (params ? ", so an older daemon refuses or ignores it: " : ", so an older daemon leaves it out: ") +
         joined(names, ", ") + ".";
}

std::string joined_of(const Message& message) {
  if (!message.joined) return {};
  return " The request joined within version " + std::to_string(kProtocolVersion) +
         ": an older daemon answers -32601.";
}

// The schemas of types. Shapes found on the way are collected in order.
struct Shapes {
  json::object definitions;  // JSON Schema by name
  std::vector<const Type*> in_order;

  json::value schema(const Type& type) {
    switch (type.kind) {
      case Type::Kind::kBool: return {{"type", "boolean"}};
      case Type::Kind::kWhole: return {{"type", "integer"}, {"minimum", type.low}, {"maximum", type.high}};
      case Type::Kind::kReal: return {{"type", "number"}, {"minimum", type.low}, {"maximum", type.high}};
      case Type::Kind::kNatural: return {{"type", "integer"}, {"minimum", 0}};
      case Type::Kind::kInteger: return {{"type", "integer"}};
      case Type::Kind::kNumber: return {{"type", "number"}};
      case Type::Kind::kText: return {{"type", "string"}};
      case Type::Kind::kNullable:
        return {{"anyOf", json::array{schema(type.of()), json::object{{"type", "null"}}}}};
      case Type::Kind::kOptional: return schema(type.of());
      case Type::Kind::kArray: return {{"type", "array"}, {"items", schema(type.of())}};
      case Type::Kind::kWords: return {{"enum", json::array(type.words.begin(), type.words.end())}};
      case Type::Kind::kShape: define(type); return {{"$ref", "#/$defs/" + type.name}};
    }
    return {};
  }

  void add_members(const Type& shape, json::object& properties, json::array& required) {
    for (const TypeOf base : shape.bases) add_members(base(), properties, required);
    for (const Member& each : shape.members) {
      properties[each.name] = schema(each.type());
      if (each.type().kind != Type::Kind::kOptional) required.emplace_back(each.name);
    }
  }

  void define(const Type& type) {
    if (definitions.contains(type.name)) return;
    for (const TypeOf base : type.bases) define(base());
    definitions[type.name] = nullptr;  // takes its place before the shapes it contains
    json::object properties;
    json::array required;
    add_members(type, properties, required);
    json::object shape{{"type", "object"}};
    if (!type.says.empty()) shape["description"] = type.says;
    shape["properties"] = std::move(properties);
    if (!required.empty()) shape["required"] = std::move(required);
    definitions[type.name] = std::move(shape);
    in_order.push_back(&type);
  }
};

json::object object_schema(json::object properties, json::array required) {
  return {{"type", "object"}, {"properties", std::move(properties)}, {"required", std::move(required)}};
}

json::value fixed(std::string_view text) {
  return {{"const", text}};
}

const json::value& id_schema() {
  static const json::value id{{"type", json::array{"string", "number", "null"}}};
  return id;
}

Shapes all_shapes() {
  Shapes shapes;
  for (const Message& each : all_notifications()) shapes.define(each.params());
  for (const Message& each : all_requests()) {
    shapes.define(each.params());
    shapes.define(each.reply());
  }
  return shapes;
}

void pretty(std::string& out, const json::value& value, std::size_t indent) {
  const std::string pad(indent + 1, ' ');
  const std::string flat = json::serialize(value);
  if (!value.is_structured() || flat.size() + indent < 100) {
    out += flat;
  } else if (value.is_array()) {
    out += "[\n";
    const auto& array = value.get_array();
    for (std::size_t i = 0; i < array.size(); ++i) {
      out += pad;
      pretty(out, array[i], indent + 1);
      out += i + 1 < array.size() ? ",\n" : "\n";
    }
    out += std::string(indent, ' ') + "]";
  } else {
    out += "{\n";
    std::size_t left = value.get_object().size();
    for (const auto& [key, member] : value.get_object()) {
      out += pad + json::serialize(json::string(key)) + ": ";
      pretty(out, member, indent + 1);
      out += --left != 0 ? ",\n" : "\n";
    }
    out += std::string(indent, ' ') + "}";
  }
}

std::vector<MessageInfo> infos(const std::vector<Message>& messages) {
  std::vector<MessageInfo> all;
  for (const Message& each : messages)
    all.push_back({each.method, each.says, each.example, each.reply_example});
  return all;
}

// Breaks a long example at commas, so that the page can be read.
std::string wrapped(std::string_view text) {
  std::string out;
  std::size_t column = 0;
  for (const char c : text) {
    out += c;
    if (++column > 100 && c == ',') {
      out += "\n  ";
      column = 2;
    }
  }
  return out;
}

std::string fmt_row(std::string_view name, std::string_view says_it) {
  return "- `" + std::string(name) + "`: " + std::string(says_it) + ".\n";
}

constexpr const char* kPageHead = R"(# The protocol

Generated from `messages.h`, `song_messages.h`, `device_messages.h` and `shapes.h`; `schema.json` has the same for programs.

`undersongd` speaks JSON-RPC 2.0. On the Unix socket `$XDG_RUNTIME_DIR/undersong/socket`, a message is a line that ends in a
newline. On the WebSocket `ws://127.0.0.1:PORT/socket`, it is a text message. Both carry the same messages. A message to the
daemon has at most 64 KB, a batch at most 256 requests.

A program opens the WebSocket without an `Origin` header. At 127.0.0.1 that is enough; elsewhere it shows a token. A browser sends
`Origin`, and only the daemon's own page is let in, so that no web site can listen to you.

A client may have 32 requests in progress at a time; each request of a batch counts. Further requests, and all that the client
sends after them, wait until earlier ones are answered. If the answers to a batch exceed 1 MB, its requests that have not
begun are answered with -32004. So is a request whose answer does not fit beside the answers that the client has not read yet
(at most 16 MB).

How a connection ends:

| what happened | on the Unix socket | on the WebSocket |
|---|---|---|
| a message has more than 64 KB | an error -32600, then the end | closed with code 1009 |
| 64 clients are connected already | an error -32004, then the end | HTTP 503 |
| more than 8 visitors have shown no token | | the oldest of them is closed with code 1001 |
| the Host, Origin or token is not accepted | | HTTP 403 |
| too many wrong tokens from this address | | HTTP 429; the text says how long to wait |
| a device is no longer paired, or the daemon stops | the end | closed with code 1001 |
| the other side answers no ping for five minutes | | closed |

A client that reads slowly is not disconnected: it receives fewer moments, and its log waits.

Who may do what: the Unix socket, and the page at the port of this machine alone, belong to **the player at this machine**, who
needs no token. Whoever comes over the network shows a token first: that of the configuration, or that of a paired device. Then
all requests are answered but those named `device.` and `store.`: only the player at this machine may pair, list and revoke
devices, open the port for them, and copy or replace the file of takes (-32005). A program of any user of this machine counts as at this machine. A token travels in `hello`, or as
`Authorization: Bearer TOKEN` when a program opens the WebSocket; the page's code carries it behind the # of the address, which
browsers never send.

- **Times** named `at` or `since`, and names that end in `_us`, are whole microseconds of the daemon's monotonic clock; names
  that end in `_utc_ms` are milliseconds since 1970, UTC. **Pitches** are MIDI keys, 60 = C4; **pitch classes** are 0..11,
  0 = C. A **chord** is sent as parts. A client builds the symbol from them in the style of the settings: `root_name`, the
  texts of `letters` or `signs`, then a slash and `bass_name` if there is one. `harte` is the whole chord for programs (Harte,
  Sandler, Abdallah & Gomez 2005).
- **State** (`moment`, `status`): a slow client receives only the newest.
- **Log** (`log`): log lines are numbered 1, 2, 3 ... across all takes, with no gaps. You receive a line only after it is
  saved. You can request any line again.
- Ignore members that you do not know. Members written `name?` may be left out; null means the same.
- **What stays**: within a version of the protocol no message, member, word or number changes its meaning, and none is taken
  away. New messages and members may join. A client written for an older daemon of this version works with a newer one. A newer
  client works with an older daemon if it does without the members that are marked below as added, and looks at the
  capabilities. A change that breaks this raises `protocol` in `welcome`.
- The daemon may answer in any order: match answers by `id`. Requests without `id` are carried out and not answered.
- Params are named. The daemon refuses a param that it does not know, by its name, because it is probably misspelt. Error codes: -32700 not JSON, -32600 not a request, -32601 no such method, -32602 wrong params (the
  message names the member), -32603 an internal error, -32000 token needed, -32001 not found, -32002 not available now,
  -32003 changed since it was read or held by another client, -32004 a limit is reached, or the disk is full,
  -32005 only the player at this machine may do that.

**Open Sound Control.** With `port` under `[osc]` in the configuration, what sounds goes out over UDP as well, for lights and
pictures; nothing is asked and nothing answered. Each change is one bundle with all of these, so whoever missed one is right again
with the next. Texts are empty and numbers -1 where there is nothing to say.

| address | arguments |
|---|---|
| `/undersong/chord` | symbol; root 0..11; bass 0..11; 1 while it sounds |
| `/undersong/melody` | name of the newest melody note; its key; its degree in the chord |
| `/undersong/colour` | -1.0 dark .. 1.0 bright; 0.0 resolved .. 1.0 tense |
| `/undersong/key` | name |
| `/undersong/beat` | beats a minute; beat in the bar, from 1; beats a bar |
| `/undersong/best` | symbol of the first chord of the list |

In the notation below, `whole` is a whole number, `0..127` a whole number in that range, and `0.0..1.0` any number in that
range.
)";

}  // namespace

const std::vector<MessageInfo>& notifications() {
  static const auto all = infos(all_notifications());
  return all;
}

const std::vector<MessageInfo>& requests() {
  static const auto all = infos(all_requests());
  return all;
}

std::string schema_json() {
  Shapes shapes = all_shapes();
  json::object definitions = shapes.definitions;
  json::array any;
  const auto add = [&](const std::string& name, json::object schema) {
    definitions[name] = std::move(schema);
    any.push_back(json::object{{"$ref", "#/$defs/" + name}});
  };
  for (const Message& each : all_notifications()) {
    add(std::string(each.method) + " notification", object_schema({{"jsonrpc", fixed("2.0")},
                                                                   {"method", fixed(each.method)},
                                                                   {"params", shapes.schema(each.params())}},
                                                                  {"jsonrpc", "method", "params"}));
  }
  for (const Message& each : all_requests()) {
    json::array needed{"jsonrpc", "method"};
    if (definitions[each.params().name].as_object().contains("required")) needed.emplace_back("params");
    add(std::string(each.method) + " request", object_schema({{"jsonrpc", fixed("2.0")},
                                                              {"method", fixed(each.method)},
                                                              {"params", shapes.schema(each.params())},
                                                              {"id", id_schema()}},
                                                             std::move(needed)));
    add(std::string(each.method) + " response",
        object_schema(
            {{"jsonrpc", fixed("2.0")}, {"result", shapes.schema(each.reply())}, {"id", id_schema()}},
            {"jsonrpc", "result", "id"}));
  }
  const json::value error = object_schema(
      {{"code", {{"type", "integer"}}}, {"message", {{"type", "string"}}}}, {"code", "message"});
  add("error response", object_schema({{"jsonrpc", fixed("2.0")}, {"error", error}, {"id", id_schema()}},
                                      {"jsonrpc", "error", "id"}));
  json::object root{{"$schema", "https://json-schema.org/draft/2020-12/schema"},
                    {"title", "Undersong protocol"},
                    {"description", "Generated from protocol/messages.h."},
                    {"anyOf", std::move(any)},
                    {"$defs", std::move(definitions)}};
  std::string out;
  pretty(out, root, 0);
  return out + "\n";
}

std::string protocol_page() {
  Shapes shapes = all_shapes();
  std::vector<std::string> own;  // shapes shown with their message
  std::string page = kPageHead;
  page += "\n## What a daemon can do\n\n`welcome` lists the capabilities of the daemon:\n\n";
  for (const auto& [name, says_it] : kCapabilities) page += fmt_row(name, says_it);
  page += "\n## What the daemon sends by itself\n";
  for (const Message& each : all_notifications()) {
    own.push_back(each.params().name);
    page += std::string("\n### ") + each.method + "\n" + each.says + history(each.params()) +
            "\n```\nparams " + members(each.params()) + "\n```\n```json\n" +
            wrapped(std::string(R"({"jsonrpc":"2.0","method":")") + each.method + R"(","params":)" +
                    each.example + "}") +
            "\n```\n";
  }
  page += "\n## What a client may ask\n";
  for (const Message& each : all_requests()) {
    own.push_back(each.params().name);
    page += std::string("\n### ") + each.method + "\n" + each.says + joined_of(each) +
            history(each.params(), true) + "\n```\nparams " + members(each.params()) + "\nresult " +
            each.reply().name + "\n```\n```json\n" +
            wrapped(std::string(R"({"jsonrpc":"2.0","id":1,"method":")") + each.method + R"(","params":)" +
                    each.example + "}") +
            "\n" + wrapped(std::string(R"({"jsonrpc":"2.0","id":1,"result":)") + each.reply_example + "}") +
            "\n```\n";
  }
  page += "\n## Shapes\n";
  for (const Type* shape : shapes.in_order) {
    if (std::find(own.begin(), own.end(), shape->name) != own.end()) continue;
    const std::string says_it = shape->says + history(*shape);
    page += "\n**" + shape->name + "**" + (says_it.empty() ? "" : " " + says_it) + "\n```\n" +
            members(*shape) + "\n```\n";
  }
  return page;
}

}  // namespace undersong::protocol
