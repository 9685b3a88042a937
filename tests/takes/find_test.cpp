// Finding takes by playing, in a real store: in any key, register and tempo, with slips; and bringing takes.
#include <gtest/gtest.h>

#include <atomic>
#include <ctime>
#include <future>
#include <optional>

#include "daemon/takes/bring_date.h"
#include "daemon/takes/database.h"
#include "daemon/takes/find_reader.h"
#include "daemon/takes/question.h"
#include "tests/takes/invented_pieces.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

constexpr unsigned kPieces = 12;

BroughtTake piece_as_take(unsigned seed) {
  return bring(played(invented_piece(seed).notes), "piece " + std::to_string(seed), 1'700'000'000'000 + seed);
}

class Find : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = new TemporaryFolder;
    auto opened = Database::open(folder_->path / "takes.db", {});
    ASSERT_TRUE(opened);
    database_ = new Database(std::move(*opened));
    for (unsigned seed = 1; seed <= kPieces; ++seed)
      EXPECT_EQ(database_->bring(piece_as_take(seed)).take, seed);
  }
  static void TearDownTestSuite() {
    delete database_;
    delete folder_;
  }

  static FoundPlaces find(const std::vector<InventedNote>& notes) {
    auto query = find_query(played(notes));
    EXPECT_TRUE(query) << query.error().message;
    return query ? database_->find_places(*query) : FoundPlaces{};
  }
  static TakeId first(const std::vector<InventedNote>& notes) {
    const auto found = find(notes);
    return found.places.empty() ? 0 : found.places.front().found.take;
  }

  static TemporaryFolder* folder_;
  static Database* database_;
};
TemporaryFolder* Find::folder_ = nullptr;
Database* Find::database_ = nullptr;

TEST_F(Find, ATakeIsFoundByItself) {
  for (unsigned seed = 1; seed <= kPieces; ++seed) {
    const auto piece = invented_piece(seed);
    const auto found = find(asked_of(piece, {.from = 20, .to = 28, .tune_only = false}));
    ASSERT_FALSE(found.places.empty());
    EXPECT_EQ(found.places[0].found.take, seed);
    EXPECT_EQ(found.places[0].found.as, FoundAs::kPassage);
    EXPECT_EQ(found.places[0].title, "piece " + std::to_string(seed));
    EXPECT_EQ(found.takes, kPieces);
    EXPECT_EQ(found.unprinted, 0u);
  }
}

TEST_F(Find, ATuneIsFoundInAnyKeyRegisterAndTempo) {
  const auto piece = invented_piece(3);
  const auto part_twice = invented_piece(3, 2).notes;
  const auto repeat = static_cast<FindTime>(part_twice[part_twice.size() / 2].at.count() / 10'000);
  for (const int shift : {-12, -5, 0, 1, 6, 12})
    for (const double slower : {0.6, 1.0, 1.7}) {
      const auto found = find(asked_of(piece, {.from = 0, .to = 6, .shift = shift, .slower = slower}));
      ASSERT_FALSE(found.places.empty());
      const FoundTake& best = found.places[0].found;
      EXPECT_EQ(best.take, 3u) << shift << " " << slower;
      EXPECT_EQ(best.as, FoundAs::kTune);
      EXPECT_EQ(best.shift, -shift);
      EXPECT_NEAR(best.rate, 1 / slower, 0.15);
      EXPECT_GE(best.times, 2) << "each part comes twice";
      std::vector<FindTime> places{best.from};
      for (const FoundSpan& other : best.others) places.push_back(other.from);
      std::sort(places.begin(), places.end());
      ASSERT_EQ(places.size(), 2u) << "none is lost, whichever comes first";
      EXPECT_LT(places[0], 100);
      EXPECT_NEAR(places[1], repeat, 100);
    }
}

TEST_F(Find, ATuneIsFoundDespiteSlips) {
  int right = 0;
  for (unsigned seed = 1; seed <= kPieces; ++seed)
    right += first(asked_of(invented_piece(seed),
                            {.from = 4, .to = 13, .shift = 3, .slower = 1.2, .slips = seed})) == seed;
  EXPECT_GE(right, 11);
}

TEST_F(Find, APassageIsFoundDespiteSlips) {
  int right = 0;
  for (unsigned seed = 1; seed <= kPieces; ++seed)
    right +=
        first(asked_of(
            invented_piece(seed),
            {.from = 4, .to = 11, .tune_only = false, .shift = -4, .slower = 0.8, .slips = seed})) == seed;
  EXPECT_EQ(right, static_cast<int>(kPieces));
}

TEST_F(Find, AProgressionIsFoundByItsChordsAlone) {
  const auto piece = invented_piece(5);
  std::vector<InventedNote> chords;
  for (InventedNote note : piece.notes)
    if (!note.tune && seconds(note.at) < 16) {
      note.key += 7;
      chords.push_back(note);
    }
  ASSERT_GT(chords.size(), 9u);
  const auto found = find(chords);
  ASSERT_FALSE(found.places.empty());
  EXPECT_EQ(found.places[0].found.take, 5u);
}

TEST_F(Find, TheIndexNamesTheRightPlaces) {
  SQLite::Database file((folder_->path / "takes.db").string(), SQLite::OPEN_READONLY);
  const auto shelf = read_find_shelf(file);
  ASSERT_EQ(shelf->size(), kPieces);
  int right = 0;
  for (unsigned seed = 1; seed <= kPieces; ++seed)
    for (const bool tune_only : {true, false}) {
      const auto query = find_query(played(
          asked_of(invented_piece(seed),
                   {.from = 4, .to = 13, .tune_only = tune_only, .shift = 2, .slower = 1.3, .slips = seed})));
      ASSERT_TRUE(query);
      // Three places of twelve pieces, where each part comes twice.
      const auto found = find_on_shelf(file, *shelf, *query, FindEffort{.windows = 3, .chord_steps = 1000});
      right += !found.places.empty() && found.places[0].found.take == seed;
    }
  EXPECT_GE(right, 22);
}

TEST_F(Find, TheTakeThatWasPlayedInIsNotLookedAt) {
  auto query = find_query(played(asked_of(invented_piece(4), {.from = 0, .to = 9})));
  ASSERT_TRUE(query);
  ASSERT_EQ(database_->find_places(*query).places.at(0).found.take, 4u);
  query->of = 4;
  for (const auto& place : database_->find_places(*query).places) EXPECT_NE(place.found.take, 4u);
}

TEST(FindQuery, WhatWasPlayedLastBeginsAfterARest) {
  const std::vector<InventedNote> notes{{us(0), us(500'000), 60},
                                        {us(3'000'000), us(4'000'000), 62},  // after a rest
                                        {us(7'500'000), us(500'000), 64},    // the one before was held
                                        {us(9'000'000), us(500'000), 65}};
  EXPECT_EQ(last_phrase(played(notes)), us(3'000'000));
  std::vector<InventedNote> long_phrase;
  for (int i = 0; i < 60; ++i) long_phrase.push_back({us(i * 1'000'000), us(900'000), 60 + i % 5});
  EXPECT_EQ(last_phrase(played(long_phrase)), us(39'000'000));
}

TEST_F(Find, TooLittleToLookForIsSaidInOneSentence) {
  EXPECT_EQ(find_query({}).error().message, "There are no notes to look for.");
  const std::vector<InventedNote> notes{
      {us(0), us(300'000), 60}, {us(400'000), us(300'000), 62}, {us(800'000), us(300'000), 64}};
  EXPECT_EQ(find_query(played({notes[0]})).error().message,
            "There is only one note to look for; play at least 3.");
  EXPECT_EQ(find_query(played({notes[0], notes[1]})).error().message,
            "There are only two notes to look for; play at least 3.");
  EXPECT_TRUE(find_query(played(notes)));
}

TEST_F(Find, AFileThatAnotherProgramWritesIsRead) {
  auto file = FindFile::open(folder_->path / "takes.db");
  ASSERT_TRUE(file) << file.error().message;
  const auto query = find_query(played(asked_of(invented_piece(2), {})));
  ASSERT_TRUE(query);
  const auto found = file->find(*query);
  ASSERT_TRUE(found);
  ASSERT_FALSE(found->places.empty());
  EXPECT_EQ(found->places[0].found.take, 2u);
  EXPECT_EQ(FindFile::open(folder_->path / "none.db").error().code, ErrorCode::kNotFound);
}

TEST(FindPrint, IsReadAsItWasKept) {
  const auto events = played(invented_piece(1).notes);
  const auto notes = played_notes(events).notes;
  const std::vector<HeardNote> melody{{us(10'000), Pitch(60)}, {us(700'000), Pitch(64)}};
  const std::vector<KeptChord> chords{{us(0), "C:maj7"}, {us(2'000'000), "A:min/b3"}, {us(4'000'000), "N"}};
  const FindPrint print = find_print(us(0), notes, melody, chords, us(6'000'000));
  ASSERT_EQ(print.chords.size(), 2u);
  EXPECT_EQ(print.chords[1].root, 9);
  EXPECT_EQ(print.chords[1].length, 200);
  FindPrint read;
  const std::string lines = packed_lines(print);
  ASSERT_TRUE(unpack_lines(lines, read));
  read.notes = *unpack_notes(packed_notes(print.notes));
  EXPECT_EQ(read, print);
  // Bytes that are cut short are refused, wherever that is.
  for (std::size_t length = 0; length < lines.size(); ++length)
    EXPECT_FALSE(unpack_lines(std::string_view(lines).substr(0, length), read)) << length;
}

TEST(Bring, TheSameNotesAreKnownWhateverTheBytes) {
  TemporaryFolder folder;
  auto database = Database::open(folder.path / "takes.db", {});
  ASSERT_TRUE(database);
  EXPECT_FALSE(database->bring(piece_as_take(1)).known);
  const Brought again = database->bring(piece_as_take(1));
  EXPECT_TRUE(again.known);
  EXPECT_EQ(again.take, 1u);
  EXPECT_TRUE(again.lines.empty());
  // Written later in the file, and rounded to other ticks.
  auto notes = invented_piece(1).notes;
  for (auto& note : notes) note.at += us(3'000'700);
  EXPECT_TRUE(database->bring(bring(played(notes), "copy", 1)).known);
  notes[4].key += 1;
  EXPECT_FALSE(database->bring(bring(played(notes), "other", 1)).known);
}

TEST(Bring, TheTakeBeingPlayedGoesOn) {
  TemporaryFolder folder;
  auto database = Database::open(folder.path / "takes.db", {});
  ASSERT_TRUE(database);
  const auto write = [&](const Entry& entry) { return database->write({&entry}); };
  write(take_begin(us(0), 1'800'000'000'000));
  write(midi_received(midi::note_on(us(1000), 0, Pitch(60), Velocity(80))));
  const Brought brought = database->bring(piece_as_take(1));
  EXPECT_EQ(brought.take, 2u);
  EXPECT_EQ(database->open_take(), std::optional<TakeId>(1));
  for (std::size_t i = 1; i < brought.lines.size(); ++i)
    ASSERT_EQ(brought.lines[i].number, brought.lines[i - 1].number + 1) << "numbered without gaps";
  write(midi_received(midi::note_on(us(2000), 0, Pitch(62), Velocity(80))));
  write(take_end(us(3000), EndReason::kSilence));
  EXPECT_EQ(database->summary(1)->notes, 2u);
  const auto kept = database->summary(2);
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->title, "piece 1");
  EXPECT_EQ(kept->notes, invented_piece(1).notes.size());
  EXPECT_GT(kept->chords, 10u);
  EXPECT_EQ(kept->begin_utc_ms, 1'700'000'000'001);
}

// Whoever brings the recordings of years looks for today's take first.
TEST(Bring, ABroughtTakeStandsWhereItsDateBelongs) {
  TemporaryFolder folder;
  auto database = Database::open(folder.path / "takes.db", {});
  ASSERT_TRUE(database);
  const auto play = [&](std::int64_t utc_ms) {
    std::vector<Entry> entries{take_begin(us(0), utc_ms)};
    for (const auto& event : played(invented_piece(40).notes)) entries.push_back(midi_received(event));
    entries.push_back(chord_in_force(us(1000), reading(0, "maj", 0)));
    entries.push_back(take_end(us(90'000'000), EndReason::kRequest));
    std::vector<const Entry*> all;
    for (const Entry& entry : entries) all.push_back(&entry);
    database->write(all);
  };
  play(1'800'000'000'000);
  play(1'800'000'500'000);
  for (unsigned seed = 3; seed >= 1; --seed) database->bring(piece_as_take(seed));  // takes 3, 4, 5
  EXPECT_EQ(database->summary(std::nullopt)->take, 2u) << "the newest is the one that was played last";
  std::vector<TakeId> listed;
  for (std::optional<TakeId> before;;) {
    Search wanted;
    wanted.limit = 2;
    wanted.before = before;
    const Found page = database->list(wanted);
    for (const auto& take : page.takes) listed.push_back(take.take);
    if (!page.more) break;
    before = page.takes.back().take;
  }
  EXPECT_EQ(listed, (std::vector<TakeId>{2, 1, 3, 4, 5}));
  // Moments of any chord, in pages.
  MomentSearch search;
  search.question = *read_question("major", Day{});
  search.limit = 2;
  std::vector<TakeId> met;
  for (int pages = 0; pages < 1000; ++pages) {
    const auto found = database->find(search);
    for (const auto& moment : found.moments)
      if (met.empty() || met.back() != moment.take) met.push_back(moment.take);
    if (!found.next) break;
    search.from = found.next;
  }
  EXPECT_EQ(met.front(), 2u);
  EXPECT_TRUE(std::is_sorted(met.begin(), met.end(), [&](TakeId a, TakeId b) {
    return database->summary(a)->begin_utc_ms > database->summary(b)->begin_utc_ms;
  }));
}

TEST(Bring, TheDateIsTheOneInTheNameUnlessItIsToCome) {
  constexpr std::int64_t kNow = 1'800'000'000'000, kChanged = 1'700'000'000'000;
  const auto local = [](int year, int month, int day, int hour, int minute, int second) {
    std::tm when{};
    when.tm_year = year - 1900, when.tm_mon = month - 1, when.tm_mday = day;
    when.tm_hour = hour, when.tm_min = minute, when.tm_sec = second, when.tm_isdst = -1;
    return std::int64_t{std::mktime(&when)} * 1000;
  };
  const auto date = [&](const std::string& name) { return date_brought(name, kChanged, kNow); };
  EXPECT_EQ(date("2019-05-31 21-04-59 rounds"), local(2019, 5, 31, 21, 4, 59));
  EXPECT_EQ(date("rounds_20190531_2104"), local(2019, 5, 31, 21, 4, 0));
  EXPECT_EQ(date("20180102"), local(2018, 1, 2, 12, 0, 0));
  EXPECT_EQ(date("rounds"), kChanged);
  EXPECT_EQ(date("2019-02-30"), kChanged) << "there is no such day";
  EXPECT_EQ(date("120190531"), kChanged) << "a longer number is no date";
  EXPECT_EQ(date("2091-01-01"), kNow) << "it would be the newest take for years";
}

TEST(Bring, AFileWithoutNotesIsRefused) {
  midi::Smf file;
  file.tracks.resize(1);
  EXPECT_EQ(events_to_bring(file).error().message, "It has no notes.");
  file.tracks[0].events.push_back({0, {}, {0x99, 36, 100}, 3});
  EXPECT_EQ(events_to_bring(file).error().message, "It has no notes besides drums.");
  file.tracks[0].events.push_back({0, {}, {0x90, 60, 100}, 3});
  const auto kept = events_to_bring(file);
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->size(), 1u);
}

TEST(FindPrints, OfAnOlderStoreAreMadeSomeAtATime) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  {
    auto database = Database::open(path, {});
    ASSERT_TRUE(database);
    for (unsigned seed = 1; seed <= 3; ++seed) database->bring(piece_as_take(seed));
  }
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    file.exec(
        "DROP TABLE find_prints; DROP TABLE find_notes; DROP TABLE abouts; DROP TABLE kept_answers; "
        "DROP TABLE verdicts; ALTER TABLE log DROP COLUMN sum; DELETE FROM about WHERE name = 'layout'; "
        "PRAGMA user_version = 3");
  }
  EXPECT_EQ(FindFile::open(path).error().code, ErrorCode::kConflict);
  auto database = Database::open(path, {});
  ASSERT_TRUE(database);
  const auto query = find_query(played(asked_of(invented_piece(2), {})));
  ASSERT_TRUE(query);
  EXPECT_EQ(database->find_places(*query).unprinted, 3u);
  EXPECT_EQ(database->make_find_prints(2), 1u);
  EXPECT_EQ(database->make_find_prints(2), 0u);
  while (!database->fill_shelf(1)) continue;
  const auto found = database->find_places(*query);
  ASSERT_FALSE(found.places.empty());
  EXPECT_EQ(found.places[0].found.take, 2u);
  EXPECT_EQ(found.unprinted, 0u);
  // A deleted take is not found, and found again once it is restored.
  ASSERT_TRUE(database->edit(LineKind::kDelete, 2, us(0), ""));
  for (const auto& place : database->find_places(*query).places) EXPECT_NE(place.found.take, 2u);
  ASSERT_TRUE(database->edit(LineKind::kRestore, 2, us(0), ""));
  EXPECT_EQ(database->find_places(*query).places[0].found.take, 2u);
}

TEST(FindInAStore, WhatIsPlayedIsKeptWhileTakesAreSearched) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  for (unsigned seed = 1; seed <= 3; ++seed)
    ASSERT_TRUE(now<Brought>([&](auto answer) { store->bring(piece_as_take(seed), answer); }));
  const auto query = find_query(played(asked_of(invented_piece(5), {})));
  ASSERT_TRUE(query);
  // Nothing chooses another thread, so the answer is given on the thread that searched, and keeps it.
  std::promise<void> searched;
  std::promise<void> kept;
  std::promise<bool> waited;
  store->find_places(*query, [&, done = kept.get_future().share()](const Result<FoundPlaces>& found) {
    EXPECT_TRUE(found);
    searched.set_value();
    waited.set_value(done.wait_for(std::chrono::seconds(30)) == std::future_status::ready);
  });
  searched.get_future().wait();
  EXPECT_TRUE(appended(*store, take_begin(us(0), 1'800'000'000'000)));
  EXPECT_TRUE(appended(*store, note(1000, 60)));
  EXPECT_TRUE(appended(*store, take_end(us(2000), EndReason::kRequest)));
  EXPECT_TRUE(now<Brought>([&](auto answer) { store->bring(piece_as_take(5), answer); }));
  EXPECT_TRUE(now<Found>([&](auto answer) { store->list({}, answer); }));
  kept.set_value();
  EXPECT_TRUE(waited.get_future().get());
  // What was kept meanwhile is there for the next search.
  const auto found = now<FoundPlaces>([&](auto answer) { store->find_places(*query, answer); });
  ASSERT_TRUE(found);
  ASSERT_FALSE(found->places.empty());
  EXPECT_EQ(found->places[0].title, "piece 5");
  EXPECT_EQ(found->takes, 5u);
  EXPECT_EQ(found->unprinted, 0u);
}

TEST(FindInAStore, EverySearchIsAnsweredWhenTheStoreCloses) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  ASSERT_TRUE(now<Brought>([&](auto answer) { store->bring(piece_as_take(1), answer); }));
  const auto query = find_query(played(asked_of(invented_piece(1), {})));
  ASSERT_TRUE(query);
  std::atomic<int> found = 0, refused = 0;
  constexpr int kAsked = 100;  // more than may wait
  for (int i = 0; i < kAsked; ++i)
    store->find_places(*query, [&](const Result<FoundPlaces>& answer) { answer ? ++found : ++refused; });
  store->close();
  EXPECT_EQ(found + refused, kAsked);
}

}  // namespace
}  // namespace undersong::takes
