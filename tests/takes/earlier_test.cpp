// Stores that earlier versions wrote are opened: nothing in them is lost, and what was added to the layout
// since is there. earlier/layout_N.sql is a store of layout N as a program of that time wrote it: a take of
// two times round a loop of three chords. The layouts before are the same store without what later layouts
// added; they only ever added tables.
#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>

#include <array>
#include <fstream>
#include <sstream>

#include "daemon/takes/database.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

constexpr int kWritten = 4;  // the layout of the file
// What each layout added; the first has no entry.
constexpr std::array<const char*, 3> kAdded{
    "DROP TABLE meetings; DROP TABLE statements; DROP TABLE chord_kinds; DROP TABLE heard",
    "DROP TABLE own",
    "DROP TABLE find_prints; DROP TABLE find_notes",
};

// What the fifth layout added; the sixth has checksums.
constexpr const char* kFifth = R"(
CREATE TABLE abouts(take INTEGER PRIMARY KEY, version INTEGER NOT NULL, studied INTEGER NOT NULL, began_utc_ms INTEGER NOT NULL,
  loop_key INTEGER NOT NULL, loop_root INTEGER NOT NULL, name TEXT NOT NULL, picture TEXT NOT NULL);
CREATE INDEX abouts_by_loop ON abouts(loop_key, began_utc_ms);
CREATE TABLE kept_answers(take INTEGER NOT NULL, name TEXT NOT NULL, answer TEXT NOT NULL, PRIMARY KEY(take, name)) WITHOUT ROWID;
CREATE TABLE verdicts(take INTEGER NOT NULL, from_us INTEGER NOT NULL, length_us INTEGER NOT NULL, verdict INTEGER NOT NULL,
  PRIMARY KEY(take, from_us, length_us)) WITHOUT ROWID;
INSERT INTO kept_answers VALUES (1, 'take.loop', '{"old":true}');
)";
constexpr int kNewest = 5;  // of the layouts that are not the present one

void write_store(const std::filesystem::path& path, int layout) {
  std::ifstream file(std::string(UNDERSONG_SOURCE_DIR) + "/tests/takes/earlier/layout_4.sql");
  std::stringstream text;
  text << file.rdbuf();
  SQLite::Database database(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
  database.exec(text.str());
  for (int added = kWritten; added > layout; --added)
    database.exec(kAdded[static_cast<std::size_t>(added) - 2]);
  if (layout > kWritten) database.exec(kFifth);
  database.exec("PRAGMA user_version = " + std::to_string(layout));
}

class EarlierStore : public testing::TestWithParam<int> {};

TEST_P(EarlierStore, IsOpenedWithEverythingInIt) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  write_store(path, GetParam());
  Reported reported;
  {
    auto store = open_store(path, reported);
    const auto lines = lines_of(*store);
    ASSERT_EQ(lines.size(), 88u);
    std::size_t notes = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
      EXPECT_EQ(lines[i].number, i + 1);
      notes += lines[i].kind == LineKind::kMidi;
    }
    EXPECT_EQ(notes, 60u) << "thirty keys and their ends";
    EXPECT_TRUE(store->health().good);
    EXPECT_EQ(store->health().sentence, "") << "nothing had to be put right";
    EXPECT_EQ(store->health().id, "0123456789abcdef") << "it is the same store to its clients";
  }
  SQLite::Database database(path.string(), SQLite::OPEN_READONLY);
  EXPECT_EQ(database.execAndGet("PRAGMA user_version").getInt(), kLayoutVersion);
  for (const char* table : {"meetings", "own", "find_prints"})
    EXPECT_TRUE(database.tableExists(table)) << table;
  EXPECT_EQ(database.execAndGet("SELECT count(*) FROM log WHERE sum IS NOT NULL").getInt(), 0)
      << "lines are history, and are not rewritten";
}

TEST_P(EarlierStore, PassesTheCheckUnchanged) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  write_store(path, GetParam());
  Reported reported;
  auto store = open_store(path, reported, {.path = {}, .check = true});
  ASSERT_TRUE(reported.wait([](const auto&, const Health& h) { return h.checked_utc_ms.has_value(); }));
  EXPECT_EQ(store->health().damage, "");
  EXPECT_EQ(store->health().sentence, "");
}

INSTANTIATE_TEST_SUITE_P(Layouts, EarlierStore, testing::Range(1, kNewest + 1));

TEST(LaterStore, IsRefusedAndLeftAsItIs) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  write_store(path, kWritten);
  {
    SQLite::Database database(path.string(), SQLite::OPEN_READWRITE);
    database.exec("PRAGMA user_version = " + std::to_string(kLayoutVersion + 1));
    database.exec("INSERT INTO about VALUES ('layout', '" + std::to_string(kLayoutVersion + 1) + "')");
  }
  Reported reported;
  const auto opened = Store::open({.path = path}, reported.reports());
  ASSERT_FALSE(opened);
  EXPECT_NE(opened.error().message.find("was written by a newer undersong"), std::string::npos);
  SQLite::Database database(path.string(), SQLite::OPEN_READONLY);
  EXPECT_EQ(database.execAndGet("PRAGMA user_version").getInt(), kLayoutVersion + 1);
  EXPECT_EQ(database.execAndGet("SELECT count(*) FROM log").getInt(), 88);
}

}  // namespace
}  // namespace undersong::takes
