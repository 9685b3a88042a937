// The part of Database that keeps find prints, looks takes up by what somebody played, and adds takes that
// were played elsewhere.
#include <algorithm>
#include <utility>

#include "daemon/takes/database.h"
#include "daemon/takes/find_reader.h"
#include "daemon/takes/played_notes.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"

namespace undersong::takes {

void Database::keep_find_print(TakeId take) {
  const auto about = summary(take);
  if (!about) return;
  const auto notes = played_notes(midi(take)).notes;
  std::vector<HeardNote> melody;
  // By number, because the rows have no index by take.
  SQLite::Statement sung(
      file_, "SELECT at, pitch FROM melody WHERE number BETWEEN ?2 AND ?3 AND take = ?1 ORDER BY at, number");
  sung.bind(1, signed_of(take));
  sung.bind(2, signed_of(about->first_line));
  sung.bind(3, signed_of(about->last_line));
  while (sung.executeStep())
    melody.push_back({Micros(sung.getColumn(0).getInt64()), Pitch(sung.getColumn(1).getInt())});
  std::vector<KeptChord> chords;
  SQLite::Statement stated(file_, "SELECT at, harte FROM statements WHERE take = ? ORDER BY place");
  stated.bind(1, signed_of(take));
  while (stated.executeStep())
    chords.push_back({Micros(stated.getColumn(0).getInt64()), text_of(stated.getColumn(1))});
  FindPrint print = find_print(about->at, notes, melody, chords, about->last_at);
  const std::string lines = packed_lines(print), packed = packed_notes(print.notes);
  SQLite::Statement keep(file_, "INSERT OR REPLACE INTO find_prints VALUES (?, ?, ?, ?)");
  keep.bind(1, signed_of(take));
  keep.bind(2, kFindVersion);
  keep.bind(3, content_of(print.notes));
  keep.bind(4, lines.data(), static_cast<int>(lines.size()));
  keep.exec();
  SQLite::Statement all(file_, "INSERT OR REPLACE INTO find_notes VALUES (?, ?)");
  all.bind(1, signed_of(take));
  all.bind(2, packed.data(), static_cast<int>(packed.size()));
  all.exec();
  if (about->deleted) return;
  print.notes.clear();
  printed_.push_back({take, std::move(print)});
}

void Database::commit(SQLite::Transaction& group) {
  group.commit();
  for (FindLines& print : std::exchange(printed_, {})) desk_->put(std::move(print));
}

std::uint64_t Database::make_find_prints(std::size_t most) {
  std::vector<TakeId> missing;
  {
    SQLite::Statement query(
        file_,
        "SELECT takes.take FROM takes LEFT JOIN find_prints ON find_prints.take = takes.take "
        "WHERE ended IS NOT NULL AND ifnull(version, 0) <> ? ORDER BY takes.take DESC");
    query.bind(1, kFindVersion);
    while (query.executeStep()) missing.push_back(static_cast<TakeId>(query.getColumn(0).getInt64()));
  }
  const std::size_t now = std::min(most, missing.size());
  if (now == 0) return 0;
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    for (std::size_t i = 0; i < now; ++i) keep_find_print(missing[i]);
    commit(group);
  } catch (...) {
    printed_.clear();
    desk_->forget();
    throw;
  }
  return missing.size() - now;
}

std::optional<TakeId> Database::same_take(const std::vector<FindNote>& notes, std::int64_t content) {
  SQLite::Statement query(
      file_,
      "SELECT find_prints.take, notes FROM find_prints JOIN find_notes ON find_notes.take = "
      "find_prints.take WHERE content = ?");
  query.bind(1, content);
  while (query.executeStep()) {
    const SQLite::Column blob = query.getColumn(1);
    const auto kept =
        unpack_notes({static_cast<const char*>(blob.getBlob()), static_cast<std::size_t>(blob.getBytes())});
    if (kept && same_content(*kept, notes)) return static_cast<TakeId>(query.getColumn(0).getInt64());
  }
  return std::nullopt;
}

std::optional<TakeId> Database::known(const std::vector<FindNote>& notes) {
  return same_take(notes, content_of(notes));
}

Brought Database::bring(const BroughtTake& take) {
  if (const auto known = same_take(take.notes, content_of(take.notes))) return {*known, true, {}};
  const State before = state_;
  const Counts counted = counts_;
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    Brought out;
    // The take being played waits, and goes on afterwards.
    state_.take = 0;
    counts_ = {};
    for (const Entry& entry : take.entries) write_one(entry, out.lines);
    out.take = out.lines.front().take;
    if (!take.title.empty()) {
      Line named{state_.next_number++, out.take, take.entries.back().at, LineKind::kRename, take.title};
      insert(named);
      SQLite::Statement title(file_, "UPDATE takes SET title = ? WHERE take = ?");
      title.bind(1, take.title);
      title.bind(2, signed_of(out.take));
      title.exec();
      out.lines.push_back(std::move(named));
    }
    commit(group);
    state_.take = before.take;
    counts_ = counted;
    return out;
  } catch (...) {
    state_ = before;
    counts_ = counted;
    forget_index();
    throw;
  }
}

}  // namespace undersong::takes
