#include "protocol/nearest.h"

#include <algorithm>
#include <cctype>

namespace undersong::protocol {
namespace {

char plain(char c) {
  return c == '_' ? '-' : static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
}

}  // namespace

std::size_t slips(std::string_view a, std::string_view b) {
  constexpr std::size_t kFar = kMostSlips + 1;
  if (std::max(a.size(), b.size()) > std::min(a.size(), b.size()) + kMostSlips) return kFar;
  // The last three rows of the table of distances between the beginnings of both words.
  std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const bool same = plain(a[i - 1]) == plain(b[j - 1]);
      row[j] = std::min({row[j - 1] + 1, last[j] + 1, last[j - 1] + (same ? 0 : 1)});
      if (i > 1 && j > 1 && plain(a[i - 1]) == plain(b[j - 2]) && plain(a[i - 2]) == plain(b[j - 1]))
        row[j] = std::min(row[j], before[j - 2] + 1);
    }
    before.swap(last);
    last.swap(row);
  }
  return std::min(last[b.size()], kFar);
}

std::optional<std::string> nearest(std::string_view word, const std::vector<std::string_view>& known) {
  const std::size_t most = std::clamp<std::size_t>(word.size() / 3, 1, kMostSlips);
  std::optional<std::string> found;
  std::size_t fewest = most + 1;
  for (const std::string_view candidate : known)
    if (const std::size_t count = slips(word, candidate); count < fewest) {
      fewest = count;
      found = std::string(candidate);
    }
  return found;
}

}  // namespace undersong::protocol
