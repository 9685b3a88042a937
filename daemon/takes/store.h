// The store keeps takes: everything that was played and heard, in one SQLite file that one thread owns.
//
//   auto store = Store::open({.path = file},
//                            {.deliver = post_to_my_thread, .on_lines = publish, .on_health = show});
//   (*store)->append(take_begin(at, now_utc_ms));
//   (*store)->append(midi_received(event));
//
// Entries are committed in small groups: kCommitEvery after the first entry of a group, or at once if a
// caller waits for an answer. A line gets its number when it is committed. A line that has a number survives
// a killed daemon, and a power cut if the disk keeps its promises (synchronous = FULL).
//
// If the file cannot be written (disk full, locked by another program, damaged), entries wait in memory, at
// most kMostWaitingLines and kMostWaitingBytes. Further entries are dropped and counted, except those that
// begin and end takes. `on_health` reports this, and the store tries again every kRetryEvery. A damaged file
// is renamed with ".damaged-" and a number, and a new file is begun, whose numbers go on. Then what can be
// read of the damaged file is read back (store_care.h). What still waits when the store closes goes into a
// spill file (spill.h), which the next start reads back and removes.
//
// Requests wait in a queue of at most kMostTasks; further ones are answered with kExhausted at once. Only a
// few answers may be undelivered at a time, so that a busy owner does not collect a pile of them.
//
// Units: Micros on the clock of the run that made the entries; wall time in milliseconds since 1970, UTC.
// Threads: call from any thread. Only `open`, `close` and the destructor wait for the disk. Answers and
// reports are passed to Reports::deliver, usually on the store's own thread, named "takes".
// Errors: Result with one sentence. If memory runs out, requests are answered with an error and unwritten
// entries wait, as with a full disk. Only `append` may throw, to its caller.
#pragma once

#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/bring.h"
#include "daemon/takes/digest.h"
#include "daemon/takes/find_takes.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/own_idiom.h"
#include "daemon/takes/search.h"
#include "daemon/takes/studied_take.h"
#include "daemon/takes/take_about.h"

namespace undersong::takes {

struct AboutTake {
  TakeId take = 0;
  Micros length{};
  TakeAbout about;
};
struct SimilarTakes {
  TakeId take = 0;
  std::vector<FoundPlace> places;
};

struct Health {
  bool good = true;
  std::string sentence;       // what is wrong or was lost; "" if nothing
  std::uint64_t waiting = 0;  // entries in memory that are not on disk
  std::uint64_t lost = 0;     // entries dropped since the start because memory was full
  std::string id;             // of the file; "" until it could be opened
  std::string damage;         // what is damaged and could not be put right; "" if nothing is known to be
  std::optional<std::int64_t> checked_utc_ms;    // when all of it was last checked
  std::optional<std::int64_t> backed_up_utc_ms;  // when the newest daily backup was made
  friend bool operator==(const Health&, const Health&) = default;
};

class Store {
 public:
  static constexpr std::chrono::milliseconds kCommitEvery{250};
  static constexpr std::chrono::milliseconds kRetryEvery{500};
  static constexpr std::size_t kMostWaitingLines = 200'000;
  static constexpr std::size_t kMostWaitingBytes = 64u << 20;
  static constexpr std::size_t kMostTasks = 1024;

  struct Options {
    std::filesystem::path path;
    std::size_t most_waiting_lines = kMostWaitingLines;
    std::size_t most_waiting_bytes = kMostWaitingBytes;
    std::size_t most_tasks = kMostTasks;
    std::chrono::milliseconds commit_every = kCommitEvery;
    std::chrono::milliseconds retry_every = kRetryEvery;
    std::int64_t most_pages = 0;  // size limit of the file in pages of 4 KB; 0: no limit
    // Folders for a spill file if there is no room beside the takes, best first.
    std::vector<std::filesystem::path> spill_folders{};
    bool check = false;               // everything in the background after opening (store_care.h)
    std::filesystem::path backups{};  // folder for the backups of each day
    std::size_t keep_backups = 0;     // how many of them; 0: none are made
  };
  using Work = std::function<void()>;
  struct Reports {
    // Runs the work on the thread that wants answers and reports. Must be safe to call from any thread: it is
    // called on the thread "takes", or on the caller's own thread if a call is refused because too much
    // waits. Empty: the work runs at once on the calling thread.
    std::function<void(Work)> deliver;
    std::function<void(std::vector<Line>)> on_lines;  // through `deliver`: lines now on disk, in order
    std::function<void(Health)> on_health;            // through `deliver`: when it has changed
  };
  // Called through Reports::deliver, so on the thread that it chooses.
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  // Error only if the file must not be touched: a newer Undersong or another program wrote it.
  static Result<std::unique_ptr<Store>> open(Options options, Reports reports);
  virtual ~Store() = default;  // closes

  struct Closed {
    std::uint64_t spilled = 0;  // entries that are in `spill` and not in the store
    std::uint64_t lost = 0;     // entries that are not stored anywhere
    std::filesystem::path spill;
    std::string sentence;  // what happened to them and why; "" if everything is in the store
    bool all_kept() const { return spilled == 0 && lost == 0; }
  };
  // Writes what is left and returns what became of it. Call it after the last append; further calls return
  // the same.
  virtual Closed close() = 0;

  // Never waits for the disk. `done` gets the line's number once the line is on disk. If writing fails at
  // first, `done` gets an error; the entry stays in memory and is written later.
  virtual void append(Entry entry, Answer<LineNumber> done = {}) = 0;

  virtual Health health() const = 0;
  // The newest line number on disk; 0 if there is none.
  virtual LineNumber last_number() const = 0;

  // For rename, annotate, correction, verdict, delete and restore of any take. Answered when it is on disk.
  virtual void edit(LineKind kind, TakeId take, Micros at, std::string text, Answer<LineNumber> answer) = 0;
  virtual void list(Search search, Answer<Found> answer) = 0;
  virtual void detail(std::optional<TakeId> take, Answer<Detail> answer) = 0;
  // At most `limit` lines from number `from` on, of one take or of all. Only the named kinds; without any,
  // all kinds.
  virtual void lines(std::optional<TakeId> take, LineNumber from, std::size_t limit,
                     std::vector<LineKind> kinds, Answer<std::vector<Line>> answer) = 0;
  struct Midi {
    Detail detail;
    std::vector<midi::Event> events;
    std::vector<Line> said;  // by the player, of the beat and of chords
  };
  virtual void midi(std::optional<TakeId> take, Answer<Midi> answer) = 0;
  virtual void find(MomentSearch search, Answer<FoundMoments> answer) = 0;
  // Without a number: the newest take that is not deleted.
  virtual void meetings(std::optional<TakeId> take, Answer<TakeMeetings> answer) = 0;
  // The newest ended take before `before` that was analysed by an older ear, or never; see statement.h.
  virtual void next_unheard(TakeId before, Answer<std::optional<TakeId>> answer) = 0;
  // Replaces what is indexed of the take. Answered when it is on disk.
  virtual void put_heard(HeardAgain heard, Answer<TakeId> answer) = 0;
  // The player's own idiom (own_idiom.h).
  virtual void own(Answer<OwnIdiom> answer) = 0;
  // Makes the missing rows of up to `most` takes for it. Answers how many are left.
  virtual void count_own(std::size_t most, Answer<std::uint64_t> answer) = 0;
  // Forgets it up to now; the takes stay. Answers what is left when that is on disk.
  virtual void erase_own(std::int64_t utc_ms, Answer<OwnIdiom> answer) = 0;
  // The takes that hold what somebody played (find_takes.h).
  virtual void find_places(FindQuery query, Answer<FoundPlaces> answer) = 0;
  // Makes the missing find prints of up to `most` takes. Answers how many are left.
  virtual void make_find_prints(std::size_t most, Answer<std::uint64_t> answer) = 0;
  // Reads up to `most` more of them, so that the first question need not wait. Answers whether all are there.
  virtual void fill_shelf(std::size_t most, Answer<bool> answer) = 0;
  // The take with exactly these notes, if it is there.
  virtual void known(std::vector<FindNote> notes, Answer<std::optional<TakeId>> answer) = 0;
  // Adds a take that was played elsewhere. Answered when it is on disk.
  virtual void bring(BroughtTake take, Answer<Brought> answer) = 0;
  // What is known at a glance of a take, by default of the newest. Error while it is being played.
  virtual void about(std::optional<TakeId> take, Answer<AboutTake> answer) = 0;
  // The newest ended take before `before` that was not studied since something was said of it.
  virtual void next_unstudied(TakeId before, Answer<std::optional<TakeId>> answer) = 0;
  // Keeps what a study found; answers whether it still held. Answered when it is on disk.
  virtual void put_study(StudiedTake studied, Answer<bool> answer) = 0;
  // An answer that was kept with the study of a take, by default of the newest; nothing if none holds.
  virtual void kept_answer(std::optional<TakeId> take, std::string name,
                           Answer<std::optional<std::string>> answer) = 0;
  // Takes that go round the same chords, most alike first.
  virtual void similar(std::optional<TakeId> take, Answer<SimilarTakes> answer) = 0;
  virtual void digest(DigestSearch search, Answer<FoundDigest> answer) = 0;
  // Writes a copy of the file of takes; no file may have that name. Answers how large it is.
  virtual void backup(std::filesystem::path to, Answer<std::uintmax_t> answer) = 0;
  // Takes the place of the file of takes: a copy of `from`. Answers where the file that was there is kept.
  // Error while a take is being played, or if `from` is not a whole store.
  virtual void restore(std::filesystem::path from, Answer<std::filesystem::path> answer) = 0;

 protected:
  Store() = default;
};

}  // namespace undersong::takes
