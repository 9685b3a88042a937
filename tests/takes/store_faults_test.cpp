// The store with real faults: killed processes, locks, full disks, damaged files and files of other programs.
#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>

#include <csignal>
#include <fstream>

#include "daemon/takes/database.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

// A child process connected to the test by a pipe.
class Child {
 public:
  template <class Job>
  explicit Child(Job job) {
    EXPECT_EQ(::pipe(out_), 0);
    EXPECT_EQ(::pipe(in_), 0);
    pid_ = ::fork();
    if (pid_ == 0) {
      ::close(out_[0]);
      ::close(in_[1]);
      job(out_[1], in_[0]);
      ::_exit(0);
    }
    ::close(out_[1]);
    ::close(in_[0]);
  }
  ~Child() {
    ::close(in_[1]);
    ::close(out_[0]);
    if (pid_ > 0) end(SIGKILL);
  }
  int reading() const { return out_[0]; }
  void release() const { EXPECT_EQ(::write(in_[1], "x", 1), 1); }
  void end(int signal) {
    ::kill(pid_, signal);
    int status = 0;
    ::waitpid(pid_, &status, 0);
    pid_ = -1;
  }
  void join() {
    int status = 0;
    ::waitpid(pid_, &status, 0);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    pid_ = -1;
  }

 private:
  int out_[2], in_[2];
  pid_t pid_ = -1;
};

TEST(KilledMidTake, LosesNoAcknowledgedLineAndClosesTheTakeAtTheNextStart) {
  for (int round = 0; round < 5; ++round) {
    TemporaryFolder folder;
    const auto path = folder.path / "takes.db";
    Child player([&](int out, int) {
      Store::Options options;
      options.path = path;
      options.commit_every = std::chrono::milliseconds(1);
      // Report every announced line to the parent at once: number and time.
      auto store = Store::open(
          options,
          {{},
           [out](std::vector<Line> lines) {
             for (const Line& line : lines) {
               const std::int64_t told[2] = {static_cast<std::int64_t>(line.number), line.at.count()};
               if (::write(out, told, sizeof told) != sizeof told) ::_exit(3);
             }
           },
           {}});
      if (!store) ::_exit(2);
      (*store)->append(take_begin(us(1), 1'790'000'000'000));
      for (std::int64_t at = 2;; ++at) {
        (*store)->append(note(at, 60));
        if (at % 64 == 0) ::usleep(200);
      }
    });
    std::int64_t told[2] = {0, 0};
    std::int64_t last = 0, last_at = 0;
    const int enough = 500 + 777 * round;
    for (int i = 0; i < enough; ++i) {
      ASSERT_EQ(::read(player.reading(), told, sizeof told), static_cast<ssize_t>(sizeof told));
      ASSERT_EQ(told[0], last + 1);
      last = told[0];
      last_at = told[1];
    }
    player.end(SIGKILL);
    while (::read(player.reading(), told, sizeof told) == sizeof told) {
      last = told[0];
      last_at = told[1];
    }
    Reported reported;
    auto store = open_store(path, reported);
    EXPECT_TRUE(store->health().good) << store->health().sentence;
    const auto lines = lines_of(*store);
    ASSERT_GT(lines.size(), static_cast<std::size_t>(last)) << "all that were announced, and the end";
    expect_no_gaps(lines);
    EXPECT_EQ(lines[static_cast<std::size_t>(last) - 1].at, us(last_at));
    EXPECT_EQ(lines.back().kind, LineKind::kTakeEnd);
    EXPECT_EQ(lines.back().data, "interrupted");
    EXPECT_EQ(lines.back().at, lines[lines.size() - 2].at);
    const auto take = now<Detail>([&](auto answer) { store->detail({}, answer); });
    EXPECT_EQ(take->summary.ended, "interrupted");
    EXPECT_EQ(take->summary.notes, lines.size() - 2);
    EXPECT_EQ(take->summary.last_line, lines.back().number);
  }
}

TEST(LockedByAnotherProcess, KeepsLinesInMemorySaysSoAndWritesThemLater) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  Reported reported;
  { open_store(path, reported); }
  Child locker([&](int out, int in) {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    file.exec("BEGIN IMMEDIATE");
    char c = 'l';
    if (::write(out, &c, 1) != 1 || ::read(in, &c, 1) != 1) ::_exit(2);
    file.exec("COMMIT");
  });
  char c = 0;
  ASSERT_EQ(::read(locker.reading(), &c, 1), 1);
  auto store = open_store(path, reported);
  store->append(take_begin(us(0), 0));
  for (int i = 1; i <= 50; ++i) store->append(note(i, 60));
  const auto refused = appended(*store, mark(us(51), "kept"));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kUnavailable);
  EXPECT_NE(refused.error().message.find("locked by another program"), std::string::npos)
      << refused.error().message;
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return !h.good && h.waiting == 52; }));
  EXPECT_NE(reported.health().sentence.find("52 lines are waiting in memory"), std::string::npos)
      << reported.health().sentence;
  EXPECT_TRUE(reported.lines().empty()) << "nothing is numbered that isn't on disk";
  locker.release();
  locker.join();
  ASSERT_TRUE(reported.wait_for_lines(52));
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return h.good; }));
  expect_no_gaps(reported.lines());
  EXPECT_EQ(lines_of(*store).back().data, "kept");
}

// Limits the size of files, like a full disk, and restores the limit at the end.
class FileSizeLimit {
 public:
  explicit FileSizeLimit(rlim_t bytes) {
    ::signal(SIGXFSZ, SIG_IGN);
    ::getrlimit(RLIMIT_FSIZE, &before_);
    rlimit now = before_;
    now.rlim_cur = bytes;
    EXPECT_EQ(::setrlimit(RLIMIT_FSIZE, &now), 0);
  }
  ~FileSizeLimit() { ::setrlimit(RLIMIT_FSIZE, &before_); }

 private:
  rlimit before_{};
};

TEST(WritesFail, KeepsLinesInMemoryAndWritesThemWhenItCan) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  store->append(take_begin(us(0), 0));
  ASSERT_TRUE(appended(*store, note(1, 60)));
  {
    FileSizeLimit limit(120'000);
    for (int i = 2; i <= 20'000; ++i) store->append(note(i, 60));
    ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return !h.good && h.waiting > 0; }));
    EXPECT_NE(reported.health().sentence.find("waiting in memory"), std::string::npos)
        << reported.health().sentence;
  }
  ASSERT_TRUE(reported.wait_for_lines(20'001));
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return h.good; }));
  expect_no_gaps(reported.lines());
  const auto lines = lines_of(*store);
  ASSERT_EQ(lines.size(), 20'001u);
  expect_no_gaps(lines);
  EXPECT_EQ(lines.back().at, us(20'000));
}

TEST(DiskFull, CountsWhatDoesNotFitInMemoryAndNeverDropsTheEndsOfTakes) {
  TemporaryFolder folder;
  Reported reported;
  Store::Options options;
  options.most_pages = 30;
  options.most_waiting_lines = 3'000;
  auto store = open_store(folder.path / "takes.db", reported, options);
  store->append(take_begin(us(0), 0));
  for (int i = 1; i <= 40'000; ++i) store->append(note(i, 60));
  store->append(take_end(us(40'001), EndReason::kRequest));
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return !h.good && h.lost > 0; }));
  const Health health = store->health();
  EXPECT_NE(health.sentence.find("full"), std::string::npos) << health.sentence;
  EXPECT_NE(health.sentence.find("are lost"), std::string::npos) << health.sentence;
  EXPECT_LE(health.waiting, 3'001u);
  EXPECT_EQ(reported.lines().size() + health.waiting + health.lost, 40'002u)
      << "every line is on disk, waiting or counted";
  const auto refused = appended(*store, mark(us(5), "no room"));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kExhausted);
  const auto lines = lines_of(*store);
  expect_no_gaps(lines);
}

TEST(DamagedFile, IsKeptAsideAndANewOneIsBegun) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const std::string garbage = "this was never a database" + std::string(5000, '#');
  std::ofstream(path) << garbage;
  Reported reported;
  auto store = open_store(path, reported);
  EXPECT_TRUE(store->health().good);
  EXPECT_NE(store->health().sentence.find("was moved to"), std::string::npos) << store->health().sentence;
  std::ifstream aside(path.string() + ".damaged-1");
  EXPECT_EQ(std::string(std::istreambuf_iterator<char>(aside), {}), garbage);
  store->append(take_begin(us(0), 0));
  EXPECT_EQ(*appended(*store, note(1, 60)), 2u);
}

TEST(DamagedFile, WhileATakeIsPlayedTheTakeGoesOnInANewFile) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  Reported reported;
  auto store = open_store(path, reported);
  store->append(take_begin(us(10), 123));
  ASSERT_EQ(*appended(*store, note(11, 60)), 2u);
  {  // Another program damages the file by writing to it, and the store must read it again.
    SQLite::Database other(path.string(), SQLite::OPEN_READWRITE);
    other.exec("UPDATE about SET value = value");
    other.exec("PRAGMA wal_checkpoint(TRUNCATE)");
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    file.seekp(0, std::ios::end);
    const auto size = static_cast<std::size_t>(file.tellp());
    file.seekp(4096);
    file << std::string(size - 4096, '\xAB');
  }
  for (int i = 0; i < 5000; ++i) store->append(note(100 + i, 60));
  ASSERT_TRUE(reported.wait_for_lines(2 + 5000));
  const auto lines = reported.lines();
  expect_no_gaps(lines);
  std::size_t notes = 0;
  for (const Line& line : lines) notes += line.kind == LineKind::kMidi;
  EXPECT_EQ(notes, 5001u) << "none is lost, none is written twice";
  EXPECT_EQ(lines[2].kind, LineKind::kTakeBegin) << "of the same take, in the new file";
  EXPECT_TRUE(std::filesystem::exists(path.string() + ".damaged-1"));
  EXPECT_NE(store->health().sentence.find("was moved to"), std::string::npos) << store->health().sentence;
}

TEST(RemovedFile, IsBegunAnewWithNumbersThatGoOn) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  Reported reported;
  auto store = open_store(path, reported);
  store->append(take_begin(us(10), 123));
  ASSERT_EQ(*appended(*store, note(11, 60)), 2u);
  const std::string id = store->health().id;
  for (const char* suffix : {"", "-wal", "-shm"}) std::filesystem::remove(path.string() + suffix);
  EXPECT_EQ(*appended(*store, note(12, 62)), 4u) << "line 3 begins the take again in the new file";
  EXPECT_TRUE(std::filesystem::exists(path));
  EXPECT_NE(store->health().id, id);
  EXPECT_NE(store->health().sentence.find("moved or deleted"), std::string::npos) << store->health().sentence;
  const auto lines = lines_of(*store);
  ASSERT_EQ(lines.size(), 2u);
  expect_no_gaps(lines, 3);
  EXPECT_EQ(lines[0].kind, LineKind::kTakeBegin);
  EXPECT_EQ(lines[0].data, "123");
}

TEST(NewerFile, IsRefusedAndLeftAsItIs) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    file.exec("CREATE TABLE later(x); PRAGMA user_version = 99");
  }
  const auto refused = Store::open({.path = path}, {});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("newer undersong (layout 99"), std::string::npos)
      << refused.error().message;
  SQLite::Database file(path.string());
  EXPECT_EQ(file.execAndGet("PRAGMA user_version").getInt(), 99);
}

TEST(AnotherProgramsFile, IsRefusedAndLeftAsItIs) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    file.exec("CREATE TABLE recipes(x)");
  }
  const auto refused = Store::open({.path = path}, {});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("belongs to another program"), std::string::npos)
      << refused.error().message;
}

TEST(NoPlaceToWrite, TheDaemonGoesOnInMemory) {
  TemporaryFolder folder;
  std::ofstream(folder.path / "not-a-folder") << "x";
  Reported reported;
  auto store = open_store(folder.path / "not-a-folder" / "takes.db", reported);
  EXPECT_FALSE(store->health().good);
  store->append(take_begin(us(0), 0));
  const auto refused = appended(*store, note(1, 60));
  ASSERT_FALSE(refused);
  const auto list = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_FALSE(list);
  std::filesystem::remove(folder.path / "not-a-folder");
  ASSERT_TRUE(reported.wait_for_lines(2)) << "written as soon as there is a place";
}

}  // namespace
}  // namespace undersong::takes
