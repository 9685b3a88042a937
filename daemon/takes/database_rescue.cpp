// The part of Database that makes a store again from the lines of its log: the list of takes, what is
// searched, and whatever else was made from lines. The lines are the truth; a row that disagrees with them is
// wrong.
#include <algorithm>

#include "daemon/listen/tempo.h"
#include "daemon/takes/database.h"
#include "daemon/takes/line_check.h"
#include "daemon/takes/sql_number.h"
#include "daemon/takes/take_times.h"

namespace undersong::takes {
namespace {

constexpr std::string_view kRescue = "rescue ";

}  // namespace

struct Database::Told {
  Summary take;
  bool renamed = false, annotated = false;
  bool began = false;
  std::optional<Micros> first, last;  // of what was played and heard
  std::uint64_t unmarked = 0;

  void add(const Line& line) {
    if (take.first_line == 0) take.first_line = line.number;
    const bool ended = take.ended.has_value();
    switch (line.kind) {
      case LineKind::kTakeBegin:
        if (began) break;
        began = true;
        take.begin_utc_ms = std::strtoll(line.data.c_str(), nullptr, 10);
        take.at = line.at;
        break;
      case LineKind::kTakeEnd:
        take.ended = line.data;
        take.last_at = line.at;
        take.last_line = line.number;
        return;
      case LineKind::kRename:
        take.title = line.data;
        renamed = true;
        return;
      case LineKind::kAnnotate:
        take.annotation = line.data;
        annotated = true;
        return;
      case LineKind::kDelete: take.deleted = true; return;
      case LineKind::kRestore: take.deleted = false; return;
      case LineKind::kUnmark: ++unmarked; return;
      case LineKind::kVerdict: return;
      case LineKind::kMark: ++take.marks; break;
      case LineKind::kChord: ++take.chords; break;
      case LineKind::kMidi:
        if (const auto event = midi_event(line);
            event && event->kind() == midi::kNoteOn && event->bytes[2] != 0)
          ++take.notes;
        break;
      default: break;
    }
    if (ended) return;  // it was said of the take afterwards
    take.last_line = line.number;
    first = first ? std::min(*first, line.at) : line.at;
    last = last ? std::max(*last, line.at) : line.at;
  }

  // `known`: the row in the list as it was.
  Summary summary(const Summary* known) const {
    Summary out = take;
    if (!began) {
      out.at = known ? known->at : first.value_or(Micros(0));
      if (known) out.begin_utc_ms = known->begin_utc_ms;
    }
    if (!out.ended) {
      out.ended = std::string(text(EndReason::kInterrupted));
      out.last_at = last.value_or(out.at);
    }
    if (known && !renamed) out.title = known->title;
    if (known && !annotated) out.annotation = known->annotation;
    out.last_at = span_of(out.at, std::max(out.last_at, out.at)).to;
    out.marks -= std::min(out.marks, unmarked);
    return out;
  }
};

Database::Told Database::told_of(TakeId take, const std::function<void(const Line&)>& use) {
  constexpr std::size_t kAtOnce = 2000;
  Told told;
  for (LineNumber from = 1;;) {
    const auto some = lines(take, from, kAtOnce);
    for (const Line& line : some) {
      told.add(line);
      if (use) use(line);
    }
    if (some.size() < kAtOnce) return told;
    from = some.back().number + 1;
  }
}

void Database::settle(TakeId take, bool all, const Summary* known) {
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    if (all)
      for (const char* table : {"chords", "melody", "keys"}) {  // made from lines of the same numbers
        SQLite::Statement old(file_, std::string("DELETE FROM ") + table +
                                         " WHERE number IN (SELECT number FROM log WHERE take = ?)");
        old.bind(1, signed_of(take));
        old.exec();
      }
    const Told told = told_of(take, [&](const Line& line) {
      if (!all) return;
      index({line.at, line.kind, line.data, facts_of(line.kind, line.data)}, line);
      if (line.kind == LineKind::kVerdict)
        if (const auto said = judgement(line.data)) keep_judgement(take, *said);
    });
    const Summary summary = told.summary(known);
    SQLite::Statement row(
        file_,
        "INSERT OR REPLACE INTO takes(take, begin_utc_ms, at, last_at, title, annotation, notes, "
        "chords, marks, deleted, first_line, last_line) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    row.bind(1, signed_of(take));
    row.bind(2, summary.begin_utc_ms);
    row.bind(3, std::int64_t{summary.at.count()});
    row.bind(4, std::int64_t{summary.last_at.count()});
    row.bind(5, summary.title);
    row.bind(6, summary.annotation);
    row.bind(7, signed_of(summary.notes));
    row.bind(8, signed_of(summary.chords));
    row.bind(9, signed_of(summary.marks));
    row.bind(10, summary.deleted ? 1 : 0);
    row.bind(11, signed_of(summary.first_line));
    row.bind(12, signed_of(summary.last_line));
    row.exec();
    put_key(take, *summary.ended, summary.last_at);
    if (all) index_ended(take, 0, summary.last_at);  // 0: it is to be listened to again
    group.commit();
    if (!all) forget_index();
  } catch (...) {
    forget_index();
    throw;
  }
}

bool Database::mend_row(TakeId take) {
  const std::uint64_t damaged = damaged_;
  const Told told = told_of(take);
  if (take == 0 || take == state_.take || told.take.first_line == 0) return false;
  const auto row = summary(take);
  if (!row) {
    settle(take, true);
    return true;
  }
  // A damaged line may be the one that named the take.
  if (damaged_ != damaged || !told.began) return false;
  const Summary right = told.summary(&*row);
  const bool same = right.title == row->title && right.annotation == row->annotation &&
                    right.deleted == row->deleted && right.ended == row->ended && right.at == row->at &&
                    right.begin_utc_ms == row->begin_utc_ms && right.notes == row->notes &&
                    right.chords == row->chords && right.marks == row->marks &&
                    right.first_line == row->first_line &&
                    std::chrono::abs(right.last_at - row->last_at) < std::chrono::seconds(1);
  if (!same) settle(take, false, &*row);
  return !same;
}

std::optional<TakeId> Database::next_take_with_lines(TakeId after) {
  SQLite::Statement query(file_, "SELECT min(take) FROM log WHERE take > ?");
  query.bind(1, signed_of(after));
  if (!query.executeStep() || query.getColumn(0).isNull()) return std::nullopt;
  return static_cast<TakeId>(query.getColumn(0).getInt64());
}

int Database::remove_empty_rows() {
  SQLite::Statement remove(
      file_,
      "DELETE FROM takes WHERE ended IS NOT NULL AND NOT EXISTS (SELECT 1 FROM log WHERE "
      "log.take = takes.take)");
  const int removed = remove.exec();
  if (removed != 0) forget_index();
  return removed;
}

void Database::make_indexes() {
  file_.exec("REINDEX");
}

void Database::begin_rescue(const std::filesystem::path& file) {
  SQLite::Statement keep(file_, "INSERT OR REPLACE INTO about VALUES (?, 'to be read')");
  keep.bind(1, std::string(kRescue) + file.string());
  keep.exec();
}

std::vector<std::filesystem::path> Database::rescues() {
  std::vector<std::filesystem::path> out;
  SQLite::Statement query(file_, "SELECT name FROM about WHERE name LIKE 'rescue %' ORDER BY name");
  while (query.executeStep()) out.emplace_back(query.getColumn(0).getString().substr(kRescue.size()));
  return out;
}

std::size_t Database::put_rescued(const std::vector<Line>& lines) {
  SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
  SQLite::Statement insert(file_, "INSERT OR IGNORE INTO log VALUES (?, ?, ?, ?, ?, ?)");
  std::size_t added = 0;
  for (const Line& line : lines) {
    // What is numbered from here on is being written by this run.
    if (line.number >= state_.next_number || line.take >= state_.next_take) continue;
    insert.reset();
    insert.bind(1, signed_of(line.number));
    insert.bind(2, signed_of(line.take));
    insert.bind(3, std::int64_t{line.at.count()});
    insert.bind(4, static_cast<int>(line.kind));
    insert.bind(5, line.data.data(), static_cast<int>(line.data.size()));
    insert.bind(6, std::int64_t{checksum(line)});
    added += static_cast<std::size_t>(insert.exec());
  }
  group.commit();
  return added;
}

void Database::put_rescued_about(const std::string& name, const std::string& value) {
  if (name != "own_after" && name != "own_erased_utc_ms") return;
  SQLite::Statement keep(file_, "INSERT OR IGNORE INTO about VALUES (?, ?)");
  keep.bind(1, name);
  keep.bind(2, value);
  keep.exec();
}

std::vector<TakeId> Database::unsettled(std::size_t most) {
  SQLite::Statement query(
      file_,
      "SELECT DISTINCT take FROM log WHERE take > 0 AND take NOT IN (SELECT take FROM takes) "
      "ORDER BY take LIMIT ?");
  query.bind(1, signed_of(most));
  std::vector<TakeId> out;
  while (query.executeStep()) out.push_back(static_cast<TakeId>(query.getColumn(0).getInt64()));
  return out;
}

void Database::end_rescue(const std::filesystem::path& file) {
  SQLite::Statement forget(file_, "DELETE FROM about WHERE name = ?");
  forget.bind(1, std::string(kRescue) + file.string());
  forget.exec();
}

}  // namespace undersong::takes
