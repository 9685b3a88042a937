// Backups of a file of takes that is in use, and back.
#include "daemon/takes/backup.h"

#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <atomic>
#include <fstream>
#include <thread>

#include "daemon/takes/database.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

using std::filesystem::path;

void play_some(Store& store, std::int64_t begin, int notes) {
  store.append(take_begin(us(begin), 1'790'000'000'000 + begin));
  for (int i = 0; i < notes; ++i) store.append(note(begin + i, 60));
  ASSERT_TRUE(appended(store, take_end(us(begin + notes), EndReason::kRequest)));
}

Result<std::uintmax_t> backup(Store& store, const path& to) {
  return now<std::uintmax_t>([&](auto answer) { store.backup(to, answer); });
}
Result<path> restore(Store& store, const path& from) {
  return now<path>([&](auto answer) { store.restore(from, answer); });
}

TEST(Backup, IsAWholeStoreThatOnlyThePlayerCanRead) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_some(*store, 1'000'000, 500);
  store->append(take_begin(us(9'000'000), 1));  // a take is being played meanwhile
  ASSERT_TRUE(appended(*store, note(9'000'001, 64)));
  const path to = folder.path / "there" / "copy.db";
  const auto size = backup(*store, to);
  ASSERT_TRUE(size) << size.error().message;
  EXPECT_EQ(*size, std::filesystem::file_size(to));
  EXPECT_FALSE(not_a_store(to));
  EXPECT_FALSE(std::filesystem::exists(to.string() + "-wal"));
  EXPECT_FALSE(std::filesystem::exists(to.string() + ".part"));
  struct stat about {};
  ASSERT_EQ(::stat(to.c_str(), &about), 0);
  EXPECT_EQ(about.st_mode & 0777, 0600u);
  Reported of_copy;
  auto copy = open_store(to, of_copy);
  EXPECT_EQ(lines_of(*copy).size(), 504u + 1u) << "and the end of the take that was being played";
}

TEST(Backup, ReplacesNoFile) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  std::ofstream(folder.path / "there") << "mine";
  const auto refused = backup(*store, folder.path / "there");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kConflict);
  EXPECT_EQ(refused.error().message,
            "There is a file " + (folder.path / "there").string() + " already; name another.");
}

TEST(Backup, HoldsTheStoreAsItWasWhenItWasBegunWhileOthersWrite) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported,
                          {.path = {}, .commit_every = std::chrono::milliseconds(1)});
  play_some(*store, 1'000'000, 20'000);
  std::atomic<bool> done{false};
  std::thread player([&] {
    store->append(take_begin(us(90'000'000), 1));
    for (int i = 0; !done; ++i) (void)appended(*store, note(90'000'001 + i, 64));
  });
  const auto size =
      back_up(folder.path / "takes.db", folder.path / "copy.db", {.pause = std::chrono::milliseconds(2)});
  done = true;
  player.join();
  ASSERT_TRUE(size) << size.error().message;
  SQLite::Database copy((folder.path / "copy.db").string(), SQLite::OPEN_READONLY);
  EXPECT_EQ(copy.execAndGet("PRAGMA integrity_check").getString(), "ok");
  EXPECT_EQ(copy.execAndGet("SELECT count(*) - max(number) FROM log").getInt(), 0)
      << "no line is missing between";
}

TEST(Restore, BringsTheTakesBackAndKeepsThoseThatWereThere) {
  TemporaryFolder folder;
  Reported reported;
  const path file = folder.path / "takes.db";
  auto store = open_store(file, reported);
  play_some(*store, 1'000'000, 10);
  ASSERT_TRUE(backup(*store, folder.path / "copy.db"));
  play_some(*store, 2'000'000, 20);
  const std::string id = store->health().id;
  const LineNumber last = store->last_number();
  const auto kept = restore(*store, folder.path / "copy.db");
  ASSERT_TRUE(kept) << kept.error().message;
  EXPECT_EQ(*kept, file.string() + ".before-restore-1");
  EXPECT_FALSE(not_a_store(*kept));
  EXPECT_NE(store->health().id, id) << "its numbers mean other lines";
  auto found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_TRUE(found);
  ASSERT_EQ(found->takes.size(), 1u);
  EXPECT_EQ(found->takes[0].notes, 10u);
  play_some(*store, 3'000'000, 5);
  found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_EQ(found->takes.size(), 2u);
  EXPECT_EQ(found->takes[0].take, 3u) << "no number is given twice";
  EXPECT_GT(found->takes[0].first_line, last);
}

TEST(Restore, RefusesWhatIsNoStoreADamagedOneAndWhileATakeIsPlayed) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_some(*store, 1'000'000, 3000);
  std::ofstream(folder.path / "letter") << "dear";
  EXPECT_EQ(restore(*store, folder.path / "letter").error().message,
            "The file " + (folder.path / "letter").string() + " does not hold takes, or is damaged.");
  EXPECT_EQ(restore(*store, folder.path / "nowhere").error().code, ErrorCode::kNotFound);
  ASSERT_TRUE(backup(*store, folder.path / "copy.db"));
  std::filesystem::copy_file(folder.path / "copy.db", folder.path / "damaged.db");
  std::filesystem::resize_file(folder.path / "damaged.db",
                               std::filesystem::file_size(folder.path / "copy.db") / 2);
  EXPECT_EQ(restore(*store, folder.path / "damaged.db").error().code, ErrorCode::kInvalidInput);
  store->append(take_begin(us(9'000'000), 1));
  ASSERT_TRUE(appended(*store, note(9'000'001, 64)));
  const auto refused = restore(*store, folder.path / "copy.db");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().message, "Take 2 is being played; end it first.");
  EXPECT_EQ(lines_of(*store).size(), 3004u) << "everything is as it was";
  EXPECT_FALSE(std::filesystem::exists((folder.path / "takes.db").string() + ".restoring"));
}

TEST(DailyBackups, ThereIsOneForEachDayOfUseAndTheOldestGo) {
  TemporaryFolder folder;
  const path file = folder.path / "takes.db";
  {
    Reported reported;
    auto store = open_store(file, reported);
    play_some(*store, 1'000'000, 5);
  }
  const DailyBackups daily(file, folder.path / "backups", 3);
  const auto day = std::chrono::sys_days(std::chrono::year(2026) / 11 / 20) + std::chrono::hours(12);
  for (int i = 0; i < 5; ++i) {
    const auto at = day + std::chrono::days(i);
    EXPECT_TRUE(daily.due(at));
    const auto made = daily.make(at, {});
    ASSERT_TRUE(made) << made.error().message;
    EXPECT_FALSE(daily.due(at + std::chrono::hours(1)));
  }
  std::vector<std::string> there;
  for (const auto& each : std::filesystem::directory_iterator(folder.path / "backups"))
    there.push_back(each.path().filename().string());
  std::sort(there.begin(), there.end());
  EXPECT_EQ(there,
            (std::vector<std::string>{"takes-2026-11-22.db", "takes-2026-11-23.db", "takes-2026-11-24.db"}));
  EXPECT_TRUE(daily.newest_utc_ms());
}

TEST(DailyBackups, TheStoreMakesThatOfTodayByItself) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported,
                          {.path = {}, .check = true, .backups = folder.path / "backups", .keep_backups = 7});
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return h.backed_up_utc_ms.has_value(); }))
      << store->health().sentence;
  std::size_t count = 0;
  for (const auto& each : std::filesystem::directory_iterator(folder.path / "backups")) {
    EXPECT_FALSE(not_a_store(each.path()));
    ++count;
  }
  EXPECT_EQ(count, 1u);
}

TEST(Store, TwoThreadsMayCloseItAtOnce) {
  for (int round = 0; round < 20; ++round) {
    TemporaryFolder folder;
    Reported reported;
    auto store = open_store(folder.path / "takes.db", reported);
    store->append(take_begin(us(1), 1));
    std::thread other([&] { EXPECT_TRUE(store->close().all_kept()); });
    EXPECT_TRUE(store->close().all_kept());
    other.join();
  }
}

}  // namespace
}  // namespace undersong::takes
