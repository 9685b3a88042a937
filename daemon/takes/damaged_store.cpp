#include "daemon/takes/damaged_store.h"

#include <algorithm>

#include "daemon/base/utf8.h"
#include "daemon/listen/tempo.h"

namespace undersong::takes {
namespace {

// A number further than this from those on the same page is damaged. Lines of a take are numbered in a row.
constexpr std::int64_t kNearby = 1'000'000;
constexpr std::int64_t kMostTakes = 100'000'000;

const std::int64_t* number(const RawValue& value) {
  return std::get_if<std::int64_t>(&value);
}

struct FoundLine {
  Line line;
  std::optional<std::int64_t> sum;
};

// Lines have the columns number (which is the row's own), take, at, kind, data and, since layout 6, sum.
std::optional<FoundLine> line_in(RawRow& row) {
  auto& values = row.values;
  if ((values.size() != 5 && values.size() != 6) || !std::holds_alternative<std::monostate>(values[0]))
    return std::nullopt;
  const auto *take = number(values[1]), *at = number(values[2]), *kind = number(values[3]);
  auto* data = std::get_if<RawBlob>(&values[4]);
  if (!take || !at || !kind || !data) return std::nullopt;
  FoundLine out;
  if (row.rowid > 0) out.line.number = static_cast<LineNumber>(row.rowid);
  if (*take < 0 || *take > kMostTakes || *kind < 1 || *kind > static_cast<int>(kLastKind))
    out.line.number = 0;  // damaged
  out.line.take = static_cast<TakeId>(std::max<std::int64_t>(0, *take));
  out.line.at = Micros(*at);
  out.line.kind = static_cast<LineKind>(*kind & 0xFF);
  out.line.data = std::move(data->bytes);
  if (values.size() == 6)
    if (const auto* sum = number(values[5])) out.sum = *sum;
  return out;
}

// See kMigrations in database.cpp for the columns.
std::optional<Summary> take_in(const RawRow& row) {
  const auto& v = row.values;
  if (v.size() != 14 || row.rowid < 1 || row.rowid > kMostTakes) return std::nullopt;
  for (const std::size_t i : {1u, 2u, 3u, 8u, 9u, 10u, 11u, 12u, 13u})
    if (!number(v[i])) return std::nullopt;
  const auto *title = std::get_if<std::string>(&v[5]), *annotation = std::get_if<std::string>(&v[6]);
  if (!title || !annotation) return std::nullopt;
  Summary out;
  out.take = static_cast<TakeId>(row.rowid);
  out.begin_utc_ms = *number(v[1]);
  out.at = listen::near_enough(Micros(*number(v[2])));
  out.last_at = listen::near_enough(Micros(*number(v[3])));
  out.title = as_utf8(*title);
  out.annotation = as_utf8(*annotation);
  out.deleted = *number(v[11]) == 1;
  return out;
}

std::optional<std::pair<std::string, std::string>> about_in(const RawRow& row) {
  if (row.values.size() != 2) return std::nullopt;
  const auto *name = std::get_if<std::string>(&row.values[0]),
             *value = std::get_if<std::string>(&row.values[1]);
  if (!name || !value) return std::nullopt;
  return std::pair{*name, *value};
}

}  // namespace

Result<DamagedStore> DamagedStore::open(const std::filesystem::path& path) {
  auto pages = PageReader::open(path);
  if (!pages) return pages.error();
  return DamagedStore(std::move(*pages));
}

DamagedStore::Piece DamagedStore::piece(std::uint32_t page) const {
  Piece out;
  std::vector<FoundLine> found;
  for (RawRow& row : pages_.rows(page)) {
    if (auto line = line_in(row))
      found.push_back(std::move(*line));
    else if (auto take = take_in(row))
      out.takes.push_back(std::move(*take));
    else if (auto about = about_in(row))
      out.about.push_back(std::move(*about));
  }
  if (found.empty()) return out;
  std::vector<LineNumber> numbers;
  for (const FoundLine& each : found) numbers.push_back(each.line.number);
  std::nth_element(numbers.begin(), numbers.begin() + static_cast<std::ptrdiff_t>(numbers.size() / 2),
                   numbers.end());
  const auto middle = static_cast<std::int64_t>(numbers[numbers.size() / 2]);
  for (FoundLine& each : found) {
    const bool near = each.sum || std::abs(static_cast<std::int64_t>(each.line.number) - middle) <= kNearby;
    if (each.line.number != 0 && near && is_sound(each.line, each.sum) && is_whole(each.line))
      out.lines.push_back(std::move(each.line));
    else
      ++out.damaged;
  }
  return out;
}

DamagedStore::Highest DamagedStore::highest() const {
  Highest out;
  for (std::uint32_t page = 1; page <= pages_.count(); ++page) {
    const Piece found = piece(page);
    for (const Line& line : found.lines) {
      out.line = std::max(out.line, line.number);
      out.take = std::max(out.take, line.take);
    }
    for (const Summary& take : found.takes) out.take = std::max(out.take, take.take);
  }
  return out;
}

std::optional<DamagedStore::Piece> DamagedStore::next() {
  if (at_ >= pages_.count()) return std::nullopt;
  return piece(++at_);
}

}  // namespace undersong::takes
