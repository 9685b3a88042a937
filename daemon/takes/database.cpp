// Over 400 lines, so that all statements on the tables of the log are in one place.
#include "daemon/takes/database.h"
#include "daemon/base/private_folder.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/corrected_chords.h"
#include "daemon/takes/file_header.h"
#include "daemon/takes/find_reader.h"
#include "daemon/takes/keys_down.h"
#include "daemon/takes/line_check.h"
#include "daemon/takes/row_text.h"
#include "daemon/takes/sql_number.h"
#include "daemon/takes/take_times.h"
#include "daemon/takes/timeline.h"

#include <sqlite3.h>
#include <sys/stat.h>

#include <random>

namespace undersong::takes {
namespace {

// Each brings the layout from its index to the next version. Never changed once released; a new one is added.
constexpr const char* kMigrations[kLayoutVersion] = {R"(
CREATE TABLE about(name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE takes(take INTEGER PRIMARY KEY, begin_utc_ms INTEGER NOT NULL, at INTEGER NOT NULL, last_at INTEGER NOT NULL,
  ended TEXT, title TEXT NOT NULL DEFAULT '', annotation TEXT NOT NULL DEFAULT '', key TEXT,
  notes INTEGER NOT NULL DEFAULT 0, chords INTEGER NOT NULL DEFAULT 0, marks INTEGER NOT NULL DEFAULT 0,
  deleted INTEGER NOT NULL DEFAULT 0, first_line INTEGER NOT NULL, last_line INTEGER NOT NULL);
CREATE INDEX takes_by_begin ON takes(begin_utc_ms);
CREATE TABLE log(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, kind INTEGER NOT NULL, data BLOB NOT NULL);
CREATE INDEX log_by_take ON log(take, number);
CREATE INDEX log_shown ON log(take, kind) WHERE kind IN (3, 4, 8);
CREATE TABLE chords(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, root INTEGER NOT NULL,
  bass INTEGER NOT NULL, family TEXT NOT NULL, harte TEXT NOT NULL);
CREATE INDEX chords_by_root ON chords(root, family, take);
CREATE INDEX chords_by_harte ON chords(harte, take);
CREATE TABLE melody(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, pitch INTEGER NOT NULL,
  pitch_class INTEGER NOT NULL, over INTEGER, degree TEXT NOT NULL);
CREATE INDEX melody_by_note ON melody(pitch_class, over, take);
CREATE INDEX melody_by_degree ON melody(degree, over, take);
CREATE TABLE keys(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, harte TEXT NOT NULL);
CREATE INDEX keys_by_harte ON keys(harte, take);
CREATE INDEX keys_by_take ON keys(take, at);
)",
                                                     R"(
CREATE TABLE meetings(take INTEGER NOT NULL, at INTEGER NOT NULL, pitch INTEGER NOT NULL, length INTEGER NOT NULL, harte TEXT NOT NULL,
  name TEXT NOT NULL, degree TEXT NOT NULL, key TEXT NOT NULL, time INTEGER NOT NULL, PRIMARY KEY(take, at, pitch)) WITHOUT ROWID;
CREATE TABLE statements(take INTEGER NOT NULL, place INTEGER NOT NULL, at INTEGER NOT NULL, length INTEGER NOT NULL, harte TEXT NOT NULL,
  key TEXT NOT NULL, met INTEGER NOT NULL, PRIMARY KEY(take, place)) WITHOUT ROWID;
CREATE TABLE chord_kinds(kind INTEGER PRIMARY KEY, root INTEGER NOT NULL, quality TEXT NOT NULL, bass INTEGER NOT NULL, UNIQUE(root, quality, bass));
CREATE TABLE heard(take INTEGER PRIMARY KEY, ear INTEGER NOT NULL, digest BLOB NOT NULL);
)",
                                                     R"(
CREATE TABLE own(take INTEGER PRIMARY KEY, layout INTEGER NOT NULL, counts BLOB NOT NULL);
)",
                                                     R"(
CREATE TABLE find_prints(take INTEGER PRIMARY KEY, version INTEGER NOT NULL, content INTEGER NOT NULL, lines BLOB NOT NULL);
CREATE INDEX find_prints_by_content ON find_prints(content);
CREATE TABLE find_notes(take INTEGER PRIMARY KEY, notes BLOB NOT NULL);
)",
                                                     R"(
CREATE TABLE abouts(take INTEGER PRIMARY KEY, version INTEGER NOT NULL, studied INTEGER NOT NULL, began_utc_ms INTEGER NOT NULL,
  loop_key INTEGER NOT NULL, loop_root INTEGER NOT NULL, name TEXT NOT NULL, picture TEXT NOT NULL);
CREATE INDEX abouts_by_loop ON abouts(loop_key, began_utc_ms);
CREATE TABLE kept_answers(take INTEGER NOT NULL, name TEXT NOT NULL, answer TEXT NOT NULL, PRIMARY KEY(take, name)) WITHOUT ROWID;
CREATE TABLE verdicts(take INTEGER NOT NULL, from_us INTEGER NOT NULL, length_us INTEGER NOT NULL, verdict INTEGER NOT NULL,
  PRIMARY KEY(take, from_us, length_us)) WITHOUT ROWID;
)",
                                                     // Lines that were written before have no checksum.
                                                     R"(
ALTER TABLE log ADD COLUMN sum INTEGER;
ALTER TABLE kept_answers ADD COLUMN sum INTEGER;
)"};

constexpr std::int64_t kLastUtcMs = 253'402'300'799'999;  // the year 9999
constexpr std::int64_t kMostCount = std::int64_t{1} << 53;

constexpr const char* kLineColumns = "number, take, at, kind, data, sum";
constexpr const char* kSummaryColumns =
    "takes.take, begin_utc_ms, takes.at, last_at, title, annotation, ended, notes, chords, marks, key, "
    "deleted, first_line, last_line";

Summary summary_of(SQLite::Statement& row) {
  Summary s;
  s.take = static_cast<TakeId>(row.getColumn(0).getInt64());
  s.begin_utc_ms = std::clamp<std::int64_t>(row.getColumn(1).getInt64(), 0, kLastUtcMs);
  s.at = listen::near_enough(Micros(row.getColumn(2).getInt64()));
  s.last_at = listen::near_enough(Micros(row.getColumn(3).getInt64()));
  // A damaged file may hold anything. Clients read whole numbers up to 2^53.
  const auto count = [&](int column) {
    return static_cast<std::uint64_t>(
        std::clamp<std::int64_t>(row.getColumn(column).getInt64(), 0, kMostCount));
  };
  s.title = text_of(row.getColumn(4));
  s.annotation = text_of(row.getColumn(5));
  if (!row.getColumn(6).isNull()) s.ended = text_of(row.getColumn(6));
  s.notes = count(7);
  s.chords = count(8);
  s.marks = count(9);
  if (!row.getColumn(10).isNull()) s.key = text_of(row.getColumn(10));
  s.deleted = row.getColumn(11).getInt() != 0;
  s.first_line = count(12);
  s.last_line = count(13);
  return s;
}

std::string new_id() {
  std::random_device random;
  char text[17];
  std::snprintf(text, sizeof text, "%08x%08x", static_cast<unsigned>(random()),
                static_cast<unsigned>(random()));
  return text;
}

}  // namespace

Trouble kind_of(const SQLite::Exception& exception) {
  switch (exception.getErrorCode() & 0xFF) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED: return Trouble::kLocked;
    case SQLITE_FULL: return Trouble::kFull;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB: return Trouble::kDamaged;
    default: return Trouble::kOther;
  }
}

std::string sentence_of(const SQLite::Exception& exception, const std::filesystem::path& path) {
  switch (kind_of(exception)) {
    case Trouble::kLocked: return "The takes in " + path.string() + " are locked by another program.";
    case Trouble::kFull: return "The disk that holds the takes in " + path.string() + " is full.";
    case Trouble::kDamaged: return "The file of takes " + path.string() + " is damaged.";
    case Trouble::kOther: break;
  }
  return "The file of takes " + path.string() + " can't be used: " + exception.what() + ".";
}

namespace {

bool has_table(SQLite::Database& file, const char* name) {
  SQLite::Statement query(file, "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?");
  query.bind(1, name);
  return query.executeStep();
}

// The layout that the tables have, whatever the header says; 0 if they are not ours. Since layout 6 it is
// also written in the file.
int layout_of(SQLite::Database& file) {
  for (const char* table : {"about", "log", "takes"})
    if (!has_table(file, table)) return 0;
  SQLite::Statement query(file, "SELECT CAST(value AS INTEGER) FROM about WHERE name = 'layout'");
  if (query.executeStep()) return query.getColumn(0).getInt();
  constexpr const char* kAdded[] = {"meetings", "own", "find_prints", "abouts"};
  int layout = 1;
  for (const char* table : kAdded) layout += has_table(file, table) ? 1 : 0;
  return layout;
}

// Nothing for no kinds: then lines of all kinds are meant.
template <class Kinds>
std::string kind_in(const Kinds& kinds) {
  std::string out;
  for (const LineKind kind : kinds)
    out.append(out.empty() ? " AND kind IN (" : ",").append(std::to_string(static_cast<int>(kind)));
  if (!out.empty()) out += ')';
  return out;
}

}  // namespace

Result<Database> Database::open(const std::filesystem::path& path, First first,
                                const std::function<void(Database&)>& before_closing) {
  // If the folder cannot be created, opening the file fails too, and the store handles that.
  if (path.has_parent_path()) (void)make_private_folder(path.parent_path());
  std::string mended = mend_header(path);
  // One thread at a time uses it, so SQLite need not lock for every column it reads.
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE | SQLite::OPEN_NOMUTEX,
                        250);
  std::error_code failed;
  std::filesystem::permissions(path, std::filesystem::perms::owner_read | std::filesystem::perms::owner_write,
                               failed);
  const int version = file.execAndGet("PRAGMA user_version").getInt();
  const int owner = file.execAndGet("PRAGMA application_id").getInt();
  const int layout = layout_of(file);
  const int newest = layout == 0 ? version : layout;
  if (newest > kLayoutVersion)
    return Error{ErrorCode::kConflict,
                 "The file of takes " + path.string() + " was written by a newer undersong (layout " +
                     std::to_string(newest) + ", this one knows " + std::to_string(kLayoutVersion) + ")."};
  if (layout == 0 && owner != kApplicationId &&
      (owner != 0 || version != 0 || file.execAndGet("SELECT count(*) FROM sqlite_master").getInt() != 0))
    return Error{ErrorCode::kConflict,
                 "The file " + path.string() + " belongs to another program, so no takes are kept in it."};
  if (layout == 0 && version != 0) throw SQLite::Exception("tables are missing", SQLITE_CORRUPT);
  file.exec("PRAGMA journal_mode = WAL");
  file.exec("PRAGMA synchronous = FULL");
  file.exec("PRAGMA cache_size = -8000");  // kB; long takes are read more than once
  if (layout != 0 && (version != layout || owner != kApplicationId)) {
    file.exec("PRAGMA application_id = " + std::to_string(kApplicationId));
    file.exec("PRAGMA user_version = " + std::to_string(layout));
    if (mended.empty())
      mended =
          "The first bytes of the file of takes " + path.string() + " were damaged and have been put right.";
  }
  Database database(std::move(file));
  database.mended_ = std::move(mended);
  struct stat there {};
  if (::stat(path.c_str(), &there) == 0) {
    database.device_ = there.st_dev;
    database.inode_ = there.st_ino;
  }
  database.migrate(first);
  database.examine();
  database.load();
  if (before_closing) before_closing(database);
  database.close_interrupted();
  return database;
}

void Database::go_on_in(const std::filesystem::path& file, First first) {
  SQLite::Database copy(file.string(), SQLite::OPEN_READWRITE, 250);
  SQLite::Statement keep(
      copy, "INSERT OR REPLACE INTO about VALUES ('first_number', ?), ('first_take', ?), ('id', ?)");
  keep.bind(1, std::to_string(first.number));
  keep.bind(2, std::to_string(first.take));
  keep.bind(3, new_id());
  keep.exec();
}

bool Database::in_place(const std::filesystem::path& path) const {
  struct stat there {};
  return ::stat(path.c_str(), &there) == 0 && there.st_dev == device_ && there.st_ino == inode_;
}

void Database::limit_pages(std::int64_t most) {
  file_.exec("PRAGMA max_page_count = " + std::to_string(most));
}

void Database::migrate(First first) {
  const int version = file_.execAndGet("PRAGMA user_version").getInt();
  if (version == kLayoutVersion) return;
  SQLite::Transaction all(file_, SQLite::TransactionBehavior::IMMEDIATE);
  for (int v = version; v < kLayoutVersion; ++v) file_.exec(kMigrations[v]);
  if (version == 0) {
    SQLite::Statement about(file_,
                            "INSERT INTO about VALUES ('id', ?), ('first_number', ?), ('first_take', ?)");
    about.bind(1, new_id());
    about.bind(2, std::to_string(first.number));
    about.bind(3, std::to_string(first.take));
    about.exec();
  }
  file_.exec("INSERT OR REPLACE INTO about VALUES ('layout', '" + std::to_string(kLayoutVersion) + "')");
  file_.exec("PRAGMA application_id = " + std::to_string(kApplicationId));
  file_.exec("PRAGMA user_version = " + std::to_string(kLayoutVersion));
  all.commit();
}

// Whether every table and index is there with its columns, as in a new file. The rows are looked at later
// (store_care.h), because that takes longer.
void Database::examine() {
  const auto names = [](SQLite::Database& file) {
    std::vector<std::string> out;
    SQLite::Statement query(file,
                            "SELECT type || ' ' || name || ' ' || tbl_name || ' ' || (SELECT "
                            "ifnull(group_concat(c.name || ' ' || c.type || ' ' || c.pk), '') FROM "
                            "pragma_table_info(m.name) AS c) FROM sqlite_master AS m ORDER BY 1");
    while (query.executeStep()) out.push_back(query.getColumn(0).getString());
    return out;
  };
  SQLite::Database as_new(":memory:", SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
  for (const char* migration : kMigrations) as_new.exec(migration);
  const auto here = names(file_);
  for (const std::string& wanted : names(as_new))
    if (std::find(here.begin(), here.end(), wanted) == here.end())
      throw SQLite::Exception("a table is damaged: " + wanted, SQLITE_CORRUPT);
}

void Database::load() {
  id_ = file_.execAndGet("SELECT value FROM about WHERE name = 'id'").getString();
  const std::int64_t first =
      file_.execAndGet("SELECT CAST(value AS INTEGER) FROM about WHERE name = 'first_number'").getInt64();
  state_.next_number = static_cast<LineNumber>(
      std::max(first, file_.execAndGet("SELECT ifnull(max(number), 0) + 1 FROM log").getInt64()));
  state_.next_take = static_cast<TakeId>(std::max(
      number_about("first_take"), file_.execAndGet("SELECT ifnull(max(take), 0) + 1 FROM takes").getInt64()));
}

// A line that is not as it was written must not be taken for what was played.
Line Database::line_of(SQLite::Statement& row, bool& sound) {
  const SQLite::Column data = row.getColumn(4), sum = row.getColumn(5);
  const std::int64_t kind = row.getColumn(3).getInt64();
  const Micros at(row.getColumn(2).getInt64());
  Line line{static_cast<LineNumber>(row.getColumn(0).getInt64()),
            static_cast<TakeId>(row.getColumn(1).getInt64()), at, static_cast<LineKind>(kind & 0xFF),
            std::string(static_cast<const char*>(data.getBlob()), static_cast<std::size_t>(data.getBytes()))};
  sound =
      kind >= 1 && kind <= 255 && is_sound(line, sum.isNull() ? std::nullopt : std::optional(sum.getInt64()));
  if (!sound) ++damaged_;
  if (kind > static_cast<int>(kLastKind)) sound = false;  // of a newer version
  line.at = listen::near_enough(at);
  return line;
}

void Database::close_interrupted() {
  std::vector<std::pair<TakeId, Micros>> open;
  SQLite::Statement query(file_, "SELECT take, last_at FROM takes WHERE ended IS NULL");
  while (query.executeStep()) open.emplace_back(query.getColumn(0).getInt64(), query.getColumn(1).getInt64());
  query.reset();
  for (const auto& [take, last_at] : open) {
    const Entry end = take_end(last_at, EndReason::kInterrupted);
    state_.take = take;
    counts_ = {.last_at = last_at};
    write({&end});
  }
}

void Database::insert(const Line& line) {
  SQLite::Statement insert(file_, "INSERT INTO log VALUES (?, ?, ?, ?, ?, ?)");
  insert.bind(1, signed_of(line.number));
  insert.bind(2, signed_of(line.take));
  insert.bind(3, std::int64_t{line.at.count()});
  insert.bind(4, static_cast<int>(line.kind));
  insert.bindNoCopy(5, line.data.data(), static_cast<int>(line.data.size()));
  insert.bind(6, std::int64_t{checksum(line)});
  insert.exec();
}

void Database::index(const Entry& entry, const Line& line) {
  if (const auto* chord = std::get_if<ChordFacts>(&entry.facts)) {
    SQLite::Statement insert(file_, "INSERT INTO chords VALUES (?, ?, ?, ?, ?, ?, ?)");
    insert.bind(1, signed_of(line.number));
    insert.bind(2, signed_of(line.take));
    insert.bind(3, std::int64_t{line.at.count()});
    insert.bind(4, chord->root.value());
    insert.bind(5, chord->bass.value());
    insert.bind(6, std::string(text(chord->family)));
    insert.bind(7, chord->harte);
    insert.exec();
  } else if (const auto* note = std::get_if<MelodyFacts>(&entry.facts)) {
    SQLite::Statement insert(file_, "INSERT INTO melody VALUES (?, ?, ?, ?, ?, ?, ?)");
    insert.bind(1, signed_of(line.number));
    insert.bind(2, signed_of(line.take));
    insert.bind(3, std::int64_t{line.at.count()});
    insert.bind(4, note->pitch.value());
    insert.bind(5, note->pitch.pitch_class().value());
    if (note->over) insert.bind(6, note->over->value());
    insert.bind(7, note->degree);
    insert.exec();
  } else if (const auto* key = std::get_if<KeyFacts>(&entry.facts)) {
    SQLite::Statement insert(file_, "INSERT INTO keys VALUES (?, ?, ?, ?)");
    insert.bind(1, signed_of(line.number));
    insert.bind(2, signed_of(line.take));
    insert.bind(3, std::int64_t{line.at.count()});
    insert.bind(4, key->harte);
    insert.exec();
  } else if (const auto* met = std::get_if<MeetingFacts>(&entry.facts)) {
    if (line.take != 0) insert_meeting(line.take, line.at, *met);
  }
}

void Database::count(const Line& line) {
  if (const auto event = line.kind == LineKind::kMidi ? midi_event(line) : std::nullopt;
      event && event->kind() == midi::kNoteOn && event->bytes[2] != 0)
    ++counts_.notes;
  if (line.kind == LineKind::kChord) ++counts_.chords;
  if (line.kind == LineKind::kMark) ++counts_.marks;
  counts_.last_at = std::max(counts_.last_at, line.at);
  counts_.last_line = line.number;
}

void Database::flush_counts() {
  if (state_.take == 0 || counts_.last_line == 0) return;
  SQLite::Statement update(file_,
                           "UPDATE takes SET notes = notes + ?, chords = chords + ?, marks = marks + ?, "
                           "last_at = max(last_at, ?), "
                           "last_line = ? WHERE take = ?");
  update.bind(1, signed_of(counts_.notes));
  update.bind(2, signed_of(counts_.chords));
  update.bind(3, signed_of(counts_.marks));
  update.bind(4, std::int64_t{counts_.last_at.count()});
  update.bind(5, signed_of(counts_.last_line));
  update.bind(6, signed_of(state_.take));
  update.exec();
  counts_ = {.last_at = counts_.last_at};
}

void Database::end_take(const Line& line) {
  flush_counts();
  put_key(state_.take, line.data, line.at);
  // An interrupted take may lack the last things that were heard, so it will be analysed again.
  const int ear = line.data == text(EndReason::kInterrupted) ? 0 : kEarVersion;
  index_ended(state_.take, ear, line.at);
  state_.take = 0;
  counts_ = {};
}

// The key that lasted longest; each key lasts until the next one or the end of the take.
void Database::put_key(TakeId take, const std::string& reason, Micros end) {
  SQLite::Statement update(file_, R"(UPDATE takes SET ended = ?1, last_at = max(last_at, ?2), key =
      (SELECT harte FROM (SELECT harte, lead(at, 1, ?2) OVER (ORDER BY at, number) - at AS held FROM keys WHERE take = ?3)
       GROUP BY harte ORDER BY sum(held) DESC, harte LIMIT 1) WHERE take = ?3)");
  update.bind(1, reason);
  update.bind(2, std::int64_t{end.count()});
  update.bind(3, signed_of(take));
  update.exec();
}

void Database::index_ended(TakeId take, int ear, Micros end) {
  const auto met = kept_meetings(take);
  const auto statements = heard_statements(take, end, met);
  index_heard(take, ear, statements);
  count_own(take, statements, met);
  keep_find_print(take);
  keep_about(take, about_from_log(take));
}

LineNumber Database::write_one(const Entry& entry, std::vector<Line>& lines) {
  if (entry.kind == LineKind::kTakeBegin) {
    if (state_.take != 0)
      // Only one take is open at a time.
      write_one(take_end(counts_.last_at, EndReason::kInterrupted), lines);
    state_.take = state_.next_take++;
    counts_ = {.last_at = entry.at};
    SQLite::Statement insert(file_,
                             "INSERT INTO takes(take, begin_utc_ms, at, last_at, first_line, last_line) "
                             "VALUES (?, ?, ?, ?3, ?4, ?4)");
    insert.bind(1, signed_of(state_.take));
    insert.bind(2, std::int64_t{std::strtoll(entry.data.c_str(), nullptr, 10)});
    insert.bind(3, std::int64_t{entry.at.count()});
    insert.bind(4, signed_of(state_.next_number));
    insert.exec();
  }
  Line line{state_.next_number++, state_.take, entry.at, entry.kind, entry.data};
  insert(line);
  index(entry, line);
  if (line.take != 0) count(line);
  if (entry.kind == LineKind::kTakeEnd && state_.take != 0) end_take(line);
  lines.push_back(std::move(line));
  return lines.back().number;
}

Database::Written Database::write(const std::vector<const Entry*>& entries) {
  const State before = state_;
  const Counts counted = counts_;
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    Written written;
    written.lines.reserve(entries.size());
    for (const Entry* entry : entries) written.numbers.push_back(write_one(*entry, written.lines));
    flush_counts();
    commit(group);
    return written;
  } catch (...) {
    state_ = before;
    counts_ = counted;
    forget_index();  // it may hold entries that are not in the file
    throw;
  }
}

bool Database::take_back(const Spill& spill) {
  const State before = state_;
  const Counts counted = counts_;
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    const std::string name = "spill " + spill.token;
    SQLite::Statement done(file_, "SELECT 1 FROM about WHERE name = ?");
    done.bind(1, name);
    if (done.executeStep()) return false;
    done.reset();
    SQLite::Statement note(file_, "INSERT INTO about VALUES (?, 'taken back')");
    note.bind(1, name);
    note.exec();
    if (spill.take != 0) {
      SQLite::Statement open(
          file_, "SELECT last_at FROM takes WHERE take = ? AND (ended IS NULL OR ended = 'interrupted')");
      open.bind(1, signed_of(spill.take));
      if (spill.store == id_ && open.executeStep()) {
        state_.take = spill.take;
        counts_ = {.last_at = Micros(open.getColumn(0).getInt64())};
        open.reset();
        SQLite::Statement again(file_, "UPDATE takes SET ended = NULL WHERE take = ?");
        again.bind(1, signed_of(spill.take));
        again.exec();
      } else if (spill.begin) {
        open.reset();
        std::vector<Line> written;
        write_one(*spill.begin, written);
      }
    }
    std::vector<Line> lines;
    for (const Entry& entry : spill.entries) {
      write_one(entry, lines);
      lines.clear();
    }
    flush_counts();
    commit(group);
  } catch (...) {
    state_ = before;
    counts_ = counted;
    forget_index();  // it may hold entries that are not in the file
    throw;
  }
  state_.take = 0;  // a take without an end is closed with all others, in close_interrupted
  counts_ = {};
  return true;
}

void Database::forget(const Spill& spill) {
  SQLite::Statement forget(file_, "DELETE FROM about WHERE name = ?");
  forget.bind(1, "spill " + spill.token);
  forget.exec();
}

Result<Line> Database::edit(LineKind kind, TakeId take, Micros at, const std::string& text) {
  const State before = state_;
  try {
    SQLite::Transaction group(file_, SQLite::TransactionBehavior::IMMEDIATE);
    SQLite::Statement known(file_, "SELECT deleted FROM takes WHERE take = ?");
    known.bind(1, signed_of(take));
    if (!known.executeStep()) return not_found("There is no take " + std::to_string(take) + ".");
    known.reset();
    if (kind == LineKind::kDelete && take == state_.take)
      return Error{ErrorCode::kConflict,
                   "Take " + std::to_string(take) + " is being played; end it before deleting it."};
    if (kind == LineKind::kUnmark && !is_mark(take, text))
      return not_found("Take " + std::to_string(take) + " has no mark with the line number " + text + ".");
    Line line{state_.next_number++, take, at, kind, text};
    insert(line);
    const auto set = [&](const std::string& column, const std::string& value) {
      SQLite::Statement update(file_, "UPDATE takes SET " + column + " = ? WHERE take = ?");
      update.bind(1, value);
      update.bind(2, signed_of(take));
      update.exec();
    };
    if (kind == LineKind::kRename) set("title", text);
    if (kind == LineKind::kAnnotate) set("annotation", text);
    if (kind == LineKind::kUnmark) {  // what it said of the player's harmony is counted anew
      SQLite::Statement stale(file_, "DELETE FROM own WHERE take = ?");
      stale.bind(1, signed_of(take));
      stale.exec();
    }
    // A mark of the open take may not be counted in the file yet.
    const bool counted = kind == LineKind::kUnmark && (take != state_.take || counts_.marks == 0);
    if (counted) {
      SQLite::Statement fewer(file_, "UPDATE takes SET marks = max(0, marks - 1) WHERE take = ?");
      fewer.bind(1, signed_of(take));
      fewer.exec();
    }
    if (kind == LineKind::kBeat || kind == LineKind::kCorrection) forget_study(take);
    if (kind == LineKind::kVerdict)
      if (const auto said = judgement(text)) keep_judgement(take, *said);
    if (kind == LineKind::kDelete) set("deleted", "1");
    if (kind == LineKind::kRestore) set("deleted", "0");
    commit(group);
    if (kind == LineKind::kUnmark && !counted) --counts_.marks;
    if (kind == LineKind::kDelete) desk_->erase(take);
    if (kind == LineKind::kRestore) desk_->read(take);
    if (index_ && (kind == LineKind::kDelete || kind == LineKind::kRestore))
      for (IndexedTake& indexed : *index_)
        if (indexed.take == take) indexed.deleted = kind == LineKind::kDelete;
    unheard_.reset();
    return line;
  } catch (...) {
    state_ = before;
    throw;
  }
}

bool Database::is_mark(TakeId take, const std::string& number) {
  // Kind 8: mark; 22: unmark.
  SQLite::Statement query(
      file_,
      "SELECT kind FROM log WHERE take = ?1 AND ((kind = 8 AND number = ?2) OR (kind = 22 AND "
      "CAST(data AS TEXT) = ?3))");
  query.bind(1, signed_of(take));
  query.bind(2, signed_of(std::strtoull(number.c_str(), nullptr, 10)));
  query.bind(3, number);
  int marks = 0, taken_back = 0;
  while (query.executeStep())
    ++(query.getColumn(0).getInt() == static_cast<int>(LineKind::kMark) ? marks : taken_back);
  return marks > taken_back;
}

bool Database::has(TakeId take) {
  SQLite::Statement query(file_, "SELECT 1 FROM takes WHERE take = ?");
  query.bind(1, signed_of(take));
  return query.executeStep();
}

Found Database::list(const Search& search) {
  const Condition condition = sql_of(search);
  SQLite::Statement query(file_, std::string("SELECT ") + kSummaryColumns + " FROM takes WHERE " +
                                     condition.sql + " ORDER BY begin_utc_ms DESC, takes.take DESC LIMIT " +
                                     std::to_string(search.limit + 1));
  int place = 0;
  for (const auto& argument : condition.arguments) {
    ++place;
    std::visit([&](const auto& value) { query.bind(place, value); }, argument);
  }
  Found found;
  while (query.executeStep()) found.takes.push_back(summary_of(query));
  if (found.takes.size() > search.limit) {
    found.more = true;
    found.takes.pop_back();
  }
  find_contents(found.takes);
  return found;
}

void Database::each_line(std::initializer_list<LineKind> kinds, TakeId take,
                         const std::function<void(Line&&)>& use) {
  SQLite::Statement query(file_, std::string("SELECT ") + kLineColumns + " FROM log WHERE take = ?" +
                                     kind_in(kinds) + " ORDER BY number");
  query.bind(1, signed_of(take));
  bool sound = false;
  while (query.executeStep())
    if (Line line = line_of(query, sound); sound) use(std::move(line));
}

std::optional<Summary> Database::summary(std::optional<TakeId> take) {
  SQLite::Statement query(
      file_, std::string("SELECT ") + kSummaryColumns + " FROM takes WHERE " +
                 (take ? "take = ?" : "deleted = 0 ORDER BY begin_utc_ms DESC, take DESC LIMIT 1"));
  if (take) query.bind(1, signed_of(*take));
  if (!query.executeStep()) return std::nullopt;
  return summary_of(query);
}

std::optional<Detail> Database::detail(std::optional<TakeId> take) {
  auto found = summary(take);
  if (!found) return std::nullopt;
  std::vector<Line> lines;
  each_line({LineKind::kChord, LineKind::kKey, LineKind::kMark, LineKind::kCorrection, LineKind::kUnmark},
            found->take, [&](Line&& line) { lines.push_back(std::move(line)); });
  return detail_of(std::move(*found), std::move(lines));
}

// `lines`: chords, keys, marks, corrections and unmarks, in order.
Detail Database::detail_of(Summary summary, std::vector<Line> lines) {
  Detail detail;
  detail.summary = std::move(summary);
  find_contents(std::span(&detail.summary, 1));
  std::vector<Line> corrections;  // of chords, and what takes marks back
  for (Line& line : lines) {
    auto& to = line.kind == LineKind::kChord  ? detail.chords
               : line.kind == LineKind::kKey  ? detail.keys
               : line.kind == LineKind::kMark ? detail.marks
                                              : corrections;
    to.push_back(std::move(line));
  }
  detail.chords = settled_chords(detail.chords);
  std::erase_if(corrections, [&](const Line& line) {
    if (line.kind != LineKind::kUnmark) return false;
    std::erase_if(detail.marks, [&](const Line& mark) { return std::to_string(mark.number) == line.data; });
    return true;
  });
  take_corrections(detail.chords, corrections, [](Line& chord, const harmony::ParsedChord& parsed) {
    chord.data = chord_in_force(chord.at, {parsed.chord, parsed.root, 1}).data;
  });
  detail.kept = judged(detail.summary.take);
  std::erase_if(detail.kept, [](const Judgement& said) { return said.verdict != Verdict::kKept; });
  return detail;
}

std::vector<Line> Database::lines(std::optional<TakeId> take, LineNumber from, std::size_t limit,
                                  const std::vector<LineKind>& kinds) {
  SQLite::Statement query(file_, std::string("SELECT ") + kLineColumns + " FROM log WHERE number >= ?" +
                                     (take ? " AND take = ?" : "") + kind_in(kinds) + " ORDER BY number");
  query.bind(1, signed_of(std::min<LineNumber>(from, INT64_MAX)));
  if (take) query.bind(2, signed_of(*take));
  std::vector<Line> lines;
  bool sound = false;
  while (lines.size() < limit && query.executeStep())
    if (Line line = line_of(query, sound); sound) lines.push_back(std::move(line));
  return lines;
}

namespace {

// The events of a take, made of its lines one after another.
class EventReader {
 public:
  explicit EventReader(Span span) : span_(span) {}
  void add(const Line& line) {
    const Micros at = span_.within(line.at);  // a damaged file may hold any time; the event was in this take
    if (const auto lost = lost_port(line)) {
      down_.release(*lost, at, events);
    } else if (auto event = midi_event(line)) {
      event->at = at;
      down_.apply(*event);
      events.push_back(*event);
    }
  }
  std::vector<midi::Event> events;

 private:
  Span span_;
  KeysDown down_;
};

}  // namespace

std::vector<midi::Event> Database::midi(TakeId take) {
  const auto found = summary(take);
  if (!found) return {};
  EventReader reader(span_of(*found));
  each_line({LineKind::kMidi, LineKind::kLost}, take, [&](Line&& line) { reader.add(line); });
  return std::move(reader.events);
}

// Each query goes through all lines of the take, so that one is much quicker than three.
std::optional<Database::Whole> Database::whole(std::optional<TakeId> take, std::size_t most_said) {
  auto found = summary(take);
  if (!found) return std::nullopt;
  Whole whole;
  EventReader reader(span_of(*found));
  std::vector<Line> shown;
  each_line({LineKind::kMidi, LineKind::kLost, LineKind::kBeat, LineKind::kChord, LineKind::kKey,
             LineKind::kMark, LineKind::kCorrection, LineKind::kUnmark},
            found->take, [&](Line&& line) {
              if (line.kind == LineKind::kMidi || line.kind == LineKind::kLost) return reader.add(line);
              const bool said = line.kind == LineKind::kBeat || line.kind == LineKind::kCorrection;
              if (said && whole.said.size() < most_said) whole.said.push_back(line);
              if (line.kind != LineKind::kBeat) shown.push_back(std::move(line));
            });
  whole.events = std::move(reader.events);
  whole.detail = detail_of(std::move(*found), std::move(shown));
  return whole;
}

}  // namespace undersong::takes
