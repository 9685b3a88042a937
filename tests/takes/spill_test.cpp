// What cannot be written at the end goes into a spill file and is read back at the next start. The tests use
// real files that are locked or must not grow.
#include "daemon/takes/spill.h"

#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <fstream>

#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

std::vector<std::filesystem::path> spills(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> out;
  for (const auto& file : std::filesystem::directory_iterator(folder))
    if (file.path().filename().string().find(".waiting-") != std::string::npos) out.push_back(file.path());
  return out;
}

std::string content(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::vector<Entry> a_take(int notes) {
  std::vector<Entry> out{take_begin(us(1'000), 1'790'000'000'000)};
  for (int i = 0; i < notes; ++i) out.push_back(note(2'000 + i, 40 + i % 40));
  out.push_back(key_heard(us(900'000), {harmony::Key{PitchClass(3), harmony::Mode::kMajor}, 0.75f}));
  out.push_back(chord_in_force(us(900'001), reading(3, "maj9", -3)));
  listen::MelodyNote sung;
  sung.pitch = Pitch(74);
  sung.since = us(900'002);
  out.push_back(melody_note(sung, harmony::Chord{PitchClass(3), harmony::quality("maj9"), PitchClass(3)}));
  out.push_back(mark(us(900'003), "half way: 50 % done,\nto be kept \xE2\x99\xAA"));
  out.push_back(mark(us(900'004), ""));
  out.push_back(take_end(us(950'000), EndReason::kStop));
  return out;
}

void expect_same(const std::vector<Line>& lines, const std::vector<Entry>& entries) {
  ASSERT_EQ(lines.size(), entries.size());
  for (std::size_t i = 0; i < lines.size(); ++i) {
    ASSERT_EQ(lines[i].kind, entries[i].kind) << i;
    ASSERT_EQ(lines[i].at, entries[i].at) << i;
    ASSERT_EQ(lines[i].data, entries[i].data) << i;
    ASSERT_EQ(lines[i].take, lines[0].take) << i;
  }
  expect_no_gaps(lines);
}

// Appends all entries to a store that cannot grow, closes it and returns what it reported. The lines already
// on disk are the first ones.
Store::Closed spill_most(const std::filesystem::path& path, const std::vector<Entry>& entries,
                         std::int64_t pages = 24) {
  Reported reported;
  Store::Options options;
  options.most_pages = pages;
  auto store = open_store(path, reported, options);
  for (const Entry& entry : entries) store->append(entry);
  return store->close();
}

TEST(Spill, IsNotThereWhenAllIsKept) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  for (Entry& entry : a_take(100)) store->append(std::move(entry));
  const auto closed = store->close();
  EXPECT_TRUE(closed.all_kept());
  EXPECT_EQ(closed.sentence, "");
  EXPECT_TRUE(spills(folder.path).empty());
}

TEST(Spill, HoldsWhatAFullDiskDidNotTakeAndTheNextStartReadsItBack) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto entries = a_take(5'000);
  const auto closed = spill_most(path, entries);
  EXPECT_FALSE(closed.all_kept());
  EXPECT_EQ(closed.lost, 0u);
  EXPECT_NE(closed.sentence.find("full. " + std::to_string(closed.spilled) +
                                 " lines could not be written there; they are in " + closed.spill.string()),
            std::string::npos)
      << closed.sentence;
  struct stat there {};
  ASSERT_EQ(::stat(closed.spill.c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 0777, 0600u);
  EXPECT_EQ(closed.spill.parent_path(), folder.path);

  Reported reported;
  auto store = open_store(path, reported);
  expect_same(lines_of(*store), entries);
  EXPECT_TRUE(spills(folder.path).empty()) << "read back, and removed";
  EXPECT_TRUE(store->health().good);
  EXPECT_NE(store->health().sentence.find(
                std::to_string(closed.spilled) +
                " lines that could not be written when Undersong was stopped have been read back"),
            std::string::npos)
      << store->health().sentence;
  const auto take = now<Detail>([&](auto answer) { store->detail({}, answer); });
  ASSERT_TRUE(take);
  EXPECT_EQ(take->summary.notes, 5'000u);
  EXPECT_EQ(take->summary.ended, "stop");
  EXPECT_EQ(take->summary.key, "Eb:maj");
  EXPECT_EQ(take->summary.marks, 2u);
  // The facts for search were not in the file; they are worked out again.
  Search search;
  search.root = PitchClass(3);
  const auto found = now<Found>([&](auto answer) { store->list(search, answer); });
  ASSERT_TRUE(found);
  EXPECT_EQ(found->takes.size(), 1u);
  EXPECT_TRUE(store->close().all_kept());
}

// The first `on_disk` entries are written before another program locks the file; no more can be written then.
Store::Closed spill_behind_a_lock(const std::filesystem::path& path, const std::vector<Entry>& entries,
                                  std::size_t on_disk) {
  Reported reported;
  auto store = open_store(path, reported);
  for (std::size_t i = 0; i < on_disk; ++i) store->append(entries[i]);
  EXPECT_TRUE(reported.wait_for_lines(on_disk));
  SQLite::Database other(path.string(), SQLite::OPEN_READWRITE);
  other.exec("BEGIN IMMEDIATE");
  for (std::size_t i = on_disk; i < entries.size(); ++i) store->append(entries[i]);
  const auto closed = store->close();
  EXPECT_EQ(closed.spilled, entries.size() - on_disk) << closed.sentence;
  EXPECT_NE(closed.sentence.find("locked by another program"), std::string::npos) << closed.sentence;
  return closed;
}

TEST(Spill, GoesOnInTheTakeThatWasOpen) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto entries = a_take(500);
  const auto closed = spill_behind_a_lock(path, entries, 100);
  EXPECT_EQ(read_spill(closed.spill)->take, 1u);
  Reported reported;
  auto store = open_store(path, reported);
  expect_same(lines_of(*store), entries);
  const auto found = now<Found>([&](auto answer) { store->list({}, answer); });
  ASSERT_EQ(found->takes.size(), 1u) << "the same take";
  EXPECT_EQ(found->takes[0].notes, 500u);
  EXPECT_EQ(found->takes[0].ended, "stop");
}

TEST(Spill, StoppedTwiceBeforeThereIsRoomBothComeBackInOrder) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  auto first = a_take(200);
  spill_behind_a_lock(path, first, 100);
  auto second = a_take(300);
  for (Entry& entry : second) entry.at += us(5'000'000);
  {
    SQLite::Database other(path.string(), SQLite::OPEN_READWRITE);
    other.exec("BEGIN IMMEDIATE");
    Reported reported;
    auto store = open_store(path, reported);
    EXPECT_FALSE(store->health().good);
    EXPECT_NE(store->health().sentence.find("of an earlier run are still in "), std::string::npos)
        << store->health().sentence;
    for (const Entry& entry : second) store->append(entry);
    EXPECT_EQ(store->close().spilled, second.size());
  }
  EXPECT_EQ(spills(folder.path).size(), 2u);
  Reported reported;
  auto store = open_store(path, reported);
  EXPECT_TRUE(spills(folder.path).empty());
  expect_same(lines_of(*store, TakeId{1}), first);
  const auto later = lines_of(*store, TakeId{2});
  ASSERT_EQ(later.size(), second.size());
  for (std::size_t i = 0; i < later.size(); ++i) EXPECT_EQ(later[i].at, second[i].at);
  expect_no_gaps(later, first.size() + 1);
}

TEST(Spill, ATakeThatHasNoEndInItIsClosed) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  auto entries = a_take(500);
  entries.pop_back();
  spill_behind_a_lock(path, entries, 100);
  Reported reported;
  auto store = open_store(path, reported);
  entries.push_back(take_end(us(900'004), EndReason::kInterrupted));
  expect_same(lines_of(*store), entries);
}

TEST(Spill, GoesElsewhereWhenThereIsNoRoomBesideTheTakes) {
  TemporaryFolder folder;
  std::ofstream(folder.path / "not-a-folder") << "x";
  const auto path = folder.path / "not-a-folder" / "takes.db";
  Store::Options options;
  options.spill_folders = {folder.path / "not-a-folder" / "deeper", folder.path / "state"};
  const auto entries = a_take(50);
  {
    Reported reported;
    auto store = open_store(path, reported, options);
    for (const Entry& entry : entries) store->append(entry);
    const auto closed = store->close();
    EXPECT_EQ(closed.spilled, entries.size()) << closed.sentence;
    EXPECT_EQ(closed.spill.parent_path(), folder.path / "state");
    EXPECT_EQ(std::filesystem::status(folder.path / "state").permissions(),
              std::filesystem::perms::owner_all);
  }
  std::filesystem::remove(folder.path / "not-a-folder");
  // Another store with the same name ignores it.
  std::filesystem::create_directories(folder.path / "other");
  {
    Reported reported;
    auto other = open_store(folder.path / "other" / "takes.db", reported, options);
    EXPECT_TRUE(lines_of(*other).empty());
  }
  EXPECT_EQ(spills(folder.path / "state").size(), 1u);
  Reported reported;
  auto store = open_store(path, reported, options);
  expect_same(lines_of(*store), entries);
  EXPECT_TRUE(spills(folder.path / "state").empty());
}

TEST(Spill, SaysHowManyAreLostWhenThereIsNoPlaceAtAll) {
  TemporaryFolder folder;
  std::ofstream(folder.path / "not-a-folder") << "x";
  Reported reported;
  auto store = open_store(folder.path / "not-a-folder" / "takes.db", reported);
  for (Entry& entry : a_take(50)) store->append(std::move(entry));
  const auto closed = store->close();
  EXPECT_FALSE(closed.all_kept());
  EXPECT_EQ(closed.lost, 57u);
  EXPECT_EQ(closed.spilled, 0u);
  EXPECT_NE(closed.sentence.find("57 lines could be written neither there nor elsewhere and are lost"),
            std::string::npos)
      << closed.sentence;
}

TEST(Spill, ADamagedOneIsKeptAndToldOfAndItsSoundLinesComeBack) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto entries = a_take(5'000);
  const auto closed = spill_most(path, entries);
  std::string text = content(closed.spill);
  // Flip a bit in one line and cut off the last two.
  const std::size_t middle = text.find(' ', text.size() / 2) + 3;
  text[middle] = static_cast<char>(text[middle] ^ 1);
  text.erase(text.rfind('\n', text.rfind('\n', text.size() - 2) - 1) + 1);
  std::ofstream(closed.spill, std::ios::binary | std::ios::trunc) << text;

  Reported reported;
  auto store = open_store(path, reported);
  const auto lines = lines_of(*store);
  expect_no_gaps(lines);
  EXPECT_EQ(lines.size(), entries.size() - 1)
      << "without the one that is damaged and the end that was cut off, with an end of its own";
  EXPECT_EQ(lines.back().data, "interrupted");
  EXPECT_NE(store->health().sentence.find("2 lines of that file are damaged; it is kept as " +
                                          closed.spill.string() + ".damaged."),
            std::string::npos)
      << store->health().sentence;
  EXPECT_EQ(content(closed.spill.string() + ".damaged"), text);
  store.reset();
  store = open_store(path, reported);
  EXPECT_EQ(lines_of(*store).size(), lines.size()) << "it isn't read twice";
}

TEST(Spill, OneThatBeginsWithDamageIsKeptAsItIsAndToldOf) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto closed = spill_most(path, a_take(5'000));
  std::string text = content(closed.spill);
  text[25] = '#';
  std::ofstream(closed.spill, std::ios::binary | std::ios::trunc) << text;
  Reported reported;
  auto store = open_store(path, reported);
  EXPECT_TRUE(store->health().good);
  EXPECT_NE(store->health().sentence.find(
                closed.spill.string() +
                " should hold lines that could not be written to the takes, but its beginning is damaged."),
            std::string::npos)
      << store->health().sentence;
  EXPECT_EQ(content(closed.spill), text);
}

TEST(Spill, ComesBackOnceThoughTheFileIsThereAgain) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto entries = a_take(5'000);
  const auto closed = spill_most(path, entries);
  const std::string text = content(closed.spill);
  {
    // Killed between reading back and removing the file: the store remembers the file.
    Reported reported;
    auto store = open_store(path, reported);
    ASSERT_EQ(lines_of(*store).size(), entries.size());
  }
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    SQLite::Statement known(file, "INSERT INTO about VALUES (?, 'taken back')");
    known.bind(1, "spill " + read_spill([&] {
                               std::ofstream(closed.spill, std::ios::binary) << text;
                               return closed.spill;
                             }())
                                 ->token);
    known.exec();
  }
  Reported reported;
  auto store = open_store(path, reported);
  EXPECT_EQ(lines_of(*store).size(), entries.size());
  EXPECT_TRUE(spills(folder.path).empty());
}

TEST(Spill, FindsATakeInANewStoreWhenItsOwnIsGone) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto entries = a_take(5'000);
  const auto closed = spill_behind_a_lock(path, entries, 100);
  for (const char* suffix : {"", "-wal", "-shm"}) std::filesystem::remove(path.string() + suffix);
  Reported reported;
  auto store = open_store(path, reported);
  const auto lines = lines_of(*store);
  ASSERT_EQ(lines.size(), closed.spilled + 1);
  EXPECT_EQ(lines[0].kind, LineKind::kTakeBegin);
  EXPECT_EQ(lines[0].data, "1790000000000");
  EXPECT_EQ(lines.back().take, 1u);
  EXPECT_EQ(lines.back().data, "stop");
}

// The checksums come from Python's zlib.crc32. They prove that the format is what the header says.
TEST(Spill, AFileWrittenByHandIsRead) {
  TemporaryFolder folder;
  const auto file = folder.path / "takes.db.waiting-handwritten";
  std::ofstream(file) << "undersong-waiting 1\n"
                         "7e45c9f9 store - take 0 token handwritten path /somewhere/my%20takes.db\n"
                         "e903c66d 1 1000 1790000000000\n"
                         "5c89d919 2 1500 %00%90<H\n"
                         "345d585e 8 2000 50%20%25\n"
                         "35d75673 9 3000 request\n"
                         "b7e73cfb end 4\n";
  const auto spill = read_spill(file);
  ASSERT_TRUE(spill) << spill.error().message;
  EXPECT_EQ(spill->store, "");
  EXPECT_EQ(spill->path, "/somewhere/my takes.db");
  EXPECT_EQ(spill->token, "handwritten");
  EXPECT_EQ(spill->damaged, 0u);
  ASSERT_EQ(spill->entries.size(), 4u);
  EXPECT_EQ(spill->entries[1].at, us(1'500));
  EXPECT_EQ(spill->entries[1].data, std::string("\0\x90<H", 4));
  EXPECT_EQ(spill->entries[2].data, "50 %");
  EXPECT_EQ(spill->entries[3].kind, LineKind::kTakeEnd);
}

TEST(Spill, WhateverBytesAreInItNothingEndsBadly) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  const auto closed = spill_most(path, a_take(5'000));
  const std::string text = content(closed.spill).substr(0, 2'000);
  std::uint32_t random = 1;
  const auto next = [&] { return random = random * 1'664'525u + 1'013'904'223u, random >> 8; };
  for (int round = 0; round < 2'000; ++round) {
    std::string changed = text;
    for (std::uint32_t i = next() % 4 + 1; i > 0; --i) {
      const std::size_t place = next() % changed.size();
      switch (next() % 3) {
        case 0: changed[place] = static_cast<char>(next()); break;
        case 1: changed.erase(place, next() % 40); break;
        case 2: changed.insert(place, changed.substr(next() % changed.size(), next() % 40)); break;
      }
    }
    const auto file = folder.path / "changed";
    std::ofstream(file, std::ios::binary | std::ios::trunc) << changed;
    const auto spill = read_spill(file);
    if (spill && changed != text) {
      EXPECT_GT(spill->damaged, 0u) << "it was cut short at the least";
    }
  }
}

}  // namespace
}  // namespace undersong::takes
