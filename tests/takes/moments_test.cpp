// Questions to a real file of takes, and migration of files with an older layout.
#include "daemon/takes/moments.h"

#include <gtest/gtest.h>

#include <condition_variable>
#include <deque>
#include <fstream>
#include <mutex>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/database.h"
#include "daemon/takes/relistener.h"
#include "protocol/question_examples.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

using namespace std::chrono_literals;
constexpr Day kMomentsToday = 2026y / 11 / 26;

std::int64_t noon(Day day) {
  Question question;
  question.days = 1;
  Choice choice;
  Clause days;
  days.is = Clause::Is::kDays;
  days.first = days.last = day;
  choice.always.parts.push_back(days);
  question.choices.push_back(choice);
  return days_ms(question)[0].first + 12 * 3'600'000;
}

harmony::ParsedChord chord(std::string_view harte) {
  const auto parsed = harmony::parse_harte(harte);
  if (!parsed) throw std::runtime_error(std::string(harte));
  return *parsed;
}

// A take of chords of one second each, with the given melody over each.
struct MomentPlayed {
  std::string harte;
  std::vector<int> melody;
};
void play(Store& store, std::int64_t begin_utc_ms, const std::vector<MomentPlayed>& chords,
          harmony::Key key = {PitchClass(0), harmony::Mode::kMajor}) {
  static std::int64_t clock = 1'000'000;
  const std::int64_t begin = clock;
  store.append(take_begin(us(begin), begin_utc_ms));
  store.append(key_heard(us(begin), {key, 0.8f}));
  std::int64_t at = begin;
  for (const MomentPlayed& played : chords) {
    const auto parsed = chord(played.harte);
    const listen::Reading heard{parsed.chord, parsed.root, 0.9f};
    store.append(chord_in_force(us(at), heard));
    for (const int pitch : played.melody) {
      listen::Meeting met;
      met.at = us(at);
      met.length = us(900'000);
      met.pitch = Pitch(pitch);
      met.name = harmony::spell_within(met.pitch.pitch_class(), -5);
      met.degree =
          harmony::degree_in(parsed.chord.quality, ascending(parsed.chord.root, met.pitch.pitch_class()));
      met.chord = heard;
      met.key = key;
      store.append(meeting(met));
    }
    at += 1'000'000;
  }
  clock = at + 30'000'000;
  ASSERT_TRUE(appended(store, take_end(us(at), EndReason::kSilence)));
}

FoundMoments find(Store& store, std::string_view text, std::size_t limit = 50,
                  std::optional<MomentSearch::From> from = {}) {
  auto question = read_question(text, kMomentsToday);
  EXPECT_TRUE(question) << question.error().message;
  MomentSearch search;
  search.days_ms = days_ms(*question);
  search.question = std::move(*question);
  search.limit = limit;
  search.from = from;
  auto found = now<FoundMoments>([&](auto answer) { store.find(search, answer); });
  EXPECT_TRUE(found) << found.error().message;
  return found ? *found : FoundMoments{};
}
std::vector<std::string> said(const FoundMoments& found) {
  std::vector<std::string> out;
  for (const auto& moment : found.moments) {
    std::string text =
        std::to_string(moment.take) + "@" + std::to_string((moment.at - moment.take_at).count() / 1'000'000);
    for (const auto& harte : moment.harte) text += " " + harte;
    if (moment.note) text += " under " + moment.note->facts.name + " " + moment.note->facts.degree;
    out.push_back(text + " " + std::to_string(moment.time) + "/" + std::to_string(moment.times));
  }
  return out;
}
using Strings = std::vector<std::string>;

class Moments : public testing::Test {
 protected:
  Moments() : store_(open_store(folder_.path / "takes.db", reported_)) {
    play(*store_, noon(2026y / 11 / 3),
         {{"C:maj7", {79}}, {"F:maj7", {79}}, {"Db:maj7", {79}}, {"Eb:7", {79, 72}}, {"Db:maj9", {79}}});
    play(*store_, noon(2026y / 11 / 18),
         {{"C:min7", {}},
          {"F:7", {81}},
          {"F:9", {79}},
          {"Bb:maj7", {74}},
          {"G:min7", {69}},
          {"C:7", {70}},
          {"F:maj7", {}}},
         {PitchClass(10), harmony::Mode::kMajor});
    play(*store_, noon(2026y / 11 / 25), {{"Db:maj7/b7", {67}}, {"A:min9", {69}}, {"D:hdim7", {80}}},
         {PitchClass(5), harmony::Mode::kMinor});
  }
  TemporaryFolder folder_;
  Reported reported_;
  std::unique_ptr<Store> store_;
};

TEST_F(Moments, AreFoundNewestFirstWithNoteDegreeAndHowOften) {
  EXPECT_EQ(said(find(*store_, "Db under G")),
            (Strings{"3@0 Db:maj7/b7 under G4 #11 1/1", "1@4 Db:maj9 under G5 #11 2/2",
                     "1@2 Db:maj7 under G5 #11 1/2"}));
  EXPECT_EQ(said(find(*store_, "exactly Dbmaj7 under G")),
            (Strings{"3@0 Db:maj7/b7 under G4 #11 1/1", "1@2 Db:maj7 under G5 #11 1/2"}));
  EXPECT_EQ(said(find(*store_, "#11 over a major seventh in F minor")),
            (Strings{"3@0 Db:maj7/b7 under G4 #11 1/1"}));
  EXPECT_EQ(said(find(*store_, "Db/B")), (Strings{"3@0 Db:maj7/b7 1/1"}));
  EXPECT_EQ(said(find(*store_, "minor under A")),
            (Strings{"3@1 A:min9 under A4 1 1/1", "2@4 G:min7 under A4 9 1/1"}));
  EXPECT_EQ(said(find(*store_, "any dominant under C")), (Strings{"1@3 Eb:7 under C5 13 1/1"}));
  EXPECT_EQ(said(find(*store_, "not Db and note G and before 2026-11-10")),
            (Strings{"1@3 Eb:7 under G5 3 1/1", "1@1 F:maj7 under G5 9 1/1", "1@0 C:maj7 under G5 5 1/1"}));
}

TEST_F(Moments, SequencesFollowHarmoniesAndRootMovements) {
  EXPECT_EQ(said(find(*store_, "Cm7 then F7 then Bbmaj7")), (Strings{"2@0 C:min7 F:7 F:9 Bb:maj7 1/1"}));
  EXPECT_EQ(said(find(*store_, "minor then up a fourth any dominant then up a fourth major")),
            (Strings{"2@4 G:min7 C:7 F:maj7 2/2", "2@0 C:min7 F:7 F:9 Bb:maj7 1/2"}));
  EXPECT_EQ(said(find(*store_, "F7 under A then Bb under D")), (Strings{"2@1 F:7 F:9 Bb:maj7 1/1"}));
  EXPECT_EQ(said(find(*store_, "minor then dominant then major then minor then dominant then major")),
            (Strings{"2@0 C:min7 F:7 F:9 Bb:maj7 G:min7 C:7 F:maj7 1/1"}));
  EXPECT_EQ(said(find(*store_, "minor then any chord then Bb then any chord then C7")),
            (Strings{"2@0 C:min7 F:7 F:9 Bb:maj7 G:min7 C:7 1/1"}));
  EXPECT_EQ(said(find(*store_, "minor then down a fifth F7")), (Strings{"2@0 C:min7 F:7 F:9 1/1"}));
  EXPECT_TRUE(find(*store_, "minor then up a fifth F7").moments.empty());
  EXPECT_TRUE(find(*store_, "F7 under B then Bb under D").moments.empty());
  EXPECT_TRUE(find(*store_, "Cm7 then Bbmaj7").moments.empty()) << "F is in between";
}

TEST_F(Moments, DaysBoundTheTakes) {
  EXPECT_EQ(find(*store_, "Db last week").moments.size(), 0u);
  EXPECT_EQ(find(*store_, "F last week").moments.size(), 3u);
  EXPECT_EQ(find(*store_, "Db under G since 2026-11-19").moments.size(), 1u);
  EXPECT_EQ(find(*store_, "2026-11-03").moments.size(), 5u);
  EXPECT_EQ(find(*store_, "Db under G in November").moments.size(), 3u);
  EXPECT_EQ(find(*store_, "Db under G in October").moments.size(), 0u);
}

TEST_F(Moments, AnEmptyAnswerSaysWhatComesNear) {
  const auto found = find(*store_, "Eb under D last week");
  EXPECT_TRUE(found.moments.empty());
  ASSERT_EQ(found.near.size(), 3u);
  EXPECT_EQ(found.near[0].words, "any chord under D, from 2026-11-16 to 2026-11-22");
  EXPECT_EQ(found.near[0].moments, 1u);
  // Each count is what that question returns.
  for (const auto& [words, near] :
       {std::pair("Eb last week", "any chord on Eb, from 2026-11-16 to 2026-11-22"),
        std::pair("Eb under D", "any chord on Eb under D")})
    for (const auto& each : found.near) {
      if (each.words == near) {
        EXPECT_EQ(each.moments, find(*store_, words).moments.size());
      }
    }
  EXPECT_EQ(find(*store_, "Cm7 then F7 then Ebmaj7").near[0].words, "m7 on C, then 7 on F, then any chord");
  EXPECT_EQ(find(*store_, "Cm7 then F7 then Ebmaj7").near[0].moments, 1u);
}

TEST_F(Moments, PagesFollowOneAnotherWithoutGapOrRepetition) {
  const auto whole = said(find(*store_, "note G or note A", 200));
  ASSERT_GT(whole.size(), 6u);
  Strings paged;
  std::optional<MomentSearch::From> from;
  do {
    const auto page = find(*store_, "note G or note A", 2, from);
    for (const auto& each : said(page)) paged.push_back(each);
    EXPECT_LE(page.moments.size(), 2u);
    from = page.next;
  } while (from);
  EXPECT_EQ(paged, whole);
}

TEST_F(Moments, TheTakeBeingPlayedIsInTheAnswerAndADeletedOneIsNot) {
  store_->append(take_begin(us(900'000'000), noon(kMomentsToday)));
  const auto flat = chord("Gb:maj7");
  listen::Meeting met;
  met.at = us(900'000'000);
  met.length = us(500'000);
  met.pitch = Pitch(79);
  met.chord = {flat.chord, flat.root, 0.9f};
  store_->append(chord_in_force(us(900'000'000), met.chord));
  ASSERT_TRUE(appended(*store_, meeting(met)));
  EXPECT_EQ(find(*store_, "Gb under G").moments.size(), 1u);
  EXPECT_EQ(find(*store_, "Gb under G").moments.at(0).take, 4u);
  ASSERT_TRUE(appended(*store_, take_end(us(901'000'000), EndReason::kRequest)));
  EXPECT_EQ(find(*store_, "Gb under G").moments.size(), 1u);
  ASSERT_TRUE(now<LineNumber>([&](auto answer) { store_->edit(LineKind::kDelete, 4, us(1), "", answer); }));
  EXPECT_EQ(find(*store_, "Gb under G").moments.size(), 0u);
}

TEST_F(Moments, EveryExampleOfTheHelpIsAnswered) {
  for (const auto& example : protocol::kQuestionExamples) {
    const auto found = find(*store_, example.question);
    EXPECT_TRUE(!found.moments.empty() || !found.near.empty()) << example.question;
  }
}

// ---- older layouts

// A file as layout 1 wrote it, with takes that have MIDI only.
void make_layout_1(const std::filesystem::path& path, int takes) {
  SQLite::Database file(path.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
  file.exec("PRAGMA journal_mode = WAL");
  file.exec(R"(
CREATE TABLE about(name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE takes(take INTEGER PRIMARY KEY, begin_utc_ms INTEGER NOT NULL, at INTEGER NOT NULL, last_at INTEGER NOT NULL,
  ended TEXT, title TEXT NOT NULL DEFAULT '', annotation TEXT NOT NULL DEFAULT '', key TEXT,
  notes INTEGER NOT NULL DEFAULT 0, chords INTEGER NOT NULL DEFAULT 0, marks INTEGER NOT NULL DEFAULT 0,
  deleted INTEGER NOT NULL DEFAULT 0, first_line INTEGER NOT NULL, last_line INTEGER NOT NULL);
CREATE INDEX takes_by_begin ON takes(begin_utc_ms);
CREATE TABLE log(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, kind INTEGER NOT NULL, data BLOB NOT NULL);
CREATE INDEX log_by_take ON log(take, number);
CREATE INDEX log_shown ON log(take, kind) WHERE kind IN (3, 4, 8);
CREATE TABLE chords(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, root INTEGER NOT NULL,
  bass INTEGER NOT NULL, family TEXT NOT NULL, harte TEXT NOT NULL);
CREATE INDEX chords_by_root ON chords(root, family, take);
CREATE INDEX chords_by_harte ON chords(harte, take);
CREATE TABLE melody(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, pitch INTEGER NOT NULL,
  pitch_class INTEGER NOT NULL, over INTEGER, degree TEXT NOT NULL);
CREATE INDEX melody_by_note ON melody(pitch_class, over, take);
CREATE INDEX melody_by_degree ON melody(degree, over, take);
CREATE TABLE keys(number INTEGER PRIMARY KEY, take INTEGER NOT NULL, at INTEGER NOT NULL, harte TEXT NOT NULL);
CREATE INDEX keys_by_harte ON keys(harte, take);
CREATE INDEX keys_by_take ON keys(take, at);
INSERT INTO about VALUES ('id', '0123456789abcdef'), ('first_number', '1');
PRAGMA application_id = 1433298003;
PRAGMA user_version = 1;)");
  SQLite::Transaction all(file);
  std::int64_t number = 0, begin = 1'000'000;
  SQLite::Statement line(file, "INSERT INTO log VALUES (?, ?, ?, ?, ?)");
  SQLite::Statement take_row(file,
                             "INSERT INTO takes(take, begin_utc_ms, at, last_at, ended, notes, first_line, "
                             "last_line) VALUES (?, ?, ?, ?, 'silence', 9, ?, ?)");
  const auto add = [&](int take, std::int64_t at, int kind, const std::string& data) {
    line.reset();
    line.bind(1, ++number);
    line.bind(2, take);
    line.bind(3, at);
    line.bind(4, kind);
    line.bind(5, data.data(), static_cast<int>(data.size()));
    line.exec();
  };
  for (int take = 1; take <= takes; ++take, begin += 60'000'000) {
    const std::int64_t first = number + 1;
    add(take, begin, 1, "1790000000000");
    const auto key = [&](std::int64_t at, int pitch, bool on) {
      add(take, begin + at, 2,
          std::string{'\0', static_cast<char>(on ? 0x90 : 0x80), static_cast<char>(pitch),
                      static_cast<char>(on ? 74 : 0)});
    };
    key(0, 79, true);
    std::int64_t at = 500'000;
    for (const auto& keys :
         std::vector<std::vector<int>>{{48, 52, 55, 59}, {53, 57, 60, 64}, {49, 53, 56, 60}}) {
      for (const int pitch : keys) key(at, pitch, true);
      for (const int pitch : keys) key(at + 1'150'000, pitch, false);
      at += 1'200'000;
    }
    key(at, 79, false);
    add(take, begin + at, 9, "silence");
    take_row.reset();
    take_row.bind(1, take);
    take_row.bind(2, std::int64_t{1'790'000'000'000} + take * 60'000);
    take_row.bind(3, begin);
    take_row.bind(4, begin + at);
    take_row.bind(5, first);
    take_row.bind(6, number);
    take_row.exec();
  }
  all.commit();
}

// Runs posted work and the work given to `aside`, one piece at a time, until told to stop.
class Pieces {
 public:
  void post(std::function<void()> work) {
    const std::lock_guard lock(mutex_);
    waiting_.push_back(std::move(work));
    changed_.notify_all();
  }
  // Runs until `enough` returns true. False if no work arrived for a long time.
  bool run(const std::function<bool()>& enough) {
    while (!enough()) {
      std::function<void()> work;
      {
        std::unique_lock lock(mutex_);
        if (!changed_.wait_for(lock, 30s, [&] { return !waiting_.empty(); })) return false;
        work = std::move(waiting_.front());
        waiting_.pop_front();
      }
      work();
    }
    return true;
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> waiting_;
};

std::unique_ptr<Store> open_posting(const std::filesystem::path& path, Pieces& pieces) {
  auto store =
      Store::open({.path = path}, {.deliver = [&pieces](Store::Work work) { pieces.post(std::move(work)); },
                                   .on_lines = {},
                                   .on_health = {}});
  EXPECT_TRUE(store);
  return std::move(*store);
}
std::int64_t number_in(const std::filesystem::path& path, const std::string& sql) {
  SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
  file.setBusyTimeout(5000);
  return file.execAndGet(sql).getInt64();
}

TEST(Migration, AFileOfLayout1IsListenedToAgainATakeAtATimeAndGoesOnAfterAStop) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  make_layout_1(path, 9);
  std::vector<Line> before;
  {
    Pieces pieces;
    auto store = open_posting(path, pieces);
    EXPECT_EQ(number_in(path, "PRAGMA user_version"), kLayoutVersion);
    EXPECT_EQ(number_in(path, "SELECT count(*) FROM log"), 9 * (2 + 2 + 24))
        << "nothing that was kept is touched";
    Relistener relistener({*store,
                           [&](auto work) {
                             pieces.post(std::move(work));
                             return true;
                           },
                           [&](auto work) { pieces.post(std::move(work)); },
                           {}});
    relistener.nudge();
    ASSERT_TRUE(pieces.run([&] { return number_in(path, "SELECT count(*) FROM heard") >= 4; }));
    store->close();
  }
  const auto done = number_in(path, "SELECT count(*) FROM heard");
  EXPECT_LT(done, 9);
  EXPECT_EQ(number_in(path, "SELECT min(take) FROM heard"), 9 - done + 1) << "newest first";
  {
    Pieces pieces;
    auto store = open_posting(path, pieces);
    std::optional<std::uint64_t> heard;
    Relistener relistener({*store,
                           [&](auto work) {
                             pieces.post(std::move(work));
                             return true;
                           },
                           [&](auto work) { pieces.post(std::move(work)); },
                           [&](std::uint64_t takes) { heard = takes; }});
    relistener.nudge();
    ASSERT_TRUE(pieces.run([&] { return heard.has_value(); }));
    EXPECT_EQ(*heard, static_cast<std::uint64_t>(9 - done)) << "what was done before is not done again";
    store->close();
  }
  Reported reported;
  auto store = open_store(path, reported);
  const auto found = find(*store, "Db under G");
  EXPECT_EQ(found.unheard, 0u);
  ASSERT_EQ(found.moments.size(), 9u);
  EXPECT_EQ(found.moments[0].take, 9u);
  ASSERT_TRUE(found.moments[0].note);
  EXPECT_EQ(found.moments[0].note->facts.pitch, Pitch(79));
  EXPECT_EQ(found.moments[0].note->facts.degree, "#11");
  EXPECT_NEAR(static_cast<double>((found.moments[0].at - found.moments[0].take_at).count()), 2.9e6, 2e5);
  EXPECT_EQ(number_in(path, "SELECT count(*) FROM log"), 9 * (2 + 2 + 24));
}

TEST(Migration, UntilATakeIsHeardAgainTheAnswerSaysHowManyAreMissing) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  make_layout_1(path, 3);
  Reported reported;
  auto store = open_store(path, reported);
  const auto found = find(*store, "Db under G");
  EXPECT_TRUE(found.moments.empty());
  EXPECT_EQ(found.unheard, 3u);
  const auto met = now<TakeMeetings>([&](auto answer) { store->meetings(TakeId{2}, answer); });
  ASSERT_TRUE(met);
  EXPECT_FALSE(met->heard);
}

TEST(Migration, AFailureInTheMiddleLeavesTheOldLayoutWhole) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  make_layout_1(path, 2);
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    file.exec("CREATE TABLE statements(in_the_way INTEGER)");  // creating the second new table fails
  }
  EXPECT_THROW((void)Database::open(path, {}), SQLite::Exception);
  EXPECT_EQ(number_in(path, "PRAGMA user_version"), 1);
  EXPECT_EQ(number_in(path, "SELECT count(*) FROM sqlite_master WHERE name = 'meetings'"), 0);
  EXPECT_EQ(number_in(path, "SELECT count(*) FROM takes"), 2);
}

TEST(Migration, AnInterruptedTakeIsListenedToAgain) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  {
    Reported reported;
    auto store = open_store(path, reported);
    store->append(take_begin(us(0), 0));
    ASSERT_TRUE(appended(*store, note(10, 60)));
  }
  Reported reported;
  auto store = open_store(path, reported);
  const auto unheard =
      now<std::optional<TakeId>>([&](auto answer) { store->next_unheard(~TakeId{0}, answer); });
  ASSERT_TRUE(unheard);
  EXPECT_EQ(*unheard, TakeId{1});
}

}  // namespace
}  // namespace undersong::takes
