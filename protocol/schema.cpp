#include "protocol/schema.h"

#include <algorithm>
#include <boost/core/type_name.hpp>
#include <boost/mp11.hpp>

#include "protocol/messages.h"

namespace undersong::protocol {
namespace {

namespace json = boost::json;
using boost::mp11::mp_for_each;
using boost::mp11::mp_identity;
using boost::mp11::mp_transform;

template <class T>
std::string shape_name() {
  std::string name = boost::core::type_name<T>();
  return name.substr(name.rfind(':') + 1);
}

template <class T>
using BasesOf = boost::describe::describe_bases<T, boost::describe::mod_public>;

// The description of a shape; empty if it only has that of its base, which is shown there.
template <class T>
std::string says() {
  bool own = true;
  if constexpr (requires { T::kSays; }) {
    mp_for_each<BasesOf<T>>([&](auto base) {
      using Base = typename decltype(base)::type;
      if constexpr (requires { Base::kSays; }) own = own && &T::kSays != &Base::kSays;
    });
    if (own) return T::kSays;
  }
  return {};
}

// Walks over a type and returns its schema or its short notation. Shapes found on the way are collected in
// order.
struct Shapes {
  json::object definitions;                       // JSON Schema by name
  std::vector<std::array<std::string, 3>> notes;  // name, says, notation

  template <class T>
  json::value schema() {
    if constexpr (std::is_same_v<T, bool>) {
      return {{"type", "boolean"}};
    } else if constexpr (IsWhole<T>::value) {
      return {{"type", "integer"}, {"minimum", T::kLow}, {"maximum", T::kHigh}};
    } else if constexpr (IsReal<T>::value) {
      return {{"type", "number"}, {"minimum", T::kLow}, {"maximum", T::kHigh}};
    } else if constexpr (std::is_integral_v<T> && std::is_unsigned_v<T>) {
      return {{"type", "integer"}, {"minimum", 0}};
    } else if constexpr (std::is_integral_v<T>) {
      return {{"type", "integer"}};
    } else if constexpr (std::is_floating_point_v<T>) {
      return {{"type", "number"}};
    } else if constexpr (std::is_same_v<T, std::string>) {
      return {{"type", "string"}};
    } else if constexpr (IsNullable<T>::value) {
      return {{"anyOf", json::array{schema<typename T::value_type>(), json::object{{"type", "null"}}}}};
    } else if constexpr (IsOptional<T>::value) {
      return schema<typename T::value_type>();
    } else if constexpr (IsVector<T>::value) {
      return {{"type", "array"}, {"items", schema<typename T::value_type>()}};
    } else if constexpr (std::is_enum_v<T>) {
      json::array names;
      for (const auto& [e, name] : enum_names<T>()) names.emplace_back(name);
      return {{"enum", names}};
    } else {
      define<T>();
      return {{"$ref", "#/$defs/" + shape_name<T>()}};
    }
  }

  template <class T>
  std::string notation() {
    if constexpr (std::is_same_v<T, bool>)
      return "true/false";
    else if constexpr (IsWhole<T>::value)
      return std::to_string(T::kLow) + ".." + std::to_string(T::kHigh);
    else if constexpr (IsReal<T>::value)
      return std::to_string(T::kLow) + ".0.." + std::to_string(T::kHigh) + ".0";
    else if constexpr (std::is_integral_v<T>)
      return "whole";
    else if constexpr (std::is_floating_point_v<T>)
      return "number";
    else if constexpr (std::is_same_v<T, std::string>)
      return "text";
    else if constexpr (IsNullable<T>::value)
      return notation<typename T::value_type>() + " or null";
    else if constexpr (IsOptional<T>::value)
      return notation<typename T::value_type>();
    else if constexpr (IsVector<T>::value)
      return "[" + notation<typename T::value_type>() + "]";
    else if constexpr (std::is_enum_v<T>) {
      std::string all;
      for (const auto& [e, name] : enum_names<T>()) all += (all.empty() ? "" : " | ") + name;
      return all;
    } else
      return shape_name<T>();
  }

  // "Added later: `a`, `b`.", or nothing.
  template <class T>
  static std::string history() {
    std::string names;
    mp_for_each<boost::describe::describe_members<T, boost::describe::mod_public>>([&](auto d) {
      if (added_later<T>(d.name)) names += (names.empty() ? "`" : ", `") + std::string(d.name) + "`";
    });
    return names.empty() ? names
                         : " Added within version 2, so an older daemon leaves it out: " + names + ".";
  }

  // "{ at: whole }"; for a shape with a base, "Chord and { at: whole }".
  template <class T>
  std::string members() {
    std::string all, others;
    mp_for_each<boost::describe::describe_members<T, boost::describe::mod_public>>([&](auto d) {
      using M = std::remove_cvref_t<decltype(std::declval<T>().*d.pointer)>;
      all += std::string(all.empty() ? "" : ", ") + d.name + (IsOptional<M>::value ? "?: " : ": ") +
             notation<M>();
    });
    mp_for_each<BasesOf<T>>([&](auto base) {
      others += (others.empty() ? "" : " and ") + shape_name<typename decltype(base)::type>();
    });
    if (others.empty()) return all.empty() ? "{}" : "{ " + all + " }";
    return others + (all.empty() ? "" : " and { " + all + " }");
  }

  template <class T>
  void define() {
    const std::string name = shape_name<T>();
    if (definitions.contains(name)) return;
    mp_for_each<BasesOf<T>>([&](auto base) { define<typename decltype(base)::type>(); });
    definitions[name] = nullptr;  // takes its place before the shapes it contains
    json::object properties;
    json::array required;
    mp_for_each<MembersOf<T>>([&](auto d) {
      using M = std::remove_cvref_t<decltype(std::declval<T>().*d.pointer)>;
      properties[d.name] = schema<M>();
      if (!IsOptional<M>::value) required.emplace_back(d.name);
    });
    json::object shape{{"type", "object"}};
    if (!says<T>().empty()) shape["description"] = says<T>();
    shape["properties"] = std::move(properties);
    if (!required.empty()) shape["required"] = std::move(required);
    definitions[name] = std::move(shape);
    notes.push_back({name, says<T>() + history<T>(), members<T>()});
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
  mp_for_each<mp_transform<mp_identity, Notifications>>(
      [&](auto id) { shapes.define<typename decltype(id)::type>(); });
  mp_for_each<mp_transform<mp_identity, Requests>>([&](auto id) {
    shapes.define<typename decltype(id)::type>();
    shapes.define<typename decltype(id)::type::Reply>();
  });
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

template <class List>
std::vector<MessageInfo> infos() {
  std::vector<MessageInfo> all;
  mp_for_each<mp_transform<mp_identity, List>>([&](auto id) {
    using T = typename decltype(id)::type;
    MessageInfo info{T::kMethod, T::kSays, T::kExample, {}};
    if constexpr (requires { T::kReplyExample; }) info.reply_example = T::kReplyExample;
    all.push_back(std::move(info));
  });
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
  static const auto all = infos<Notifications>();
  return all;
}

const std::vector<MessageInfo>& requests() {
  static const auto all = infos<Requests>();
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
  mp_for_each<mp_transform<mp_identity, Notifications>>([&](auto id) {
    using T = typename decltype(id)::type;
    add(std::string(T::kMethod) + " notification",
        object_schema(
            {{"jsonrpc", fixed("2.0")}, {"method", fixed(T::kMethod)}, {"params", shapes.schema<T>()}},
            {"jsonrpc", "method", "params"}));
  });
  mp_for_each<mp_transform<mp_identity, Requests>>([&](auto id) {
    using T = typename decltype(id)::type;
    json::array needed{"jsonrpc", "method"};
    if (definitions[shape_name<T>()].as_object().contains("required")) needed.emplace_back("params");
    add(std::string(T::kMethod) + " request", object_schema({{"jsonrpc", fixed("2.0")},
                                                             {"method", fixed(T::kMethod)},
                                                             {"params", shapes.schema<T>()},
                                                             {"id", id_schema()}},
                                                            std::move(needed)));
    add(std::string(T::kMethod) + " response",
        object_schema(
            {{"jsonrpc", fixed("2.0")}, {"result", shapes.schema<typename T::Reply>()}, {"id", id_schema()}},
            {"jsonrpc", "result", "id"}));
  });
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
  mp_for_each<mp_transform<mp_identity, Notifications>>([&](auto id) {
    using T = typename decltype(id)::type;
    own.push_back(shape_name<T>());
    page += std::string("\n### ") + T::kMethod + "\n" + T::kSays + Shapes::history<T>() + "\n```\nparams " +
            shapes.members<T>() + "\n```\n```json\n" +
            wrapped(std::string(R"({"jsonrpc":"2.0","method":")") + T::kMethod + R"(","params":)" +
                    T::kExample + "}") +
            "\n```\n";
  });
  page += "\n## What a client may ask\n";
  mp_for_each<mp_transform<mp_identity, Requests>>([&](auto id) {
    using T = typename decltype(id)::type;
    own.push_back(shape_name<T>());
    page += std::string("\n### ") + T::kMethod + "\n" + T::kSays + "\n```\nparams " + shapes.members<T>() +
            "\nresult " + shape_name<typename T::Reply>() + "\n```\n```json\n" +
            wrapped(std::string(R"({"jsonrpc":"2.0","id":1,"method":")") + T::kMethod + R"(","params":)" +
                    T::kExample + "}") +
            "\n" + wrapped(std::string(R"({"jsonrpc":"2.0","id":1,"result":)") + T::kReplyExample + "}") +
            "\n```\n";
  });
  page += "\n## Shapes\n";
  for (const auto& [name, says_it, members] : shapes.notes) {
    if (std::find(own.begin(), own.end(), name) != own.end()) continue;
    page += "\n**" + name + "**" + (says_it.empty() ? "" : " " + says_it) + "\n```\n" + members + "\n```\n";
  }
  return page;
}

}  // namespace undersong::protocol
