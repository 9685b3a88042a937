// Converts C++ structs to JSON and back, using Boost.Describe. The reader ignores unknown members; the writer
// is fast, because it writes the text directly.
//
//   struct Hold { bool on = false; };
//   BOOST_DESCRIBE_STRUCT(Hold, (), (on))
//   Read<Hold> hold = read_text<Hold>(R"({"on":true,"later":1})", "params");  // unknown members are ignored
//   append_json(out, *hold);                                                  // {"on":true}
//
// How C++ types look on the wire:
//   bool, std::string            true/false, string
//   integers, Whole<low, high>   whole numbers (60.0 is read as 60)
//   double, Real<low, high>      numbers; infinity and NaN are written as null
//   std::optional<T>             left out if empty; null is read as empty
//   Nullable<T>                  always written, null if empty; a missing member is read as empty
//   std::vector<T>               array
//   described struct             object; members that are not optional must be present, except those that
//                                the struct names in `kAddedLater`: an older daemon does not send them
//   described enum               string: kTakeBegin is "take_begin"
//   boost::json::value           anything
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: Problem with one sentence that names the member ("params.notes[0].pitch must be ...").
#pragma once

#include <array>
#include <boost/describe.hpp>
#include <boost/json.hpp>
#include <boost/mp11.hpp>
#include <boost/system/result.hpp>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

namespace undersong::protocol {

// What the reader found wrong, in one sentence.
struct Problem {
  std::string sentence;
  int code = 0;  // that of the daemon's answer (rpc_code.h); 0: it did not answer, or it is no answer
};
[[noreturn]] inline void throw_exception_from_error(const Problem& problem, const boost::source_location&) {
  throw std::runtime_error(problem.sentence);
}
template <class T>
using Read = boost::system::result<T, Problem>;

// A whole number from Low to High; the reader refuses numbers outside.
template <std::int64_t Low, std::int64_t High>
struct Whole {
  static constexpr std::int64_t kLow = Low, kHigh = High;
  std::int64_t value = Low > 0 ? Low : 0;
  constexpr Whole() = default;
  constexpr Whole(std::int64_t v) : value(v) {}  // NOLINT: reads as the number it is
  constexpr operator std::int64_t() const { return value; }
};

// A number from Low to High; the reader refuses numbers outside.
template <int Low, int High>
struct Real {
  static constexpr int kLow = Low, kHigh = High;
  double value = 0;
  constexpr Real() = default;
  constexpr Real(double v) : value(v) {}  // NOLINT
  constexpr operator double() const { return value; }
};

// A value that may be null but is always written, so that a message keeps its shape.
template <class T>
struct Nullable : std::optional<T> {
  using std::optional<T>::optional;
};

// ---- kinds of types

template <class T>
struct IsOptional : std::false_type {};
template <class T>
struct IsOptional<std::optional<T>> : std::true_type {};
template <class T>
struct IsNullable : std::false_type {};
template <class T>
struct IsNullable<Nullable<T>> : std::true_type {};
template <class T>
struct IsVector : std::false_type {};
template <class T>
struct IsVector<std::vector<T>> : std::true_type {};
template <class T>
struct IsWhole : std::false_type {};
template <std::int64_t L, std::int64_t H>
struct IsWhole<Whole<L, H>> : std::true_type {};
template <class T>
struct IsReal : std::false_type {};
template <int L, int H>
struct IsReal<Real<L, H>> : std::true_type {};

template <class T>
using MembersOf =
    boost::describe::describe_members<T, boost::describe::mod_public | boost::describe::mod_inherited>;

// Whether the member joined the struct after the version of the protocol began: T::kAddedLater names it. It
// is always written. A reader does without it, so that a client can read what an older daemon sends.
template <class T>
constexpr bool added_later(std::string_view member) {
  if constexpr (requires { T::kAddedLater; })
    for (const std::string_view name : T::kAddedLater)
      if (name == member) return true;
  return false;
}

// "kTakeBegin" -> "take_begin".
std::string wire_name(std::string_view enumerator);

template <class E>
const std::vector<std::pair<E, std::string>>& enum_names() {
  static const auto names = [] {
    std::vector<std::pair<E, std::string>> all;
    boost::mp11::mp_for_each<boost::describe::describe_enumerators<E>>(
        [&](auto d) { all.emplace_back(d.value, wire_name(d.name)); });
    return all;
  }();
  return names;
}

// ---- writing: straight into the string, without a tree

void append_string(std::string& out, std::string_view text);
void append_double(std::string& out, double number);
inline void append_int(std::string& out, std::int64_t number) {
  std::array<char, 24> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  out.append(digits.data(), end);
}
// At most three decimals, without trailing zeros: 0.5, -0.125, 1. For values of about 1; faster than
// append_double.
void append_short(std::string& out, double number);

// `{"name":` or `,"name":`.
void append_name(std::string& out, const char* name, bool& first);

template <class T>
void append_json(std::string& out, const T& value);

// The reader and the writer are made for every member of every message. What can be done without knowing the
// type is done in json.cpp: the compiler then needs half the time.
template <class T, class Member>
void append_member(std::string& out, const T& value, bool& first) {
  const auto& member = value.*Member::pointer;
  if constexpr (IsOptional<std::remove_cvref_t<decltype(member)>>::value)
    if (!member) return;
  append_name(out, Member::name, first);
  append_json(out, member);
}
template <class T, template <class...> class List, class... Members>
void append_members(std::string& out, const T& value, List<Members...>) {
  [[maybe_unused]] bool first = true;
  out += '{';
  (append_member<T, Members>(out, value, first), ...);
  out += '}';
}

template <class T>
void append_json(std::string& out, const T& value) {
  if constexpr (std::is_same_v<T, bool>) {
    out += value ? "true" : "false";
  } else if constexpr (IsWhole<T>::value) {
    append_int(out, value.value);
  } else if constexpr (IsReal<T>::value) {
    append_double(out, value.value);
  } else if constexpr (std::is_same_v<T, std::uint64_t>) {
    std::array<char, 24> digits;
    out.append(digits.data(), std::to_chars(digits.data(), digits.data() + digits.size(), value).ptr);
  } else if constexpr (std::is_integral_v<T>) {
    append_int(out, static_cast<std::int64_t>(value));
  } else if constexpr (std::is_floating_point_v<T>) {
    append_double(out, value);
  } else if constexpr (std::is_same_v<T, std::string> || std::is_same_v<T, std::string_view>) {
    append_string(out, value);
  } else if constexpr (std::is_same_v<T, boost::json::value>) {
    out += boost::json::serialize(value);
  } else if constexpr (IsOptional<T>::value || IsNullable<T>::value) {
    if (value)
      append_json(out, *value);
    else
      out += "null";
  } else if constexpr (IsVector<T>::value) {
    out += '[';
    bool first = true;
    for (const auto& item : value) {
      if (!std::exchange(first, false)) out += ',';
      append_json(out, item);
    }
    out += ']';
  } else if constexpr (std::is_enum_v<T>) {
    for (const auto& [e, name] : enum_names<T>())
      if (e == value) return append_string(out, name);
    out += "null";
  } else {
    static_assert(boost::describe::has_describe_members<T>::value,
                  "describe the struct with BOOST_DESCRIBE_STRUCT");
    append_members(out, value, MembersOf<T>{});
  }
}

template <class T>
std::string to_json(const T& value) {
  std::string out;
  append_json(out, value);
  return out;
}

// ---- reading

// kRefuse: for the params of requests, where an unknown member is a misspelt one, and for tests.
enum class Unknown : std::uint8_t { kIgnore, kRefuse };

namespace detail {

struct Fault {
  std::string path;  // ".notes[0].pitch", built from the inside out
  std::string what;  // "must be ..., not ..."
};
std::string kind_of(const boost::json::value& value);  // "a string", "null" ...
bool read_whole(const boost::json::value& from, std::int64_t low, std::int64_t high, std::int64_t& to,
                Fault& fault);
bool read_natural(const boost::json::value& from, std::uint64_t& to, Fault& fault);
bool read_real(const boost::json::value& from, double low, double high, double& to, Fault& fault);
bool read_bool(const boost::json::value& from, bool& to, Fault& fault);
bool read_string(const boost::json::value& from, std::string& to, Fault& fault);
bool wrong_kind(const boost::json::value& from, std::string_view wanted, Fault& fault);
// One sentence about the whole value of that name.
Problem problem_of(std::string_view name, const Fault& fault);
// The fault lies in that item of an array.
void in_item(std::size_t item, Fault& fault);

// A member of a described struct, and how it is read into the struct at `whole`.
struct MemberRow {
  const char* name;
  bool needed;
  bool (*read)(const boost::json::value& from, void* whole, Fault& fault, Unknown unknown);
};
bool read_members(const boost::json::value& from, void* whole, std::span<const MemberRow> rows, Fault& fault,
                  Unknown unknown);

template <class T>
bool read(const boost::json::value& from, T& to, Fault& fault, Unknown unknown);

template <class T, class Member>
bool read_member(const boost::json::value& from, void* whole, Fault& fault, Unknown unknown) {
  return read(from, static_cast<T*>(whole)->*Member::pointer, fault, unknown);
}
template <class T, class Member>
constexpr bool needs() {
  using M = std::remove_cvref_t<decltype(std::declval<T>().*Member::pointer)>;
  return !IsOptional<M>::value && !IsNullable<M>::value && !added_later<T>(Member::name);
}
template <class T, template <class...> class List, class... Members>
std::span<const MemberRow> rows_of(List<Members...>) {
  if constexpr (sizeof...(Members) == 0) {
    return {};
  } else {
    static constexpr MemberRow kRows[] = {{Members::name, needs<T, Members>(), &read_member<T, Members>}...};
    return kRows;
  }
}

template <class T>
bool read(const boost::json::value& from, T& to, Fault& fault, Unknown unknown) {
  if constexpr (std::is_same_v<T, bool>) {
    return read_bool(from, to, fault);
  } else if constexpr (IsWhole<T>::value) {
    return read_whole(from, T::kLow, T::kHigh, to.value, fault);
  } else if constexpr (IsReal<T>::value) {
    return read_real(from, T::kLow, T::kHigh, to.value, fault);
  } else if constexpr (std::is_same_v<T, std::uint64_t>) {
    return read_natural(from, to, fault);
  } else if constexpr (std::is_integral_v<T>) {
    std::int64_t wide = 0;
    if (!read_whole(from, std::numeric_limits<T>::min(), std::numeric_limits<T>::max(), wide, fault))
      return false;
    to = static_cast<T>(wide);
    return true;
  } else if constexpr (std::is_same_v<T, double>) {
    return read_real(from, -std::numeric_limits<double>::infinity(), std::numeric_limits<double>::infinity(),
                     to, fault);
  } else if constexpr (std::is_same_v<T, std::string>) {
    return read_string(from, to, fault);
  } else if constexpr (std::is_same_v<T, boost::json::value>) {
    to = from;
    return true;
  } else if constexpr (IsOptional<T>::value || IsNullable<T>::value) {
    if (from.is_null()) {
      to.reset();
      return true;
    }
    return read(from, to.emplace(), fault, unknown);
  } else if constexpr (IsVector<T>::value) {
    if (!from.is_array()) return wrong_kind(from, "an array", fault);
    to.clear();
    for (const auto& item : from.get_array()) {
      if (!read(item, to.emplace_back(), fault, unknown)) {
        in_item(to.size() - 1, fault);
        return false;
      }
    }
    return true;
  } else if constexpr (std::is_enum_v<T>) {
    std::string wanted;
    for (const auto& [e, name] : enum_names<T>()) {
      if (from.is_string() && from.get_string() == name) {
        to = e;
        return true;
      }
      wanted += (wanted.empty() ? "" : ", ") + name;
    }
    return wrong_kind(from, "one of " + wanted, fault);
  } else {
    static_assert(boost::describe::has_describe_members<T>::value,
                  "describe the struct with BOOST_DESCRIBE_STRUCT");
    return read_members(from, &to, rows_of<T>(MembersOf<T>{}), fault, unknown);
  }
}

}  // namespace detail

// `name`: what an error sentence calls the whole value, such as "params" or "result".
template <class T>
Read<T> read_value(const boost::json::value& from, std::string_view name,
                   Unknown unknown = Unknown::kIgnore) {
  T to{};
  detail::Fault fault;
  if (detail::read(from, to, fault, unknown)) return to;
  return detail::problem_of(name, fault);
}

// Parses text into a JSON tree; it may be nested 32 levels deep.
Read<boost::json::value> parse(std::string_view text);

template <class T>
Read<T> read_text(std::string_view text, std::string_view name, Unknown unknown = Unknown::kIgnore) {
  auto tree = parse(text);
  if (!tree) return tree.error();
  return read_value<T>(*tree, name, unknown);
}

}  // namespace undersong::protocol
