// The player's own idiom in a real file of takes: what counts, deletion, erasing, damage, and older layouts.
#include "daemon/takes/own_idiom.h"

#include <SQLiteCpp/SQLiteCpp.h>

#include <condition_variable>
#include <deque>
#include <mutex>

#include "daemon/takes/idiom_keeper.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

using harmony::PlayedChord;
using harmony::PlayerMemory;

constexpr std::int64_t kSecond = 1'000'000;

struct OwnPlayed {
  int root;
  std::string_view quality;
  int fifths;
};
constexpr OwnPlayed kC{0, "maj", 0}, kAb{8, "maj7", -4}, kF{5, "min", -1}, kG{7, "7", 1};

// A take with one chord a second in C major. `more`: further entries.
std::vector<Entry> own_take(std::initializer_list<OwnPlayed> chords, std::vector<Entry> more = {}) {
  std::vector<Entry> out{take_begin(us(0), 1'790'000'000'000)};
  out.push_back(key_heard(us(1), {harmony::Key{PitchClass(0), harmony::Mode::kMajor}, 1, false}));
  std::int64_t at = 0;
  for (const OwnPlayed& each : chords)
    out.push_back(chord_in_force(us(at += kSecond), reading(each.root, each.quality, each.fifths)));
  for (Entry& entry : more) out.push_back(std::move(entry));
  out.push_back(take_end(us(at + kSecond), EndReason::kRequest));
  return out;
}
void keep(Store& store, std::vector<Entry> entries) {
  for (Entry& entry : entries) ASSERT_TRUE(appended(store, std::move(entry)));
}
OwnIdiom own_of(Store& store) {
  while (true) {
    const auto left = now<std::uint64_t>([&](auto answer) { store.count_own(3, answer); });
    EXPECT_TRUE(left) << left.error().message;
    if (!left || *left == 0) break;
  }
  auto own = now<OwnIdiom>([&](auto answer) { store.own(answer); });
  EXPECT_TRUE(own) << own.error().message;
  return own ? *own : OwnIdiom{};
}
// What it makes likelier after C major, for comparison.
harmony::ChordScores scores(const OwnIdiom& own) {
  harmony::ChordScores out{};
  harmony::ChordsBefore before;
  before.push_back({PitchClass(0), harmony::quality("maj"), PitchClass(0)});
  if (own.memory) own.memory->add_scores(PitchClass(0), before, PitchClass(0), 1, out);
  return out;
}
void execute(const std::filesystem::path& path, const std::string& sql) {
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
  file.exec(sql);
}
std::size_t index_of(const OwnPlayed& chord) {
  return harmony::seen_from(
      PitchClass(0), {PitchClass(chord.root), harmony::quality(chord.quality), PitchClass(chord.root)});
}

Statement statement(std::int64_t second, const char* harte, const char* key = "C:maj") {
  return {us(second * kSecond), us(kSecond), harte, key, 0};
}
float weight_of(const std::vector<PlayedChord>& played, const OwnPlayed& chord) {
  float sum = 0;
  for (const PlayedChord& each : played)
    if (each.chord == index_of(chord)) sum += each.weight;
  return sum;
}

TEST(OwnIdiom, WhatWasReturnedToMarkedAndTakenCountsForMore) {
  const std::vector<Statement> statements{statement(1, "C:maj"), statement(2, "Ab:maj7"),
                                          statement(3, "C:maj"), statement(4, "F:min"), statement(5, "G:7")};
  Signs signs;
  signs.marks = {us(4 * kSecond + 100'000)};
  signs.taken = {us(5 * kSecond + 250'000)};
  signs.heard = {{us(1 * kSecond + 500'000), "G:9"}, {us(4 * kSecond), "C:maj"}};
  const auto played = played_chords(statements, {}, signs);
  EXPECT_FLOAT_EQ(weight_of(played, kC), kOnceCounts + kReturnedCounts);
  EXPECT_FLOAT_EQ(weight_of(played, kAb), kOnceCounts);
  EXPECT_FLOAT_EQ(weight_of(played, kF), kOnceCounts + kMarkedCounts);
  EXPECT_FLOAT_EQ(weight_of(played, kG), kOnceCounts + kTakenCounts + kHeardCounts);
}

TEST(OwnIdiom, ChordsCountInTheirKeyAndWithTheNoteThatStoodLongestOverThem) {
  const std::vector<Statement> statements{statement(1, "D:maj", ""), statement(2, "Bb:maj7", "D:maj")};
  const auto met = [](std::int64_t at, int pitch, std::int64_t length) {
    KeptMeeting out;
    out.at = us(at);
    out.facts.pitch = Pitch(pitch);
    out.facts.length = us(length);
    return out;
  };
  const std::vector<KeptMeeting> meetings{met(2 * kSecond, 69, 200'000),
                                          met(2 * kSecond + 200'000, 74, 700'000)};
  const auto played = played_chords(statements, meetings, {});
  ASSERT_EQ(played.size(), 2u);
  EXPECT_EQ(played[0].chord, index_of(kC)) << "before the first key: in that key";
  EXPECT_EQ(played[0].held, PlayedChord::kNoNote);
  EXPECT_EQ(played[1].chord, index_of(kAb));
  EXPECT_EQ(played[1].last, index_of(kC));
  EXPECT_EQ(played[1].held, 0) << "D, the tonic";
  EXPECT_TRUE(played_chords(std::vector{statement(1, "C:maj", "")}, {}, {}).empty()) << "no key at all";
}

TEST(OwnIdiom, ARowIsReadAsItWasWrittenAndADamagedOneIsNot) {
  const std::vector<PlayedChord> played{{PlayedChord::kNoChord, PlayedChord::kNoChord, 3, 0, 0.25f},
                                        {3, 104, 155, PlayedChord::kNoNote, 17.5f}};
  const std::string row = own_row(played);
  EXPECT_EQ(own_chords(row), played);
  EXPECT_EQ(own_chords(""), std::vector<PlayedChord>{});
  EXPECT_FALSE(own_chords(row.substr(1)));
  std::string wrong = row;
  wrong[2] = static_cast<char>(156);
  EXPECT_FALSE(own_chords(wrong));
}

TEST(OwnStore, TakesAddUpAndARebuildGivesTheSame) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  Reported reported;
  OwnIdiom grown;
  {
    auto store = open_store(path, reported);
    EXPECT_EQ(own_of(*store).takes, 0u);
    EXPECT_EQ(own_of(*store).memory, nullptr);
    for (int i = 0; i < 7; ++i) {
      keep(*store, own_take({kC, kAb, kC, kAb, kF}, {mark(us(5 * kSecond + 10), "")}));
      EXPECT_EQ(own_of(*store).takes, static_cast<std::uint64_t>(i + 1));
    }
    grown = own_of(*store);
  }
  ASSERT_TRUE(grown.memory);
  EXPECT_GT(scores(grown)[index_of(kAb)], scores(grown)[index_of(kG)]);
  EXPECT_GT(scores(grown)[index_of(kF)], scores(grown)[index_of(kG)]);
  execute(path, "DELETE FROM own");
  auto store = open_store(path, reported);
  const auto rebuilt = own_of(*store);
  EXPECT_EQ(rebuilt.takes, 7u);
  EXPECT_EQ(rebuilt.since_utc_ms, grown.since_utc_ms);
  EXPECT_EQ(scores(rebuilt), scores(grown));
}

TEST(OwnStore, CountingGoesOnWhereItStopped) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  Reported reported;
  {
    auto store = open_store(path, reported);
    for (int i = 0; i < 5; ++i) keep(*store, own_take({kC, kAb, kC}));
  }
  execute(path, "DELETE FROM own");
  {
    auto store = open_store(path, reported);
    EXPECT_EQ(*now<std::uint64_t>([&](auto answer) { store->count_own(2, answer); }), 3u);
  }
  auto store = open_store(path, reported);
  EXPECT_EQ(*now<std::uint64_t>([&](auto answer) { store->count_own(2, answer); }), 1u);
  EXPECT_EQ(*now<std::uint64_t>([&](auto answer) { store->count_own(2, answer); }), 0u);
  EXPECT_EQ(now<OwnIdiom>([&](auto answer) { store->own(answer); })->takes, 5u);
}

TEST(OwnStore, ADeletedTakeLeavesItAndComesBackWhenItIsRestored) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.sqlite", reported);
  keep(*store, own_take({kC, kAb, kC, kAb}));
  const auto one = own_of(*store);
  keep(*store, own_take({kC, kF, kC, kF}));
  const auto both = own_of(*store);
  ASSERT_NE(scores(one), scores(both));
  const auto edit = [&](LineKind kind) {
    ASSERT_TRUE(now<LineNumber>([&](auto answer) { store->edit(kind, 2, us(9 * kSecond), "", answer); }));
  };
  edit(LineKind::kDelete);
  EXPECT_EQ(own_of(*store).takes, 1u);
  EXPECT_EQ(scores(own_of(*store)), scores(one));
  edit(LineKind::kRestore);
  EXPECT_EQ(scores(own_of(*store)), scores(both));
}

TEST(OwnStore, AMarkThatIsTakenBackIsAsIfItHadNeverBeenSet) {
  TemporaryFolder folder;
  Reported reported;
  auto plain = open_store(folder.path / "plain.sqlite", reported);
  keep(*plain, own_take({kC, kAb, kC, kAb, kF}));
  auto store = open_store(folder.path / "marked.sqlite", reported);
  keep(*store, own_take({kC, kAb, kC, kAb, kF}, {mark(us(5 * kSecond + 10), "")}));
  ASSERT_NE(scores(own_of(*store)), scores(own_of(*plain)));
  const auto detail = now<Detail>([&](auto answer) { store->detail(1, answer); });
  ASSERT_TRUE(detail && detail->marks.size() == 1);
  ASSERT_TRUE(now<LineNumber>([&](auto answer) {
    store->edit(LineKind::kUnmark, 1, us(9 * kSecond), std::to_string(detail->marks[0].number), answer);
  }));
  EXPECT_EQ(scores(own_of(*store)), scores(own_of(*plain)));
}

TEST(OwnStore, ErasedItIsAsIfItHadNeverBeen) {
  TemporaryFolder folder;
  Reported reported;
  const auto path = folder.path / "takes.sqlite";
  const auto erase = [](Store& store) {
    return now<OwnIdiom>([&](auto answer) { store.erase_own(1'791'000'000'000, answer); });
  };
  {
    auto store = open_store(path, reported);
    keep(*store, own_take({kC, kAb, kC, kAb}));
    ASSERT_EQ(own_of(*store).takes, 1u);
    auto playing = own_take({kC, kF});
    const Entry end = playing.back();
    playing.pop_back();
    keep(*store, std::move(playing));
    const auto left = erase(*store);
    ASSERT_TRUE(left) << left.error().message;
    EXPECT_EQ(left->takes, 0u);
    EXPECT_EQ(left->memory, nullptr);
    EXPECT_EQ(left->erased_utc_ms, 1'791'000'000'000);
    keep(*store, {end});  // the take that was being played does not count either
  }
  auto store = open_store(path, reported);
  EXPECT_EQ(own_of(*store).takes, 0u) << "also after a restart";
  EXPECT_EQ(now<Found>([&](auto answer) { store->list({}, answer); })->takes.size(), 2u) << "the takes stay";
  keep(*store, own_take({kC, kG, kC, kG}));
  const auto later = own_of(*store);
  EXPECT_EQ(later.takes, 1u);
  TemporaryFolder other;
  auto fresh = open_store(other.path / "takes.sqlite", reported);
  keep(*fresh, own_take({kC, kG, kC, kG}));
  EXPECT_EQ(scores(later), scores(own_of(*fresh)));
}

TEST(OwnStore, ADamagedRowIsLeftOutAndSaidOnce) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  Reported reported;
  {
    auto store = open_store(path, reported);
    keep(*store, own_take({kC, kAb, kC, kAb}));
    keep(*store, own_take({kC, kF, kC, kF}));
  }
  execute(path, "UPDATE own SET counts = x'010203' WHERE take = 2");
  {
    auto store = open_store(path, reported);
    const auto own = own_of(*store);
    EXPECT_EQ(own.takes, 1u);
    EXPECT_EQ(own.damaged, 1u);
  }

  // The keeper wants its answers on its owner's thread, which is this one.
  std::mutex mutex;
  std::condition_variable come;
  std::deque<Store::Work> delivered;
  Store::Reports reports;
  reports.deliver = [&](Store::Work work) {
    const std::lock_guard lock(mutex);
    delivered.push_back(std::move(work));
    come.notify_all();
  };
  Store::Options options;
  options.path = path;
  auto store = Store::open(options, reports);
  ASSERT_TRUE(store) << store.error().message;
  std::vector<std::string> said;
  int times = 0;
  IdiomKeeper keeper({**store, [&](const OwnIdiom&) { ++times; },
                      [&](const std::string& sentence) { said.push_back(sentence); }});
  for (int loads = 1; loads <= 2; ++loads) {
    keeper.begin();
    while (times < loads) {
      std::unique_lock lock(mutex);
      ASSERT_TRUE(come.wait_for(lock, std::chrono::seconds(30), [&] { return !delivered.empty(); }));
      const auto work = std::move(delivered.front());
      delivered.pop_front();
      lock.unlock();
      work();
    }
  }
  (*store)->close();
  ASSERT_EQ(said.size(), 1u);
  EXPECT_NE(said[0].find("damaged"), std::string::npos);
}

TEST(OwnStore, AFileOfAnOlderLayoutIsCountedFromWhatItKeeps) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.sqlite";
  Reported reported;
  OwnIdiom before;
  {
    auto store = open_store(path, reported);
    keep(*store, own_take({kC, kAb, kC, kAb}, {mark(us(2 * kSecond + 5), "here")}));
    before = own_of(*store);
  }
  execute(path,
          "DROP TABLE own; DROP TABLE find_prints; DROP TABLE find_notes; DROP TABLE abouts; DROP TABLE "
          "kept_answers; DROP TABLE verdicts; ALTER TABLE log DROP COLUMN sum; DELETE FROM about WHERE name "
          "= 'layout'; "
          "PRAGMA user_version = 2");
  auto store = open_store(path, reported);
  const auto after = own_of(*store);
  EXPECT_EQ(after.takes, 1u);
  EXPECT_EQ(scores(after), scores(before));
}

}  // namespace
}  // namespace undersong::takes
