#include "protocol/json.h"

#include <algorithm>
#include <cctype>

#include "protocol/nearest.h"

namespace undersong::protocol {

std::string wire_name(std::string_view enumerator) {
  if (enumerator.size() > 1 && enumerator[0] == 'k') enumerator.remove_prefix(1);
  std::string name;
  for (const char c : enumerator) {
    const auto u = static_cast<unsigned char>(c);
    if (std::isupper(u) && !name.empty()) name += '_';
    name += static_cast<char>(std::tolower(u));
  }
  return name;
}

void append_name(std::string& out, const char* name, bool& first) {
  out += first ? "\"" : ",\"";
  out += name;
  out += "\":";
  first = false;
}

void append_string(std::string& out, std::string_view text) {
  constexpr char kHex[] = "0123456789abcdef";
  out += '"';
  std::size_t start = 0;  // of the characters that need no escape
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    if (c >= 0x20 && c != '"' && c != '\\') continue;
    out.append(text, start, i - start);
    start = i + 1;
    switch (c) {
      case '"': out += "\\\""; break;
      case '\\': out += "\\\\"; break;
      case '\n': out += "\\n"; break;
      case '\r': out += "\\r"; break;
      case '\t': out += "\\t"; break;
      default:
        out += "\\u00";
        out += kHex[c >> 4];
        out += kHex[c & 15];
    }
  }
  out.append(text, start, text.size() - start);
  out += '"';
}

void append_double(std::string& out, double number) {
  if (!std::isfinite(number)) {
    out += "null";
    return;
  }
  if (number == 0) number = 0;  // -0 would be read back as a whole number without its sign
  std::array<char, 40> digits;
  out.append(digits.data(), std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr);
}

void append_short(std::string& out, double number) {
  if (!(std::abs(number) < 1e9)) return append_double(out, number);
  const auto thousandths = std::llround(number * 1000);
  auto rest = thousandths < 0 ? -thousandths : thousandths;
  if (thousandths < 0) out += '-';
  append_int(out, rest / 1000);
  rest %= 1000;
  if (rest == 0) return;
  const std::array<char, 4> tail{'.', static_cast<char>('0' + rest / 100),
                                 static_cast<char>('0' + rest / 10 % 10), static_cast<char>('0' + rest % 10)};
  out.append(tail.data(), rest % 10 != 0 ? 4 : rest % 100 != 0 ? 3 : 2);
}

Read<boost::json::value> parse(std::string_view text) {
  boost::system::error_code failed;
  boost::json::parse_options options;
  options.max_depth = 32;
  boost::json::stream_parser parser({}, options);  // unlike parse(), it tells where it stopped
  const std::size_t used = parser.write_some(text.data(), text.size(), failed);
  if (!failed && used < text.size()) failed = boost::json::error::extra_data;
  if (!failed) parser.finish(failed);
  if (failed)
    return Problem{"The text is not JSON: " + failed.message() + " near byte " + std::to_string(used) + "."};
  return parser.release();
}

namespace detail {

std::string kind_of(const boost::json::value& value) {
  switch (value.kind()) {
    case boost::json::kind::null: return "null";
    case boost::json::kind::bool_: return value.get_bool() ? "true" : "false";
    case boost::json::kind::string: {
      const auto& text = value.get_string();
      return text.size() <= 40 ? boost::json::serialize(value)
                               : "a string of " + std::to_string(text.size()) + " bytes";
    }
    case boost::json::kind::array: return "an array";
    case boost::json::kind::object: return "an object";
    default: return boost::json::serialize(value);
  }
}

Problem problem_of(std::string_view name, const Fault& fault) {
  return {std::string(name) + fault.path + " " + fault.what + (fault.what.ends_with('?') ? "" : ".")};
}

void in_item(std::size_t item, Fault& fault) {
  fault.path = "[" + std::to_string(item) + "]" + fault.path;
}

namespace {

// Names the first member of `object` that is not known, and the known one that is spelled most like it.
void name_unknown(const boost::json::object& object, std::span<const MemberRow> rows, Fault& fault) {
  std::vector<std::string_view> known;
  known.reserve(rows.size());
  for (const MemberRow& row : rows) known.emplace_back(row.name);
  for (const auto& [name, value] : object) {
    if (std::find(known.begin(), known.end(), std::string_view(name)) != known.end()) continue;
    fault.path = "." + std::string(name);
    const auto meant = nearest(std::string(name), known);
    fault.what = "is not known" + (meant ? "; did you mean " + *meant + "?" : std::string());
    return;
  }
}

}  // namespace

bool read_members(const boost::json::value& from, void* whole, std::span<const MemberRow> rows, Fault& fault,
                  Unknown unknown) {
  if (!from.is_object()) return wrong_kind(from, "an object", fault);
  const auto& object = from.get_object();
  std::size_t known = 0;
  for (const MemberRow& row : rows) {
    const auto* found = object.if_contains(row.name);
    if (found == nullptr) {
      if (!row.needed) continue;
      fault.path = std::string(".") + row.name;
      fault.what = "is missing";
      return false;
    }
    ++known;
    if (!row.read(*found, whole, fault, unknown)) {
      fault.path = "." + std::string(row.name) + fault.path;
      return false;
    }
  }
  if (unknown == Unknown::kIgnore || known == object.size()) return true;
  name_unknown(object, rows, fault);
  return false;
}

bool wrong_kind(const boost::json::value& from, std::string_view wanted, Fault& fault) {
  fault.what = "must be " + std::string(wanted) + ", not " + kind_of(from);
  return false;
}

namespace {

// A JSON number as a whole number; nullopt if it is not whole or does not fit.
std::optional<std::int64_t> whole(const boost::json::value& from) {
  if (const auto* i = from.if_int64()) return *i;
  if (const auto* d = from.if_double())
    if (std::abs(*d) <= 9007199254740992.0 && *d == std::floor(*d)) return static_cast<std::int64_t>(*d);
  return std::nullopt;
}

}  // namespace

bool read_whole(const boost::json::value& from, std::int64_t low, std::int64_t high, std::int64_t& to,
                Fault& fault) {
  const auto number = whole(from);
  if (number && *number >= low && *number <= high) {
    to = *number;
    return true;
  }
  std::string wanted = "a whole number";
  if (low != std::numeric_limits<std::int64_t>::min() || high != std::numeric_limits<std::int64_t>::max())
    wanted += " from " + std::to_string(low) + " to " + std::to_string(high);
  return wrong_kind(from, wanted, fault);
}

bool read_natural(const boost::json::value& from, std::uint64_t& to, Fault& fault) {
  if (const auto* u = from.if_uint64()) {
    to = *u;
    return true;
  }
  const auto number = whole(from);
  if (!number || *number < 0) return wrong_kind(from, "a whole number from 0", fault);
  to = static_cast<std::uint64_t>(*number);
  return true;
}

bool read_real(const boost::json::value& from, double low, double high, double& to, Fault& fault) {
  if (from.is_number()) {
    to = from.to_number<double>();
    if (std::isfinite(to) && to >= low && to <= high) return true;
  }
  std::string wanted = "a number";
  if (std::isfinite(low))
    wanted += " from " + std::to_string(std::lround(low)) + " to " + std::to_string(std::lround(high));
  return wrong_kind(from, wanted, fault);
}

bool read_bool(const boost::json::value& from, bool& to, Fault& fault) {
  if (!from.is_bool()) return wrong_kind(from, "true or false", fault);
  to = from.get_bool();
  return true;
}

bool read_string(const boost::json::value& from, std::string& to, Fault& fault) {
  if (!from.is_string()) return wrong_kind(from, "a string", fault);
  to.assign(from.get_string().begin(), from.get_string().end());
  return true;
}

}  // namespace detail
}  // namespace undersong::protocol
