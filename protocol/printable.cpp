#include "protocol/printable.h"

#include <algorithm>
#include <string_view>

namespace undersong::protocol {
namespace {

// How many bytes the control character at `at` has; 0 if there is none.
std::size_t control_at(std::string_view text, std::size_t at) {
  const auto byte = static_cast<unsigned char>(text[at]);
  if (byte == '\r' && at + 1 < text.size() && text[at + 1] == '\n') return 0;  // a line of a file
  if ((byte < 0x20 && byte != '\n' && byte != '\t') || byte == 0x7F) return 1;
  if (byte != 0xC2 || at + 1 == text.size()) return 0;
  const auto next = static_cast<unsigned char>(text[at + 1]);
  return next >= 0x80 && next < 0xA0 ? 2 : 0;
}

bool is_printable(std::string_view text) {
  for (std::size_t at = 0; at < text.size(); ++at)
    if (control_at(text, at) > 0) return false;
  return true;
}

}  // namespace

std::string printable(std::string text) {
  if (is_printable(text)) return text;
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t control = control_at(text, at);
    if (control > 0)
      out += "\xEF\xBF\xBD";
    else
      out += text[at];
    at += std::max<std::size_t>(control, 1);
  }
  return out;
}

void make_printable(boost::json::value& value) {
  if (auto* text = value.if_string()) {
    const std::string_view now(text->data(), text->size());
    if (!is_printable(now)) *text = printable(std::string(now));
  } else if (auto* array = value.if_array()) {
    for (auto& each : *array) make_printable(each);
  } else if (auto* object = value.if_object()) {
    for (auto& each : *object) make_printable(each.value());
  }
}

}  // namespace undersong::protocol
