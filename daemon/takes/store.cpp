// Over 400 lines: the store's thread has one state from opening the file to writing the spill.
#include "daemon/takes/store.h"

#include <pthread.h>
#include <sys/resource.h>
#include <unistd.h>

#include <atomic>
#include <condition_variable>
#include <deque>
#include <future>
#include <mutex>
#include <thread>

#include "daemon/base/caught.h"
#include "daemon/base/worker.h"
#include "daemon/takes/backup.h"
#include "daemon/takes/damaged_store.h"
#include "daemon/takes/database.h"
#include "daemon/takes/spill.h"
#include "daemon/takes/store_care.h"

namespace undersong::takes {
namespace {

using Clock = std::chrono::steady_clock;
// Most lines of what the player said of one take that are read.
constexpr std::size_t kMostSaid = 20'000;
// Most lines in one transaction, so that a long backlog is written in parts.
constexpr std::size_t kGroup = 10'000;
constexpr std::size_t kAnnouncedAtOnce = 256;
constexpr int kMostUndelivered = 16;                // most answers that were handed over but not yet received
constexpr std::chrono::milliseconds kLookAgain{2};  // how often to check whether they were received

struct Pending {
  Entry entry;
  std::unique_ptr<Store::Answer<LineNumber>> done;
  std::size_t bytes() const { return sizeof(Pending) + entry.data.capacity(); }
};

bool frames_take(const Entry& entry) {
  return entry.kind == LineKind::kTakeBegin || entry.kind == LineKind::kTakeEnd;
}

// Renames a file, and the files that belong to it, within its folder. `why` begins the new ending.
std::filesystem::path move_aside(const std::filesystem::path& path, const std::string& why) {
  std::error_code ignored;
  std::filesystem::path aside;
  for (int n = 1; n < 10'000; ++n) {
    aside = path.string() + why + std::to_string(n);
    if (!std::filesystem::exists(aside, ignored)) break;
  }
  std::filesystem::rename(path, aside, ignored);
  for (const char* suffix : {"-wal", "-shm"})
    std::filesystem::rename(path.string() + suffix, aside.string() + suffix, ignored);
  return aside;
}

class SqliteStore final : public Store {
 public:
  SqliteStore(Options options, Reports reports)
      : options_(std::move(options)), reports_(std::make_shared<const Reports>(std::move(reports))) {}

  ~SqliteStore() override { (void)finish(); }

  Closed close() override { return finish(); }

  // Call it before the thread starts.
  std::optional<Error> first_open() {
    if (auto refused = try_open()) return refused;
    care_ = std::make_unique<StoreCare>(
        StoreCare::Options{options_.path, options_.check, options_.backups, options_.keep_backups},
        StoreCare::World{[this](auto work) { return with_database(std::move(work)); },
                         [this] { return set_file_aside(); },
                         [this](const std::string& sentence) { remark_and_tell(sentence); },
                         [this](const std::string& sentence) { change_health([&] { damage_ = sentence; }); },
                         [this](std::int64_t utc_ms) { change_health([&] { checked_utc_ms_ = utc_ms; }); },
                         [this](std::optional<std::int64_t> utc_ms) {
                           change_health([&] { backed_up_utc_ms_ = utc_ms; });
                         }});
    thread_ = std::thread([this] { run(); });
    return std::nullopt;
  }

  void append(Entry entry, Answer<LineNumber> done) override {
    Pending pending{std::move(entry), done ? std::make_unique<Answer<LineNumber>>(std::move(done)) : nullptr};
    bool wake = false;
    {
      std::lock_guard lock(mutex_);
      const bool full = waiting_lines_ >= options_.most_waiting_lines ||
                        waiting_bytes_ + pending.bytes() > options_.most_waiting_bytes;
      if (!full || frames_take(pending.entry)) {
        ++waiting_lines_;
        waiting_bytes_ += pending.bytes();
        wake = incoming_.empty() || pending.done;
        urgent_ = urgent_ || pending.done;
        incoming_.push_back(std::move(pending));
      } else {
        ++lost_;
      }
    }
    if (wake)
      wake_.notify_one();
    else if (pending.done)  // `pending` was not moved, because it did not fit
      later([done = std::move(*pending.done)] {
        done(Error{ErrorCode::kExhausted, "The take can't be written, and no more of it fits in memory."});
      });
  }

  Health health() const override {
    std::lock_guard lock(mutex_);
    return health_locked();
  }

  LineNumber last_number() const override {
    std::lock_guard lock(mutex_);
    return last_number_;
  }

  void edit(LineKind kind, TakeId take, Micros at, std::string text, Answer<LineNumber> answer) override {
    task<LineNumber>(std::move(answer), true,
                     [this, kind, take, at, text = std::move(text)]() -> Result<LineNumber> {
                       auto line = database_->edit(kind, take, at, text);
                       if (!line) return line.error();
                       const LineNumber number = line->number;
                       announce({std::move(*line)});
                       return number;
                     });
  }

  void list(Search search, Answer<Found> answer) override {
    task<Found>(std::move(answer), false,
                [this, search = std::move(search)]() -> Result<Found> { return database_->list(search); });
  }

  void detail(std::optional<TakeId> take, Answer<Detail> answer) override {
    task<Detail>(std::move(answer), false, [this, take] { return find(take); });
  }

  void lines(std::optional<TakeId> take, LineNumber from, std::size_t limit, std::vector<LineKind> kinds,
             Answer<std::vector<Line>> answer) override {
    task<std::vector<Line>>(std::move(answer), false, [=, this]() -> Result<std::vector<Line>> {
      if (take && !database_->has(*take)) return not_found("There is no take " + std::to_string(*take) + ".");
      return database_->lines(take, from, limit, kinds);
    });
  }

  void midi(std::optional<TakeId> take, Answer<Midi> answer) override {
    task<Midi>(std::move(answer), false, [this, take]() -> Result<Midi> {
      auto whole = database_->whole(take, kMostSaid);
      if (!whole) return no_take(take);
      return Midi{std::move(whole->detail), std::move(whole->events), std::move(whole->said)};
    });
  }

  void find(MomentSearch search, Answer<FoundMoments> answer) override {
    task<FoundMoments>(
        std::move(answer), false,
        [this, search = std::move(search)]() -> Result<FoundMoments> { return database_->find(search); });
  }

  void meetings(std::optional<TakeId> take, Answer<TakeMeetings> answer) override {
    task<TakeMeetings>(std::move(answer), false, [this, take]() -> Result<TakeMeetings> {
      const auto found = database_->summary(take);
      if (!found) return no_take(take);
      return database_->meetings(found->take);
    });
  }

  void next_unheard(TakeId before, Answer<std::optional<TakeId>> answer) override {
    task<std::optional<TakeId>>(std::move(answer), false, [this, before]() -> Result<std::optional<TakeId>> {
      return database_->next_unheard(before);
    });
  }

  void put_heard(HeardAgain heard, Answer<TakeId> answer) override {
    task<TakeId>(std::move(answer), false, [this, heard = std::move(heard)]() -> Result<TakeId> {
      if (!database_->has(heard.take)) return no_take(heard.take);
      database_->put_heard(heard);
      return heard.take;
    });
  }

  void own(Answer<OwnIdiom> answer) override {
    task<OwnIdiom>(std::move(answer), false, [this]() -> Result<OwnIdiom> { return database_->own(); });
  }

  void count_own(std::size_t most, Answer<std::uint64_t> answer) override {
    task<std::uint64_t>(std::move(answer), false,
                        [this, most]() -> Result<std::uint64_t> { return database_->count_own(most); });
  }

  void erase_own(std::int64_t utc_ms, Answer<OwnIdiom> answer) override {
    task<OwnIdiom>(std::move(answer), true, [this, utc_ms]() -> Result<OwnIdiom> {
      database_->erase_own(utc_ms);
      return database_->own();
    });
  }

  void find_places(FindQuery query, Answer<FoundPlaces> answer) override {
    search<FoundPlaces>(
        std::move(answer), [this, query = std::move(query)]() -> Result<Searching<FoundPlaces>> {
          return Searching<FoundPlaces>([desk = database_->desk(), query] { return desk->find(query); });
        });
  }

  void make_find_prints(std::size_t most, Answer<std::uint64_t> answer) override {
    task<std::uint64_t>(std::move(answer), false, [this, most]() -> Result<std::uint64_t> {
      return database_->make_find_prints(most);
    });
  }

  void fill_shelf(std::size_t most, Answer<bool> answer) override {
    search<bool>(std::move(answer), [this, most]() -> Result<Searching<bool>> {
      return Searching<bool>([desk = database_->desk(), most] { return desk->fill(most); });
    });
  }

  void known(std::vector<FindNote> notes, Answer<std::optional<TakeId>> answer) override {
    task<std::optional<TakeId>>(std::move(answer), false,
                                [this, notes = std::move(notes)]() -> Result<std::optional<TakeId>> {
                                  return database_->known(notes);
                                });
  }

  void bring(BroughtTake take, Answer<Brought> answer) override {
    task<Brought>(std::move(answer), true, [this, take = std::move(take)]() -> Result<Brought> {
      Brought brought = database_->bring(take);
      announce(std::move(brought.lines));
      return brought;
    });
  }

  void about(std::optional<TakeId> take, Answer<AboutTake> answer) override {
    task<AboutTake>(std::move(answer), false, [this, take]() -> Result<AboutTake> {
      const auto found = database_->summary(take);
      if (!found) return no_take(take);
      auto about = database_->about(found->take);
      if (!about)
        return unavailable("Take " + std::to_string(found->take) + " is still being played; end it first.");
      return AboutTake{found->take, found->last_at - found->at, std::move(*about)};
    });
  }

  void next_unstudied(TakeId before, Answer<std::optional<TakeId>> answer) override {
    task<std::optional<TakeId>>(std::move(answer), false, [this, before]() -> Result<std::optional<TakeId>> {
      return database_->next_unstudied(before);
    });
  }

  void put_study(StudiedTake studied, Answer<bool> answer) override {
    task<bool>(std::move(answer), false, [this, studied = std::move(studied)]() -> Result<bool> {
      return database_->has(studied.take) && database_->put_study(studied);
    });
  }

  void kept_answer(std::optional<TakeId> take, std::string name,
                   Answer<std::optional<std::string>> answer) override {
    task<std::optional<std::string>>(
        std::move(answer), false,
        [this, take, name = std::move(name)]() -> Result<std::optional<std::string>> {
          const auto found = database_->summary(take);
          if (!found) return no_take(take);
          return database_->kept_answer(found->take, name);
        });
  }

  void similar(std::optional<TakeId> take, Answer<SimilarTakes> answer) override {
    search<SimilarTakes>(std::move(answer), [this, take]() -> Result<Searching<SimilarTakes>> {
      const auto found = database_->summary(take);
      if (!found) return no_take(take);
      return Searching<SimilarTakes>(
          [desk = database_->desk(), take = found->take, question = database_->similar_to(found->take)] {
            if (!question) return SimilarTakes{take, {}};
            return SimilarTakes{take, Database::similar_of(*question, desk->find(question->query))};
          });
    });
  }

  void digest(DigestSearch search, Answer<FoundDigest> answer) override {
    task<FoundDigest>(std::move(answer), false,
                      [this, search]() -> Result<FoundDigest> { return database_->digest(search); });
  }

  void backup(std::filesystem::path to, Answer<std::uintmax_t> answer) override {
    aside<std::uintmax_t>(std::move(answer), [this, to](const std::atomic<bool>& stopping) {
      return back_up(options_.path, to, {.stop = &stopping});
    });
  }

  void restore(std::filesystem::path from, Answer<std::filesystem::path> answer) override {
    aside<std::filesystem::path>(
        std::move(answer), [this, from](const std::atomic<bool>& stopping) -> Result<std::filesystem::path> {
          if (auto wrong = not_a_store(from)) return *wrong;
          const std::filesystem::path prepared = options_.path.string() + ".restoring";
          std::error_code failed;
          std::filesystem::remove(prepared, failed);
          if (auto copied = back_up(from, prepared, {.stop = &stopping}); !copied) return copied.error();
          Result<std::filesystem::path> kept = unavailable("The takes are being closed.");
          const auto put_in_place = [&] { kept = replace_file_with(prepared); };
          if (!on_store_thread(put_in_place) || !kept) std::filesystem::remove(prepared, failed);
          return kept;
        });
  }

 private:
  static Error no_take(std::optional<TakeId> take) {
    return not_found(take ? "There is no take " + std::to_string(*take) + "." : "There is no take yet.");
  }

  // Two threads may close it at once: both wait until it is closed.
  Closed finish() {
    const std::lock_guard once(closing_);
    {
      std::lock_guard lock(mutex_);
      stop_ = true;
    }
    wake_.notify_one();
    if (thread_.joinable()) thread_.join();
    finder_.stop();
    if (care_) care_->stop();
    return closed_;
  }

  // ---- for StoreCare, on its thread

  // Runs the work between other tasks and waits for it. False if the store is closing.
  bool on_store_thread(const std::function<void()>& work) {
    // Shared, because the other thread may still be in set_value when this one has the answer.
    const auto done = std::make_shared<std::promise<bool>>();
    {
      const std::lock_guard lock(mutex_);
      if (stop_) return false;
      ++own_tasks_;
      tasks_.push_back([this, done, &work](bool stopping) {
        {
          const std::lock_guard begun(mutex_);
          --own_tasks_;
        }
        bool ran = !stopping;
        if (!stopping) try {
            work();
          } catch (const SQLite::Exception& e) {
            if (kind_of(e) == Trouble::kDamaged) damage_met_ = true;
            ran = false;
          } catch (...) {
            ran = false;
          }
        done->set_value(ran);
      });
    }
    wake_.notify_one();
    return done->get_future().get();
  }

  bool with_database(const std::function<void(Database&)>& work) {
    bool done = false;
    const bool ran = on_store_thread([&] {
      if (!database_) return;
      work(*database_);
      done = true;
    });
    return ran && done;
  }

  bool set_file_aside() {
    bool done = false;
    return on_store_thread([&] {
             if (database_ && database_->open_take()) return;
             done = true;
             begin_anew();
             change_health([&] {
               damage_.clear();
               checked_utc_ms_.reset();
             });
             (void)try_open();
           }) &&
           done;
  }

  // What runs on that thread and answers like any task.
  template <class T, class Work>
  void aside(Answer<T> answer, Work work) {
    const auto shared = std::make_shared<Answer<T>>(std::move(answer));
    const auto tell = [this, shared](Result<T> result) {
      later([shared, result = std::move(result)]() mutable { (*shared)(std::move(result)); });
    };
    const bool taken = care_->ask([work = std::move(work), tell](const std::atomic<bool>& stopping) {
      tell(guarded<T>("the takes were copied", [&] { return Result<T>(work(stopping)); }));
    });
    if (!taken) tell(unavailable("The takes are being closed."));
  }

  // What is done on the thread "find", so that nothing that is written waits for it.
  template <class T>
  using Searching = std::function<T()>;

  // `prepare` runs on the store's thread, after everything appended so far; the search that it returns runs
  // on the thread "find".
  template <class T, class Prepare>
  void search(Answer<T> answer, Prepare prepare) {
    // Answers when it is dropped as well: a search that waits when the store is closed never runs.
    struct Owed {
      Owed(const SqliteStore& where, Answer<T> to) : store(where), answer(std::move(to)) {}
      Owed(const Owed&) = delete;
      const SqliteStore& store;
      Answer<T> answer;
      void give(Result<T> result) {
        store.later([answer = std::exchange(answer, {}), result = std::move(result)]() mutable {
          answer(std::move(result));
        });
      }
      ~Owed() {
        if (answer) give(unavailable("The takes are being closed."));
      }
    };
    const auto owed = std::make_shared<Owed>(*this, std::move(answer));
    task<Searching<T>>(
        [this, owed](Result<Searching<T>> prepared) {
          if (!prepared) return owed->give(prepared.error());
          const bool taken =
              finder_.run([this, owed, search = std::move(*prepared)] { owed->give(searched<T>(search)); });
          if (!taken)
            owed->give(Error{ErrorCode::kExhausted, "Too many searches at once; try again in a moment."});
        },
        false, std::move(prepare), false);
  }

  template <class T>
  Result<T> searched(const Searching<T>& search) {
    try {
      return search();
    } catch (const SQLite::Exception& e) {
      if (kind_of(e) == Trouble::kDamaged) {
        damage_met_ = true;
        change_health([] {});
      }
      return unavailable(sentence_of(e, options_.path));
    } catch (...) {
      return caught("the takes were searched");
    }
  }

  void remark_and_tell(const std::string& sentence) {
    remark(sentence);
    change_health([] {});
  }

  template <class Change>
  void change_health(Change change) {
    {
      const std::lock_guard lock(mutex_);
      change();
      urgent_ = true;
    }
    wake_.notify_one();  // the store's thread tells it
  }

  // ---- on the store's thread

  // `prepared` takes the place of the file of takes. Numbers of lines and takes are never given twice,
  // because clients and studies know takes by them.
  Result<std::filesystem::path> replace_file_with(const std::filesystem::path& prepared) {
    if (!database_) return unavailable(trouble_);
    if (const auto take = database_->open_take())
      return Error{ErrorCode::kConflict, "Take " + std::to_string(*take) + " is being played; end it first."};
    if (!backlog_.empty()) return unavailable("Some lines are not written yet; try again in a moment.");
    Database::go_on_in(prepared, {database_->next_number(), database_->next_take()});
    database_.reset();
    const auto kept = move_aside(options_.path, ".before-restore-");
    std::error_code failed;
    std::filesystem::rename(prepared, options_.path, failed);
    if (failed) {  // back as it was
      std::filesystem::rename(kept, options_.path, failed);
      (void)try_open();
      return unavailable("The backup could not take the place of " + options_.path.string() + ".");
    }
    {
      const std::lock_guard lock(mutex_);
      damage_.clear();
    }
    (void)try_open();
    care_->nudge();
    return kept;
  }

  Result<Detail> find(std::optional<TakeId> take) {
    auto detail = database_->detail(take);
    if (!detail) return no_take(take);
    return std::move(*detail);
  }

  void later(Work work) const {
    if (reports_->deliver)
      reports_->deliver(std::move(work));
    else
      work();
  }

  // Queues `ask` for the store's thread, where it runs after everything appended so far, and delivers its
  // result. Once the store is being closed, requests that only read are refused.
  template <class T, class Ask>
  void task(Answer<T> answer, bool writes, Ask ask, bool deliver = true) {
    {
      std::unique_lock lock(mutex_);
      if (tasks_.size() >= options_.most_tasks + own_tasks_) {
        lock.unlock();
        return later([answer = std::move(answer)] {
          answer(Error{ErrorCode::kExhausted,
                       "Too many requests to the take store at once; try again in a moment."});
        });
      }
      tasks_.push_back([this, answer = std::move(answer), writes, deliver,
                        ask = std::move(ask)](bool stopping) mutable {
        Result<T> result = unavailable("The takes can't be read now.");
        if (stopping && !writes) {
          result = unavailable("The takes are being closed.");
        } else if (!database_) {
          result = unavailable(trouble_);
        } else {
          try {
            result = ask();
          } catch (const SQLite::Exception& e) {
            if (kind_of(e) == Trouble::kDamaged) damage_met_ = true;
            result = Error{kind_of(e) == Trouble::kFull ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                           sentence_of(e, options_.path)};
          } catch (...) {
            result = caught("the takes were read");
          }
        }
        if (!deliver) return answer(std::move(result));
        ++*undelivered_;
        later([answer = std::move(answer), result = std::move(result), undelivered = undelivered_]() mutable {
          --*undelivered;
          answer(std::move(result));
        });
      });
    }
    wake_.notify_one();
  }

  void run() {
    pthread_setname_np(pthread_self(), "takes");
    // Writing may wait, listening may not: with one core, the listener goes first.
    setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), 10);
    tell_health();  // problems found while opening
    std::unique_lock lock(mutex_);
    for (bool last = false; !last;) {
      try {
        last = turn(lock);
      } catch (...) {  // unwritten entries stay in the backlog
        if (lock.owns_lock()) lock.unlock();
        give_up();
        lock.lock();
      }
    }
    lock.unlock();
    for (Pending& pending : backlog_) fail(pending);
    closed_ = spill();
    database_.reset();
  }

  void give_up() noexcept {
    try {
      set_trouble(caught("the takes were written").message);
      tell_health();
    } catch (...) {  // no memory even for a sentence
    }
  }

  // Waits for work and does it. Returns true when the store is stopping and no work is left.
  bool turn(std::unique_lock<std::mutex>& lock) {
    const auto room = [this] { return *undelivered_ < kMostUndelivered; };
    const auto ready = [&] { return stop_ || urgent_ || (!tasks_.empty() && room()); };
    if (!stop_ && incoming_.empty() && tasks_.empty() && backlog_.empty() && trouble_.empty())
      wake_.wait(lock, [&] { return ready() || !incoming_.empty(); });
    // A caller that receives its answers slowly must wait, while playing is still written.
    if (!trouble_.empty())
      wake_.wait_for(lock, options_.retry_every, ready);
    else if (!incoming_.empty())
      wake_.wait_for(lock, options_.commit_every, ready);
    else if (!ready())
      wake_.wait_for(lock, kLookAgain, ready);
    urgent_ = false;
    for (; !incoming_.empty(); incoming_.pop_front()) backlog_.push_back(std::move(incoming_.front()));
    std::deque<std::function<void(bool)>> tasks;
    const bool last = stop_;
    const auto take_task = [&] {
      tasks.push_back(std::move(tasks_.front()));
      tasks_.pop_front();
    };
    for (int n = *undelivered_; !tasks_.empty() && (last || n < kMostUndelivered); ++n) take_task();
    lock.unlock();
    try {
      write_backlog();
    } catch (...) {  // requests are answered all the same
      give_up();
    }
    for (const auto& work : tasks) work(last);
    if (damage_met_.exchange(false) && !last) {
      {
        const std::lock_guard damaged(mutex_);
        damage_ = "The file of takes " + options_.path.string() +
                  " is damaged. It will be set aside when no take is being played, "
                  "and what can be read of it will be read into a new one.";
      }
      care_->nudge(true);
    }
    tell_health();
    lock.lock();
    return last && incoming_.empty() && tasks_.empty();
  }

  // The folder of the takes, then others that may have room.
  std::vector<std::filesystem::path> spill_folders() const {
    std::vector<std::filesystem::path> folders{options_.path.has_parent_path() ? options_.path.parent_path()
                                                                               : "."};
    folders.insert(folders.end(), options_.spill_folders.begin(), options_.spill_folders.end());
    return folders;
  }

  // Writes to a spill file what could not be written to the database.
  Closed spill() {
    Closed closed;
    std::lock_guard lock(mutex_);
    closed.lost = lost_;
    if (!backlog_.empty()) {
      Spill spill;
      spill.store = id_;
      spill.path = std::filesystem::absolute(options_.path);
      if (database_ && database_->open_take()) {
        spill.take = *database_->open_take();
        spill.begin = open_begin_;
      } else if (resumed_begin_) {
        spill.entries.push_back(*resumed_begin_);
      }
      for (Pending& pending : backlog_) spill.entries.push_back(std::move(pending.entry));
      const std::uint64_t count = backlog_.size();
      backlog_.clear();
      const auto written = write_spill(spill, spill_folders());
      if (written) {
        closed.spilled = count;
        closed.spill = *written;
        closed.sentence = trouble_ + " " + std::to_string(count) +
                          " lines could not be written there; they are in " + written->string() +
                          " and will be read back at the next start.";
      } else {
        closed.lost += count;
        closed.sentence =
            trouble_ + " " + std::to_string(count) +
            " lines could be written neither there nor elsewhere and are lost: " + written.error().message;
      }
    }
    if (lost_ != 0) {
      closed.sentence += closed.sentence.empty() ? "" : " ";
      closed.sentence += std::to_string(lost_) + " lines did not fit in memory and are lost.";
    }
    return closed;
  }

  // Reads back lines that an earlier run could not write. Runs before interrupted takes are closed.
  void take_back(Database& database) {
    for (const auto& file : find_spills(options_.path, spill_folders())) {
      auto spill = read_spill(file);
      if (!spill) {
        remark(spill.error().message + " It is kept as it is.");
        continue;
      }
      if (spill->store != database.id() && spill->path != std::filesystem::absolute(options_.path))
        continue;  // it belongs to another store
      const std::string count = std::to_string(spill->entries.size()) + " lines";
      try {
        if (database.take_back(*spill))
          remark(count + " that could not be written when Undersong was stopped have been read back from " +
                 file.string() + ".");
        if (spill->damaged != 0) {
          remark(std::to_string(spill->damaged) + " lines of that file are damaged; it is kept as " +
                 set_aside(file).string() + ".");
          continue;
        }
        std::error_code failed;
        if (std::filesystem::remove(file, failed)) database.forget(*spill);
      } catch (const SQLite::Exception& e) {
        if (kind_of(e) == Trouble::kDamaged) throw;
        remark(count + " of an earlier run are still in " + file.string() +
               ", because they can't be written yet: " + sentence_of(e, options_.path));
      }
    }
  }

  void remark(const std::string& sentence) {
    std::lock_guard lock(mutex_);
    if (remark_.find(sentence) != std::string::npos) return;
    remark_ += (remark_.empty() ? "" : " ") + sentence;
  }

  // Returns an Error only if the file must not be touched. Other trouble is remembered, and the next attempt
  // follows later.
  std::optional<Error> try_open() {
    for (int attempt = 0; attempt < 2; ++attempt) {
      try {
        auto opened = Database::open(options_.path, first_, [this](Database& database) {
          if (!opened_once_) take_back(database);
        });
        if (!opened) {
          set_trouble(opened.error().message);
          return opened.error();
        }
        database_.emplace(std::move(*opened));
        opened_once_ = true;
        if (!database_->mended().empty()) remark(database_->mended());
        if (to_rescue_) {
          database_->begin_rescue(*to_rescue_);
          to_rescue_.reset();
          if (care_) care_->nudge();
        }
        if (options_.most_pages > 0) database_->limit_pages(options_.most_pages);
        if (resumed_begin_) {  // the take being played continues in the new file
          Pending again{*resumed_begin_, nullptr};
          std::lock_guard lock(mutex_);
          ++waiting_lines_;
          waiting_bytes_ += again.bytes();
          backlog_.push_front(std::move(again));
        }
        resumed_begin_.reset();
        set_trouble({});
        std::lock_guard lock(mutex_);
        id_ = database_->id();
        last_number_ = database_->next_number() - 1;
        return std::nullopt;
      } catch (const SQLite::Exception& e) {
        note_failure(e);
        if (kind_of(e) != Trouble::kDamaged) return std::nullopt;
      }
    }
    return std::nullopt;
  }

  void note_failure(const SQLite::Exception& e) {
    set_trouble(sentence_of(e, options_.path));
    if (kind_of(e) != Trouble::kDamaged) return;
    begin_anew();
  }

  // Sets the damaged file aside. The next one goes on with the numbers behind those in it.
  void begin_anew() {
    damage_met_ = false;
    const bool was_open = database_.has_value();
    forget_file();
    const auto aside = move_aside(options_.path, ".damaged-");
    if (!was_open)
      if (const auto damaged = DamagedStore::open(aside)) {
        const auto highest = damaged->highest();
        first_ = {std::max(first_.number, highest.line + 1), std::max(first_.take, highest.take + 1)};
      }
    to_rescue_ = aside;
    remark("A damaged file of takes was moved to " + aside.string() + " and a new one was started.");
  }

  // Keeps what must continue in the next file: the numbers and the take being played.
  void forget_file() {
    if (!database_) return;
    first_ = {database_->next_number(), database_->next_take()};
    if (database_->open_take()) resumed_begin_ = open_begin_;
    database_.reset();
  }

  void set_trouble(std::string sentence) {
    std::lock_guard lock(mutex_);
    trouble_ = std::move(sentence);
  }

  void write_backlog() {
    if (database_ && !database_->in_place(options_.path)) {
      forget_file();
      remark("The file of takes " + options_.path.string() +
             " was moved or deleted while in use, and a new one was started.");
    }
    if (!database_) try_open();
    while (database_ && !backlog_.empty()) {
      std::vector<const Entry*> group;
      for (const Pending& pending : backlog_) {
        group.push_back(&pending.entry);
        if (group.size() == kGroup) break;
      }
      try {
        committed(database_->write(group));
        set_trouble({});
      } catch (const SQLite::Exception& e) {
        note_failure(e);
        if (kind_of(e) != Trouble::kDamaged) break;
        try_open();
      }
    }
    // Tell waiting callers that the entry is not on disk yet; the entry stays.
    for (Pending& pending : backlog_) fail(pending);
  }

  void fail(Pending& pending) {
    if (!pending.done) return;
    later([done = std::move(*pending.done), sentence = trouble_] {
      done(unavailable(sentence + " It is kept in memory and will be written as soon as possible."));
    });
    pending.done.reset();
  }

  void committed(Database::Written written) {
    bool ended = false;
    std::size_t bytes = 0;
    std::vector<std::pair<std::unique_ptr<Answer<LineNumber>>, LineNumber>> answers;
    for (const LineNumber number : written.numbers) {
      Pending& pending = backlog_.front();
      bytes += pending.bytes();
      if (pending.entry.kind == LineKind::kTakeBegin) open_begin_ = pending.entry;
      if (pending.entry.kind == LineKind::kTakeEnd) ended = true;
      if (pending.done) answers.emplace_back(std::move(pending.done), number);
      backlog_.pop_front();
    }
    {
      std::lock_guard lock(mutex_);
      waiting_lines_ -= written.numbers.size();
      waiting_bytes_ -= bytes;
    }
    announce(std::move(written.lines));
    if (ended && care_) care_->nudge();
    for (auto& [done, number] : answers) later([done = std::move(*done), n = number] { done(n); });
  }

  void announce(std::vector<Line> lines) {
    if (lines.empty()) return;
    {
      std::lock_guard lock(mutex_);
      last_number_ = lines.back().number;
    }
    if (!reports_->on_lines) return;
    // The reports may run after the store is gone, so each holds a reference to them. In parts, so that a
    // file that is brought, or a long backlog, does not keep their thread from what is being played.
    for (std::size_t from = 0; from < lines.size(); from += kAnnouncedAtOnce) {
      const std::size_t to = std::min(lines.size(), from + kAnnouncedAtOnce);
      std::vector<Line> part(std::make_move_iterator(lines.begin() + static_cast<std::ptrdiff_t>(from)),
                             std::make_move_iterator(lines.begin() + static_cast<std::ptrdiff_t>(to)));
      later([r = reports_, part = std::move(part)]() mutable { r->on_lines(std::move(part)); });
    }
  }

  Health health_locked() const {
    Health health{trouble_.empty(), trouble_, 0, lost_, id_, damage_, checked_utc_ms_, backed_up_utc_ms_};
    if (!trouble_.empty()) {
      health.waiting = waiting_lines_;
      health.sentence += " " + std::to_string(waiting_lines_) + " lines are waiting in memory.";
    }
    const auto add = [&](const std::string& sentence) {
      health.sentence += (health.sentence.empty() ? "" : " ") + sentence;
    };
    if (lost_ != 0) add(std::to_string(lost_) + " lines did not fit in memory and are lost.");
    if (!remark_.empty()) add(remark_);
    return health;
  }

  void tell_health() {
    Health now;
    {
      std::lock_guard lock(mutex_);
      now = health_locked();
      if (now == told_) return;
      told_ = now;
    }
    if (reports_->on_health)
      later([r = reports_, now = std::move(now)]() mutable { r->on_health(std::move(now)); });
  }

  const Options options_;
  const std::shared_ptr<const Reports> reports_;

  // Shared between the callers' threads and the store's thread; every read and write holds mutex_, except
  // that the store's thread reads trouble_ without it. Callers write incoming_, tasks_, stop_, urgent_,
  // waiting_*, lost_, StoreCare's thread damage_ and *_utc_ms_; the store's thread takes from the queues and
  // writes the rest.
  mutable std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Pending> incoming_;
  std::deque<std::function<void(bool stopping)>> tasks_;
  std::size_t own_tasks_ = 0;  // of tasks_, those of StoreCare: they take no client's place
  bool stop_ = false, urgent_ = false;
  std::size_t waiting_lines_ = 0, waiting_bytes_ = 0;  // in incoming_ and backlog_ together
  std::uint64_t lost_ = 0;
  LineNumber last_number_ = 0;
  std::string id_, remark_, damage_;
  std::optional<std::int64_t> checked_utc_ms_, backed_up_utc_ms_;
  std::string trouble_;  // written only by the store's thread; "" while all is well
  Health told_;
  // Raised on the store's thread and lowered on the thread that receives the answer; may outlive the store.
  const std::shared_ptr<std::atomic<int>> undelivered_ = std::make_shared<std::atomic<int>>(0);

  // Used by the store's thread only; by first_open before that thread starts, and by finish after it ended.
  std::deque<Pending> backlog_;
  std::optional<Database> database_;
  std::optional<Entry> open_begin_, resumed_begin_;
  Database::First first_;
  std::optional<std::filesystem::path> to_rescue_;
  bool opened_once_ = false;
  std::atomic<bool> damage_met_ = false;  // a request met damage; written by "takes" and "find"
  Closed closed_;
  std::mutex closing_;  // held while the store is closed
  std::thread thread_;
  std::unique_ptr<StoreCare> care_;
  Worker finder_{"find", {}, {.nice = 5}};
};

}  // namespace

Result<std::unique_ptr<Store>> Store::open(Options options, Reports reports) {
  auto store = std::make_unique<SqliteStore>(std::move(options), std::move(reports));
  if (auto refused = store->first_open()) return *refused;
  return std::unique_ptr<Store>(std::move(store));
}

}  // namespace undersong::takes
