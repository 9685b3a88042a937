#include "daemon/takes/find_reader.h"

#include <sqlite3.h>

#include <algorithm>
#include <limits>
#include <optional>

#include "daemon/takes/about_reader.h"
#include "daemon/takes/database.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"

namespace undersong::takes {
namespace {

constexpr const char* kPrinted =
    " FROM takes JOIN find_prints ON find_prints.take = takes.take WHERE deleted = 0 AND ended IS NOT NULL "
    "AND "
    "version = ?";

std::string_view bytes_of(const SQLite::Column& blob) {
  return {static_cast<const char*>(blob.getBlob()), static_cast<std::size_t>(blob.getBytes())};
}

}  // namespace

TakeId fill_find_shelf(SQLite::Database& file, FindShelf& shelf, TakeId after, std::size_t most) {
  SQLite::Statement query(file, std::string("SELECT takes.take, lines") + kPrinted +
                                    " AND takes.take > ? ORDER BY takes.take LIMIT ?");
  query.bind(1, kFindVersion);
  query.bind(2, signed_of(after));
  query.bind(3, signed_of(most));
  TakeId last = 0;
  std::size_t read = 0;
  for (; query.executeStep(); ++read) {
    last = static_cast<TakeId>(query.getColumn(0).getInt64());
    FindLines row{last, {}};
    const SQLite::Column blob = query.getColumn(1);
    if (unpack_lines(bytes_of(blob), row.lines))
      shelf.put(std::move(row));  // a damaged row is as good as none
  }
  return read < most ? 0 : last;
}

std::unique_ptr<FindShelf> read_find_shelf(SQLite::Database& file) {
  auto shelf = std::make_unique<FindShelf>();
  fill_find_shelf(file, *shelf, 0, std::numeric_limits<std::int64_t>::max());
  return shelf;
}

std::uint64_t count_unprinted(SQLite::Database& file) {
  SQLite::Statement query(file,
                          "SELECT count(*) FROM takes LEFT JOIN find_prints ON find_prints.take = takes.take "
                          "WHERE deleted = 0 AND ended IS NOT NULL AND ifnull(version, 0) <> ?");
  query.bind(1, kFindVersion);
  query.executeStep();
  return static_cast<std::uint64_t>(query.getColumn(0).getInt64());
}

FoundPlaces find_on_shelf(SQLite::Database& file, const FindShelf& shelf, const FindQuery& query,
                          std::optional<FindEffort> effort) {
  // One transaction, so that the file is locked once and the pages that were read stay good.
  std::optional<SQLite::Transaction> reading;
  if (sqlite3_get_autocommit(file.getHandle())) reading.emplace(file);
  SQLite::Statement notes(file, "SELECT notes FROM find_notes WHERE take = ?");
  const auto read_notes = [&](TakeId take) -> std::optional<std::vector<FindNote>> {
    notes.reset();
    notes.bind(1, signed_of(take));
    if (!notes.executeStep()) return std::nullopt;
    const SQLite::Column blob = notes.getColumn(0);
    return unpack_notes(bytes_of(blob));
  };
  FoundPlaces out;
  SQLite::Statement about(file, "SELECT title, begin_utc_ms FROM takes WHERE take = ?");
  AboutReader names(file);
  for (FoundTake& found :
       find_takes(query, shelf, read_notes, kMostFoundTakes, effort.value_or(usual_effort(shelf.size())))) {
    about.reset();
    about.bind(1, signed_of(found.take));
    if (!about.executeStep()) continue;
    out.places.push_back({found, text_of(about.getColumn(0)), {}, about.getColumn(1).getInt64()});
    FoundPlace& place = out.places.back();
    if (place.title.empty()) place.content = names.content(found.take);
  }
  out.takes = shelf.size();
  // To look at every print for its version would take longer than the search.
  SQLite::Statement ended(file, "SELECT count(*) FROM takes WHERE deleted = 0 AND ended IS NOT NULL");
  ended.executeStep();
  const auto count = static_cast<std::uint64_t>(ended.getColumn(0).getInt64());
  out.unprinted = count - std::min(count, out.takes);
  return out;
}

Result<FindFile> FindFile::open(const std::filesystem::path& path) {
  std::error_code failed;
  if (!std::filesystem::exists(path, failed))
    return not_found("There is no file of takes " + path.string() + ".");
  try {
    FindFile out;
    out.path_ = path;
    out.file_ = std::make_unique<SQLite::Database>(path.string(), SQLite::OPEN_READONLY, 1000);
    if (out.file_->execAndGet("PRAGMA application_id").getInt() != kApplicationId)
      return invalid_input(path.string() + " is not a file of takes.");
    if (const int layout = out.file_->execAndGet("PRAGMA user_version").getInt(); layout != kLayoutVersion)
      return Error{
          ErrorCode::kConflict,
          "The file of takes " + path.string() + " has layout " + std::to_string(layout) +
              ", and this undersong reads layout " + std::to_string(kLayoutVersion) +
              (layout < kLayoutVersion ? "; start undersongd once, which brings it up to date." : ".")};
    return out;
  } catch (const SQLite::Exception& e) {
    return unavailable(sentence_of(e, path));
  }
}

Result<FoundPlaces> FindFile::find(const FindQuery& query) {
  try {
    if (!shelf_) shelf_ = read_find_shelf(*file_);
    return find_on_shelf(*file_, *shelf_, query);
  } catch (const SQLite::Exception& e) {
    return unavailable(sentence_of(e, path_));
  }
}

}  // namespace undersong::takes
