// The SQLite file that holds all takes: its tables, and how log lines are written and read.
//
// The file uses WAL mode with synchronous = FULL. A committed line survives a killed daemon, and a power cut
// if the disk keeps its promises. The layout has a version (user_version). Older files are migrated when
// opened; newer ones are refused. Only one store may write to the file, but other programs may read it
// meanwhile.
//
// Units: Micros on the clock of the run that made the take; wall time in milliseconds since 1970, UTC.
// Threads: one at a time; in the daemon the store's thread "takes", except that Store::open opens it.
// Errors: functions throw SQLite::Exception, which must not leave this folder; `kind_of` and `sentence_of`
// explain it.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <compare>
#include <filesystem>
#include <functional>
#include <initializer_list>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/bring.h"
#include "daemon/takes/digest.h"
#include "daemon/takes/find_desk.h"
#include "daemon/takes/find_takes.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/moment_matcher.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/own_idiom.h"
#include "daemon/takes/search.h"
#include "daemon/takes/spill.h"
#include "daemon/takes/studied_take.h"

namespace undersong::takes {

inline constexpr int kLayoutVersion = 6;
inline constexpr int kApplicationId =
    0x556E6453;  // "UndS", so that file(1) and this program recognise the file

enum class Trouble : std::uint8_t { kLocked, kFull, kDamaged, kOther };
Trouble kind_of(const SQLite::Exception& exception);
std::string sentence_of(const SQLite::Exception& exception, const std::filesystem::path& path);

class Database {
 public:
  // The first numbers of lines and takes in a new file.
  struct First {
    LineNumber number = 1;
    TakeId take = 1;
  };
  // Creates the file if there is none (directory 0700, file 0600), migrates its layout, and closes takes that
  // an earlier run left open. `before_closing` is called on the calling thread, before takes are closed, so
  // that it can add lines to them. Returns an Error if the file must not be touched: it has a newer layout or
  // belongs to another program. A file that lacks what its layout must have is damaged, and that is thrown.
  static Result<Database> open(const std::filesystem::path& path, First first,
                               const std::function<void(Database&)>& before_closing = {});
  // Makes a closed copy of a store ready to take its place: it gets another id, and goes on from these
  // numbers.
  static void go_on_in(const std::filesystem::path& file, First first);
  // What was put right when the file was opened, in one sentence; "" if nothing.
  const std::string& mended() const { return mended_; }

  const std::string& id() const { return id_; }
  LineNumber next_number() const { return state_.next_number; }
  TakeId next_take() const { return state_.next_take; }
  std::optional<TakeId> open_take() const { return state_.take ? std::optional(state_.take) : std::nullopt; }

  // False if the file at `path` is no longer the one that is open: it was moved or replaced.
  bool in_place(const std::filesystem::path& path) const;
  void limit_pages(std::int64_t most);

  struct Written {
    std::vector<Line> lines;          // of the entries, and the end lines of takes that had none
    std::vector<LineNumber> numbers;  // one for each entry
  };
  // Writes all entries in one transaction, or none.
  Written write(const std::vector<const Entry*>& entries);
  // Adds the lines of a spill file to the takes they belong to, all or none. False if that was done before.
  bool take_back(const Spill& spill);
  // Forgets that the spill was taken back. Call it when the spill file is gone.
  void forget(const Spill& spill);
  // For rename, annotate, correction, delete and restore. Error if there is no such take, or if a take is to
  // be deleted while it is being played.
  Result<Line> edit(LineKind kind, TakeId take, Micros at, const std::string& text);

  bool has(TakeId take);
  // True if the line with this number is a mark of the take that was not taken back.
  bool is_mark(TakeId take, const std::string& number);
  Found list(const Search& search);
  // Without a number: the newest take that is not deleted. nullopt if there is no such take.
  std::optional<Detail> detail(std::optional<TakeId> take);
  std::optional<Summary> summary(std::optional<TakeId> take);
  std::vector<Line> lines(std::optional<TakeId> take, LineNumber from, std::size_t limit,
                          const std::vector<LineKind>& kinds = {});
  // Without suspected echoes. Where events were lost, the keys and pedals of that input are released.
  std::vector<midi::Event> midi(TakeId take);
  // What detail() and midi() give, in one pass through the lines. `said`: what the player said of the beat
  // and of chords, at most the first `most_said` lines.
  struct Whole {
    Detail detail;
    std::vector<midi::Event> events;
    std::vector<Line> said;
  };
  std::optional<Whole> whole(std::optional<TakeId> take, std::size_t most_said);
  // The moments that answer a question; if there are none, similar questions that have answers.
  FoundMoments find(const MomentSearch& search);
  // `take` must exist.
  TakeMeetings meetings(TakeId take);
  // The newest ended take before `before` that was analysed by an older version of the ear, or never.
  std::optional<TakeId> next_unheard(TakeId before);
  // Replaces everything that is indexed of the take, all or nothing.
  void put_heard(const HeardAgain& heard);
  // The player's own idiom, from all rows that can be read.
  OwnIdiom own();
  // Makes the rows of up to `most` takes that have none, the newest first. Returns how many are left.
  std::uint64_t count_own(std::size_t most);
  // Forgets the own idiom up to now. The takes stay.
  void erase_own(std::int64_t utc_ms);
  // The takes that hold what somebody played, best first. Deleted takes are left out, and so is the one that
  // is being played.
  FoundPlaces find_places(const FindQuery& query) { return desk_->find(query); }
  // The same for another thread; it may outlive the database.
  std::shared_ptr<FindDesk> desk() const { return desk_; }
  // Makes the find prints of up to `most` takes that have none, the newest first. Returns how many are left.
  std::uint64_t make_find_prints(std::size_t most);
  // Reads up to `most` more find prints, so that the first question need not wait. True once all are there.
  bool fill_shelf(std::size_t most) { return desk_->fill(most); }
  // Adds a take that was played elsewhere, all or nothing. The take being played goes on.
  Brought bring(const BroughtTake& take);
  // The take with these notes, if there is one; also a deleted one.
  std::optional<TakeId> known(const std::vector<FindNote>& notes);
  // What is known at a glance of an ended take.
  std::optional<TakeAbout> about(TakeId take);
  // The newest ended take before `before` that was not studied since something was said of it.
  std::optional<TakeId> next_unstudied(TakeId before);
  // Keeps what a study found. False, and nothing is kept, if more was said of the take meanwhile.
  bool put_study(const StudiedTake& studied);
  // An answer that was kept with the study; nullopt if it no longer holds.
  std::optional<std::string> kept_answer(TakeId take, const std::string& name);
  // Takes that go round the same chords, most alike first.
  std::vector<FoundPlace> similar(TakeId take);
  // In two steps, for another thread: what is looked for, and which of the found takes are similar.
  struct SimilarQuestion {
    FindQuery query;
    float least = 0;  // score
  };
  std::optional<SimilarQuestion> similar_to(TakeId take);
  static std::vector<FoundPlace> similar_of(const SimilarQuestion& question, FoundPlaces found);
  FoundDigest digest(const DigestSearch& search);

  // Lines that were read from this file and are not what was written, and so were left out.
  std::uint64_t damaged_lines() const { return damaged_; }
  // Makes the indexes anew from the tables.
  void make_indexes();
  // Makes the row of an ended take again, and, if `all`, whatever else was made from its lines.
  void settle(TakeId take, bool all, const Summary* known = nullptr);
  // Reads all lines of a take. If its row in the list says something else, or there is none, makes it again
  // and returns true. Take 0 stands for what is between takes.
  bool mend_row(TakeId take);
  std::optional<TakeId> next_take_with_lines(TakeId after);
  // Removes rows of takes that have no line. Returns how many there were.
  int remove_empty_rows();
  // Damaged files whose lines are to be read into this one (damaged_store.h).
  void begin_rescue(const std::filesystem::path& file);
  std::vector<std::filesystem::path> rescues();
  // Adds lines with the numbers that they had; those that are there already stay. Returns how many are new.
  std::size_t put_rescued(const std::vector<Line>& lines);
  void put_rescued_about(const std::string& name, const std::string& value);
  // Up to `most` takes that have lines but no row in the list.
  std::vector<TakeId> unsettled(std::size_t most);
  void end_rescue(const std::filesystem::path& file);

 private:
  // What a transaction changes besides the file; restored if the transaction fails.
  struct State {
    LineNumber next_number = 1;
    TakeId next_take = 1;
    TakeId take = 0;  // being played; 0: none
  };
  struct IndexedTake {
    TakeId take = 0;
    std::int64_t begin_utc_ms = 0;
    bool deleted = false;
    std::vector<Indexed> statements;
  };
  // The order of takes in lists: by when they were played, which is not that of their numbers where some were
  // brought.
  struct Begun {
    std::int64_t utc_ms = 0;
    TakeId take = 0;
    auto operator<=>(const Begun&) const = default;
  };
  static Begun begun_of(const IndexedTake& each) { return {each.begin_utc_ms, each.take}; }
  explicit Database(SQLite::Database&& file)
      : file_(std::move(file)), desk_(std::make_shared<FindDesk>(file_.getFilename())) {}
  void migrate(First first);
  void examine();
  Line line_of(SQLite::Statement& row, bool& sound);
  void load();
  void close_interrupted();
  LineNumber write_one(const Entry& entry, std::vector<Line>& lines);
  void insert(const Line& line);
  void index(const Entry& entry, const Line& line);
  void count(const Line& line);
  void flush_counts();
  void end_take(const Line& line);
  void index_ended(TakeId take, int ear, Micros end);
  void put_key(TakeId take, const std::string& reason, Micros end);
  struct Told;  // what the lines of a take say of it
  Told told_of(TakeId take, const std::function<void(const Line&)>& use = {});
  // The sound lines of the take that are of these kinds, in order.
  void each_line(std::initializer_list<LineKind> kinds, TakeId take, const std::function<void(Line&&)>& use);
  Detail detail_of(Summary summary, std::vector<Line> lines);
  void insert_meeting(TakeId take, Micros at, const MeetingFacts& met);
  std::vector<KeptMeeting> kept_meetings(TakeId take);
  std::vector<Statement> heard_statements(TakeId take, Micros end, const std::vector<KeptMeeting>& meetings);
  void index_heard(TakeId take, int ear, const std::vector<Statement>& statements);
  void count_own(TakeId take, const std::vector<Statement>& statements,
                 const std::vector<KeptMeeting>& meetings);
  // A number in the table `about`; 0 if it has none.
  std::int64_t number_about(const char* name);
  void keep_about(const char* name, std::int64_t value);
  // Its find print comes to the desk with `commit`: a search on another thread may be filling the desk from
  // the file, which has no more than what is committed.
  void keep_find_print(TakeId take);
  void commit(SQLite::Transaction& group);
  FindPrint find_lines(TakeId take);  // that are kept, without the notes
  void keep_about(TakeId take, const TakeAbout& about);
  TakeAbout about_from_log(TakeId take);
  void forget_study(TakeId take);
  LineNumber last_said(TakeId take);
  std::vector<Judgement> judged(TakeId take);
  void keep_judgement(TakeId take, const Judgement& said);
  std::vector<DigestMark> marks_of(const Summary& take);
  std::optional<TakeId> same_take(const std::vector<FindNote>& notes, std::int64_t content);
  // What ended takes can be recognised by.
  void find_contents(std::span<Summary> takes);
  void load_kinds();
  std::vector<IndexedTake>& all_indexed();
  void forget_index();
  // The number of a chord kind. A new kind gets the next number, in the file too if `kept`.
  std::uint32_t kind_of_chord(const std::string& harte, bool kept);
  std::string digest_of(const std::vector<Statement>& statements, bool kept);
  std::uint64_t unheard();

  struct Counts {
    std::uint64_t notes = 0, chords = 0, marks = 0;
    Micros last_at{};
    LineNumber last_line = 0;
  } counts_;  // of the open take, since the file was last updated

  SQLite::Database file_;
  std::shared_ptr<FindDesk> desk_;  // find prints
  std::vector<FindLines> printed_;  // since the last commit
  State state_;
  std::uint64_t device_ = 0, inode_ = 0;
  std::uint64_t damaged_ = 0;
  std::string mended_;
  std::vector<ChordKind> kinds_;                     // by number, as in the file; empty: not read yet
  std::map<std::string, std::uint32_t> kind_names_;  // by Harte form
  std::optional<std::uint64_t> unheard_;             // cached count
  std::optional<std::vector<IndexedTake>> index_;    // all digests, as begun_of; read on first use
  std::string id_;
};

}  // namespace undersong::takes
