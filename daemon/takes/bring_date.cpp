#include "daemon/takes/bring_date.h"

#include <algorithm>
#include <ctime>
#include <optional>
#include <regex>

namespace undersong::takes {
namespace {

std::optional<std::int64_t> date_in_name(const std::string& name) {
  static const std::regex kDate(
      R"((?:^|[^0-9])((?:19|20)[0-9]{2})([-_.]?)([01][0-9])\2([0-3][0-9])(?:[T _.-]+([0-2][0-9])[-_.:h]?([0-5][0-9])(?:[-_.:m]?([0-5][0-9]))?)?(?![0-9]))");
  std::smatch found;
  if (!std::regex_search(name, found, kDate)) return std::nullopt;
  const auto number = [&](std::size_t i, int otherwise) {
    return found[i].matched ? std::stoi(found[i].str()) : otherwise;
  };
  std::tm when{};
  when.tm_year = number(1, 0) - 1900;
  when.tm_mon = number(3, 1) - 1;
  when.tm_mday = number(4, 1);
  when.tm_hour = number(5, 12);
  when.tm_min = number(6, 0);
  when.tm_sec = number(7, 0);
  when.tm_isdst = -1;
  const std::tm wanted = when;
  const std::time_t time = std::mktime(&when);
  if (time == -1 || when.tm_mon != wanted.tm_mon || when.tm_mday != wanted.tm_mday || wanted.tm_hour > 23)
    return std::nullopt;
  return std::int64_t{time} * 1000;
}

}  // namespace

std::int64_t date_brought(const std::string& name, std::int64_t changed_utc_ms, std::int64_t now_utc_ms) {
  return std::min(date_in_name(name).value_or(changed_utc_ms), now_utc_ms);
}

}  // namespace undersong::takes
