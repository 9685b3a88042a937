// Damage to the file of takes is noticed, what can be read is read back, and nothing that is read is taken
// for what was played unless it is. tests/damage damages whole stores at random.
#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>

#include <fstream>

#include "daemon/takes/backup.h"
#include "daemon/takes/damaged_store.h"
#include "daemon/takes/database.h"
#include "daemon/takes/line_check.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

constexpr int kNotes = 3000;

// Two takes, the first with a name and a mark. Closed, so there is no write-ahead log.
std::vector<Line> make_takes(const std::filesystem::path& path) {
  Reported reported;
  auto store = open_store(path, reported);
  for (int take = 0; take < 2; ++take) {
    const std::int64_t begin = 1'000'000 + take * 100'000'000;
    store->append(take_begin(us(begin), 1'790'000'000'000 + take));
    for (int i = 0; i < kNotes; ++i) store->append(note(begin + i * 1000, 40 + i % 40));
    store->append(chord_in_force(us(begin + 5000), reading(5, "maj7", -1)));
    store->append(mark(us(begin + 6000), "this turn"));
    EXPECT_TRUE(appended(*store, take_end(us(begin + kNotes * 1000), EndReason::kRequest)));
  }
  const auto named = now<LineNumber>(
      [&](auto answer) { store->edit(LineKind::kRename, 1, us(300'000'000), "the first", answer); });
  EXPECT_TRUE(named);
  auto lines = lines_of(*store);
  EXPECT_TRUE(store->close().all_kept());
  return lines;
}

void flip(const std::filesystem::path& path, std::size_t at, int bit) {
  std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
  file.seekg(static_cast<std::streamoff>(at));
  const int byte = file.get();
  file.seekp(static_cast<std::streamoff>(at));
  file.put(static_cast<char>(byte ^ (1 << bit)));
}

void zero_page(const std::filesystem::path& path, std::size_t page) {
  std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
  file.seekp(static_cast<std::streamoff>(page * PageReader::kPageSize));
  file << std::string(PageReader::kPageSize, '\0');
}

// The number of a page with lines, counted from 0.
std::size_t page_of_log(const std::filesystem::path& path, int which) {
  SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
  SQLite::Statement query(
      file,
      "SELECT pageno FROM dbstat WHERE name = 'log' AND pagetype = 'leaf' ORDER BY pageno LIMIT 1 OFFSET ?");
  query.bind(1, which);
  EXPECT_TRUE(query.executeStep());
  return static_cast<std::size_t>(query.getColumn(0).getInt()) - 1;
}

void change(const std::filesystem::path& path, const std::string& sql) {
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
  file.exec(sql);
}

std::unique_ptr<Store> checked(const std::filesystem::path& path, Reported& reported) {
  auto store = open_store(path, reported, {.path = {}, .check = true});
  EXPECT_TRUE(reported.wait([](const auto&, const Health& h) { return h.checked_utc_ms.has_value(); }));
  return store;
}

bool same(const Line& a, const Line& b) {
  return a.number == b.number && a.take == b.take && a.at == b.at && a.kind == b.kind && a.data == b.data;
}

TEST(WholeStore, PassesTheCheckAndHasAChecksumForEachLine) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  make_takes(path);
  Reported reported;
  auto store = checked(path, reported);
  EXPECT_EQ(store->health().damage, "");
  EXPECT_EQ(store->health().sentence, "");
  SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
  EXPECT_EQ(file.execAndGet("SELECT count(*) FROM log WHERE sum IS NULL").getInt(), 0);
}

TEST(DamagedHeader, CostsNothingWhicheverBitIsFlipped) {
  TemporaryFolder folder;
  const auto made = folder.path / "made.db";
  const auto lines = make_takes(made);
  for (std::size_t bit = 0; bit < 800; bit += 7) {
    const auto path = folder.path / ("takes-" + std::to_string(bit) + ".db");
    std::filesystem::copy_file(made, path);
    flip(path, bit / 8, static_cast<int>(bit % 8));
    Reported reported;
    auto store = open_store(path, reported);
    ASSERT_TRUE(store) << "bit " << bit;
    ASSERT_TRUE(store->health().good) << "bit " << bit << ": " << store->health().sentence;
    // A free list that is damaged, for example, can't be put right: then the file is read back into a new
    // one.
    ASSERT_TRUE(reported.wait([&](const auto&, const Health& h) {
      return h.sentence.find("was moved to") == std::string::npos ||
             h.sentence.find("read back") != std::string::npos;
    })) << "bit "
        << bit;
    const auto now_there = lines_of(*store);
    ASSERT_EQ(now_there.size(), lines.size()) << "bit " << bit << ": " << store->health().sentence;
    for (std::size_t i = 0; i < lines.size(); ++i) ASSERT_TRUE(same(now_there[i], lines[i])) << "bit " << bit;
    const auto detail = now<Detail>([&](auto answer) { store->detail(1, answer); });
    ASSERT_TRUE(detail) << "bit " << bit;
    EXPECT_EQ(detail->summary.title, "the first");
    store.reset();
    for (const auto& file : std::filesystem::directory_iterator(folder.path))
      if (file.path().filename().string().starts_with(path.filename().string()))
        std::filesystem::remove(file);
  }
}

TEST(DamagedLine, IsLeftOutCountedAndTold) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto lines = make_takes(path);
  change(path, "UPDATE log SET data = X'00903B50' WHERE number = 20");
  Reported reported;
  auto store = checked(path, reported);
  const auto there = lines_of(*store);
  ASSERT_EQ(there.size(), lines.size() - 1);
  EXPECT_EQ(there[18].number, 19u);
  EXPECT_EQ(there[19].number, 21u);
  EXPECT_NE(store->health().damage.find("1 line of the takes is damaged and left out: take 1."),
            std::string::npos)
      << store->health().damage;
  EXPECT_TRUE(store->health().good) << "it can be written";
  EXPECT_EQ(lines_of(*store, 1, 1, 20).size(), 20u) << "a page of lines is full in spite of it";
}

TEST(DamagedRow, IsMadeAgainFromTheLog) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  make_takes(path);
  change(path,
         "UPDATE takes SET title = 'thE first', notes = 7, begin_utc_ms = 5, deleted = 1 WHERE take = 1; "
         "DELETE FROM takes WHERE take = 2; INSERT INTO takes(take, begin_utc_ms, at, last_at, ended, "
         "first_line, "
         "last_line) VALUES (77, 1, 1, 1, 'stop', 1, 1)");
  Reported reported;
  auto store = checked(path, reported);
  EXPECT_NE(store->health().sentence.find("takes 1, 2 was damaged"), std::string::npos)
      << store->health().sentence;
  const auto found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_TRUE(found);
  ASSERT_EQ(found->takes.size(), 2u);
  EXPECT_EQ(found->takes[1].title, "the first");
  EXPECT_EQ(found->takes[1].notes, static_cast<std::uint64_t>(kNotes));
  EXPECT_EQ(found->takes[1].begin_utc_ms, 1'790'000'000'000);
  EXPECT_EQ(found->takes[0].notes, static_cast<std::uint64_t>(kNotes));
  EXPECT_EQ(found->takes[0].ended, "request");
}

TEST(DamagedIndex, IsMadeAgain) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto lines = make_takes(path);
  // An index that lacks rows, as after a page of it was lost: it is not written while its table is.
  change(path,
         "PRAGMA writable_schema = ON; CREATE TEMP TABLE was AS SELECT sql FROM sqlite_master WHERE name = "
         "'log_by_take'; "
         "UPDATE sqlite_master SET sql = sql || ' WHERE take > 1' WHERE name = 'log_by_take'; PRAGMA "
         "writable_schema = RESET; "
         "REINDEX log_by_take; PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = (SELECT sql FROM "
         "was) WHERE name = "
         "'log_by_take'; PRAGMA writable_schema = RESET");
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
    ASSERT_NE(file.execAndGet("PRAGMA integrity_check(1)").getString(), "ok");
  }
  Reported reported;
  auto store = checked(path, reported);
  EXPECT_NE(store->health().sentence.find("An index of the takes was damaged"), std::string::npos)
      << store->health().sentence;
  EXPECT_EQ(lines_of(*store, 1).size() + lines_of(*store, 2).size(), lines.size());
}

TEST(DamagedPages, AreNoticedAndEverythingElseIsReadBack) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto lines = make_takes(path);
  zero_page(path, page_of_log(path, 9));
  Reported reported;
  auto store = open_store(path, reported, {.path = {}, .check = true});
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) {
    return h.sentence.find("read back") != std::string::npos;
  })) << store->health().sentence
      << store->health().damage;
  EXPECT_TRUE(store->health().good);
  EXPECT_NE(store->health().sentence.find("could not be read"), std::string::npos)
      << store->health().sentence;
  const auto there = lines_of(*store);
  EXPECT_LT(there.size(), lines.size());
  EXPECT_GT(there.size(), lines.size() - 300) << "only what was on the page is missing";
  for (const Line& line : there) ASSERT_TRUE(same(line, lines[line.number - 1]));
  const auto found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_TRUE(found);
  ASSERT_EQ(found->takes.size(), 2u);
  EXPECT_EQ(found->takes[1].title, "the first");
  EXPECT_TRUE(std::filesystem::exists(path.string() + ".damaged-1")) << "nothing is thrown away";
  // The next take has numbers of its own.
  store->append(take_begin(us(900'000'000), 1'790'000'900'000));
  const auto number = appended(*store, note(900'000'001, 60));
  ASSERT_TRUE(number);
  EXPECT_GT(*number, lines.back().number);
  store->append(take_end(us(900'000'002), EndReason::kRequest));
  EXPECT_EQ(now<Detail>([&](auto answer) { store->detail({}, answer); })->summary.take, 3u);
}

TEST(DamagedPages, WhileATakeIsPlayedTheFileIsSetAsideWhenItHasEnded) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto lines = make_takes(path);
  zero_page(path, page_of_log(path, 9));
  Reported reported;
  auto store = open_store(path, reported);
  store->append(take_begin(us(900'000'000), 1'790'000'900'000));
  ASSERT_TRUE(appended(*store, note(900'000'001, 60)));
  EXPECT_FALSE(now<std::vector<Line>>([&](auto answer) { store->lines({}, 1, 1'000'000, {}, answer); }));
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return !h.damage.empty(); }));
  ASSERT_TRUE(appended(*store, note(900'000'002, 60)));
  EXPECT_FALSE(std::filesystem::exists(path.string() + ".damaged-1")) << "not in the middle of a take";
  ASSERT_TRUE(appended(*store, take_end(us(900'000'003), EndReason::kRequest)));
  ASSERT_TRUE(reported.wait(
      [](const auto&, const Health& h) { return h.sentence.find("read back") != std::string::npos; }));
  EXPECT_EQ(store->health().damage, "");
  const auto found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_TRUE(found);
  EXPECT_EQ(found->takes.size(), 3u);
}

TEST(Rescue, GoesOnAfterAKill) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto lines = make_takes(path);
  std::filesystem::rename(path, folder.path / "old.db");
  {  // As a daemon leaves it that was killed at once.
    auto database = Database::open(path, {lines.back().number + 1, 3});
    ASSERT_TRUE(database);
    database->begin_rescue(folder.path / "old.db");
    database->put_rescued({lines.begin(), lines.begin() + 700});
  }
  Reported reported;
  auto store = open_store(path, reported);
  ASSERT_TRUE(reported.wait(
      [](const auto&, const Health& h) { return h.sentence.find("read back") != std::string::npos; }));
  EXPECT_EQ(lines_of(*store).size(), lines.size());
}

TEST(LineCheck, FindsEveryFlippedBit) {
  Line line{17, 3, us(123'456), LineKind::kMidi, std::string("\x00\x90\x3C\x50", 4)};
  const std::int64_t sum{checksum(line)};
  ASSERT_TRUE(is_sound(line, sum));
  for (std::size_t bit = 0; bit < line.data.size() * 8; ++bit) {
    Line other = line;
    other.data[bit / 8] = static_cast<char>(other.data[bit / 8] ^ (1 << bit % 8));
    EXPECT_FALSE(is_sound(other, sum));
  }
  for (int bit = 0; bit < 60; ++bit) {
    Line other = line;
    other.at = Micros(other.at.count() ^ (std::int64_t{1} << bit));
    EXPECT_FALSE(is_sound(other, sum));
  }
}

TEST(LineCheck, ALineWithoutAChecksumMustLookLikeOne) {
  const auto whole = [](LineKind kind, std::string data) {
    return is_sound({1, 1, us(1), kind, std::move(data)}, std::nullopt);
  };
  EXPECT_TRUE(whole(LineKind::kChord, R"({"harte":"C:maj"})"));
  EXPECT_FALSE(whole(LineKind::kChord, R"({"harte":"C:maj")"));
  EXPECT_FALSE(whole(LineKind::kKey, "[1]"));
  EXPECT_FALSE(whole(LineKind::kKey, "{\"harte\":\"\xFF\"}"));
  EXPECT_FALSE(whole(LineKind::kMark, "\xC3("));
  EXPECT_TRUE(whole(LineKind::kMark, "\xE2\x99\xAA"));
  EXPECT_FALSE(whole(LineKind::kMidi, std::string("\x00\x90\xBC\x50", 4)));
  EXPECT_FALSE(whole(LineKind::kTakeBegin, "yesterday"));
  EXPECT_FALSE(whole(static_cast<LineKind>(77), ""));
}

}  // namespace
}  // namespace undersong::takes
