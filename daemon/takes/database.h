// The file of takes: its tables, how lines get into it and out again.
//
// SQLite in WAL mode with synchronous = FULL: what a commit has taken survives a killed daemon, and a power
// cut as far as the disk keeps its promises. The layout has a version (user_version); older files are brought
// up to date when opened, newer ones are refused. The file belongs to one store at a time but may be read by
// others meanwhile.
//
// Threads: one at a time (that of the store). Errors: functions throw SQLite::Exception, which must not leave
// this folder; `sentence_of` and `kind_of` say what it means.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/moment_matcher.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/search.h"
#include "daemon/takes/spill.h"

namespace undersong::takes {

inline constexpr int kLayoutVersion = 2;

enum class Trouble : std::uint8_t { kLocked, kFull, kDamaged, kOther };
Trouble kind_of(const SQLite::Exception& exception);
std::string sentence_of(const SQLite::Exception& exception, const std::filesystem::path& path);

class Database {
 public:
  // Makes the file if there is none (directory 0700, file 0600), brings its layout up to date, and closes
  // takes that an earlier run left open. `first_number`: where numbers begin in a new file. `before_closing`
  // is called before that: for lines that belong to such a take. Throws SQLite::Exception; an Error means the
  // file is not ours to touch (newer layout, another program's).
  static Result<Database> open(const std::filesystem::path& path, LineNumber first_number,
                               const std::function<void(Database&)>& before_closing = {});

  const std::string& id() const { return id_; }
  LineNumber next_number() const { return state_.next_number; }
  std::optional<TakeId> open_take() const { return state_.take ? std::optional(state_.take) : std::nullopt; }

  // False when the file at `path` is no longer the one that is open.
  bool in_place(const std::filesystem::path& path) const;
  void limit_pages(std::int64_t most);

  struct Written {
    std::vector<Line> lines;          // those of the entries, and ends of takes that had none
    std::vector<LineNumber> numbers;  // of each entry
  };
  // Writes all entries as one group, or none.
  Written write(const std::vector<const Entry*>& entries);
  // Puts the lines of a spill where they belong, all or none. False when that has been done before.
  bool take_back(const Spill& spill);
  // The spill's file is gone, so it need not be known any more.
  void forget(const Spill& spill);
  // rename, annotate, correction, delete, restore. Error when there is no such take or it is being played.
  Result<Line> edit(LineKind kind, TakeId take, Micros at, const std::string& text);

  bool has(TakeId take);
  Found list(const Search& search);
  // The newest that isn't deleted without a number.
  std::optional<Detail> detail(std::optional<TakeId> take);
  std::optional<Summary> summary(std::optional<TakeId> take);
  std::vector<Line> lines(std::optional<TakeId> take, LineNumber from, std::size_t limit,
                          const std::vector<LineKind>& kinds = {});
  // Without suspected echoes. Where events were lost, what was down is let go.
  std::vector<midi::Event> midi(TakeId take);

 public:
  // Moments that answer a question, and what comes near where there are none.
  FoundMoments find(const MomentSearch& search);
  // Of a take that is there.
  TakeMeetings meetings(TakeId take);
  // The newest take before this one that has ended and was heard by an older ear, or by none.
  std::optional<TakeId> next_unheard(TakeId before);
  // Puts what was heard in place of what is indexed of the take, all or nothing.
  void put_heard(const HeardAgain& heard);

 private:
  // What a group changes besides the file; put back when the group fails.
  struct State {
    LineNumber next_number = 1;
    TakeId next_take = 1;
    TakeId take = 0;  // being played
  };
  struct IndexedTake {
    TakeId take = 0;
    std::int64_t begin_utc_ms = 0;
    bool deleted = false;
    std::vector<Indexed> statements;
  };
  explicit Database(SQLite::Database&& file) : file_(std::move(file)) {}
  void migrate(LineNumber first_number);
  void load();
  void close_interrupted();
  LineNumber write_one(const Entry& entry, std::vector<Line>& lines);
  void insert(const Line& line);
  void index(const Entry& entry, const Line& line);
  void count(const Line& line);
  void flush_counts();
  void end_take(const Line& line);
  std::vector<Line> lines_where(const std::string& condition, TakeId take);
  void insert_meeting(TakeId take, Micros at, const MeetingFacts& met);
  std::vector<KeptMeeting> kept_meetings(TakeId take);
  std::vector<Statement> heard_statements(TakeId take, Micros end, const std::vector<KeptMeeting>& meetings);
  void index_heard(TakeId take, int ear, const std::vector<Statement>& statements);
  void load_kinds();
  std::vector<IndexedTake>& all_indexed();
  void forget_index();
  // The number of a chord's kind; one that is new is given the next, in the file too if it is to be `kept`.
  std::uint32_t kind_of_chord(const std::string& harte, bool kept);
  std::string digest_of(const std::vector<Statement>& statements, bool kept);
  std::uint64_t unheard();

  struct Counts {
    std::uint64_t notes = 0, chords = 0, marks = 0;
    Micros last_at{};
    LineNumber last_line = 0;
  } counts_;  // of the open take, not yet in the file

  SQLite::Database file_;
  State state_;
  std::uint64_t device_ = 0, inode_ = 0;
  std::vector<ChordKind> kinds_;                     // as in the file, by number; empty: not read yet
  std::map<std::string, std::uint32_t> kind_names_;  // by Harte form
  std::optional<std::uint64_t> unheard_;             // counted
  std::optional<std::vector<IndexedTake>> index_;    // all digests, by take; read when it is first needed
  std::string id_;
};

}  // namespace undersong::takes
