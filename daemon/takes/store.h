// The store keeps takes: everything that was played and heard, in one SQLite file that one thread owns.
//
//   auto store = Store::open({.path = file}, {.deliver = post_to_my_thread, .on_lines = publish, .on_health =
//   say}); store->append(take_begin(at, now_utc_ms)); store->append(midi_received(event));
//
// Entries are put on disk in small groups, kCommitEvery after the first of a group or at once when somebody
// waits for it. A line gets its number with the commit that puts it on disk: what has a number, or was
// answered with one, is there after the daemon is killed, and after a power cut as far as the disk keeps its
// promises (synchronous = FULL).
//
// When the file can't be written (disk full, locked by another program, damaged), entries wait in memory, at
// most kMostWaitingLines and kMostWaitingBytes; beyond that new ones are left out and counted, except those
// that begin and end takes. `on_health` says so, the store tries again every kRetryEvery, and writes when it
// can. A damaged file is kept under a name with ".damaged-" and a number, and a new one is begun whose line
// numbers go on where known. What still waits when the store closes goes into a spill file (spill.h), which
// the next start reads back and removes.
//
// Questions wait in line, at most kMostTasks: beyond, the answer is kExhausted at once. A few answers at most
// are made before the first of them is taken, so that an owner who is busy finds no heap of them.
//
// Threads: any thread may call; nothing here waits for the disk but `close` and the destructor, which write
// what is left. Answers and reports are handed to `deliver` from the thread named "takes". Errors: Result
// with one sentence. When memory is short, what is asked is answered so, what could not be written waits as
// for a full disk, and only `append` may throw, to its caller.
#pragma once

#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/search.h"

namespace undersong::takes {

struct Health {
  bool good = true;
  std::string sentence;       // what is wrong or was lost; "" when nothing
  std::uint64_t waiting = 0;  // entries in memory, not on disk
  std::uint64_t lost = 0;     // entries that did not fit in memory, since the start
  std::string id;             // of the file; "" until it could be opened
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
    std::int64_t most_pages = 0;  // of 4 KB, for the file; 0: as many as the disk holds
    std::vector<std::filesystem::path>
        spill_folders{};  // for a spill file when there is no room beside the takes, best first
  };
  using Work = std::function<void()>;
  struct Reports {
    std::function<void(Work)> deliver;  // runs the work where answers are wanted; empty: right here
    std::function<void(std::vector<Line>)> on_lines;  // lines that are now on disk, in order
    std::function<void(Health)> on_health;            // when it has changed
  };
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  // Error only if the file is not ours to touch: written by a newer undersong or by another program.
  static Result<std::unique_ptr<Store>> open(Options options, Reports reports);
  virtual ~Store() = default;  // closes

  struct Closed {
    std::uint64_t spilled = 0;  // entries that are in `spill` and not in the store
    std::uint64_t lost = 0;     // entries that are nowhere
    std::filesystem::path spill;
    std::string sentence;  // what happened to them and why; "" when all is in the store
    bool all_kept() const { return spilled == 0 && lost == 0; }
  };
  // Writes what is left and says what became of it. To be called once all is appended; later calls give the
  // same.
  virtual Closed close() = 0;

  // Never waits. `done` gets the line's number once it is on disk, or an error when that failed at first; the
  // entry is then kept in memory and written later.
  virtual void append(Entry entry, Answer<LineNumber> done = {}) = 0;

  virtual Health health() const = 0;
  // The newest number on disk; 0 when there is none.
  virtual LineNumber last_number() const = 0;

  // rename, annotate, correction, delete and restore of any take; answered when it is on disk.
  virtual void edit(LineKind kind, TakeId take, Micros at, std::string text, Answer<LineNumber> answer) = 0;
  virtual void list(Search search, Answer<Found> answer) = 0;
  virtual void detail(std::optional<TakeId> take, Answer<Detail> answer) = 0;
  // From this number on, of one take or all, at most `limit`, of these kinds; of all kinds when none is
  // named.
  virtual void lines(std::optional<TakeId> take, LineNumber from, std::size_t limit,
                     std::vector<LineKind> kinds, Answer<std::vector<Line>> answer) = 0;
  struct Midi {
    Detail detail;
    std::vector<midi::Event> events;
    std::vector<Line> said;  // by the player, of the beat and of chords
  };
  virtual void midi(std::optional<TakeId> take, Answer<Midi> answer) = 0;
  virtual void find(MomentSearch search, Answer<FoundMoments> answer) = 0;
  // The newest that is not deleted without a number.
  virtual void meetings(std::optional<TakeId> take, Answer<TakeMeetings> answer) = 0;
  // The newest take before this one that an older ear has heard, or none; see statement.h.
  virtual void next_unheard(TakeId before, Answer<std::optional<TakeId>> answer) = 0;
  // Answered when it is on disk.
  virtual void put_heard(HeardAgain heard, Answer<TakeId> answer) = 0;

 protected:
  Store() = default;
};

}  // namespace undersong::takes
