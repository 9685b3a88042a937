#include "daemon/takes/store.h"

#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>

#include "daemon/midi/smf.h"
#include "daemon/takes/midi_export.h"
#include "daemon/takes/take_times.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

listen::MelodyNote melody(std::int64_t since, int pitch, harmony::Degree degree) {
  return {Pitch(pitch), harmony::spell_within(Pitch(pitch).pitch_class(), -5), degree, us(since), true};
}

// Two takes: one over F major, one over a B flat dominant.
void play_two_takes(Store& store) {
  store.append(take_begin(us(1'000'000), 1'790'000'000'000));
  store.append(note(1'000'000, 53));
  store.append(note(1'000'500, 76));
  store.append(chord_in_force(us(1'000'000), reading(5, "maj7", -1)));
  store.append(key_heard(us(1'000'500), {{PitchClass(5), harmony::Mode::kMajor}, 0.7f}));
  store.append(melody_note(melody(1'000'500, 76, {7, 0}),
                           harmony::Chord{PitchClass(5), harmony::quality("maj7"), PitchClass(5)}));
  store.append(mark(us(1'500'000), "this turn"));
  store.append(midi_received(midi::note_on(us(2'000'000), 0, Pitch(53), Velocity(0))));
  store.append(take_end(us(2'500'000), EndReason::kSilence));
  store.append(take_begin(us(9'000'000), 1'790'000'100'000));
  store.append(note(9'000'000, 58));
  store.append(chord_in_force(us(9'000'000), reading(10, "9", -2)));
  store.append(chord_in_force(us(9'400'000), reading(10, "9", -2, 2)));
  store.append(melody_note(melody(9'100'000, 64, {11, 1}),
                           harmony::Chord{PitchClass(10), harmony::quality("9"), PitchClass(10)}));
  store.append(melody_note(melody(9'200'000, 65, {5, 0}), std::nullopt));
  ASSERT_TRUE(appended(store, take_end(us(10'000'000), EndReason::kRequest)));
}

TEST(Store, NumbersLinesWithoutGapsAndGivesThemBackAsTheyWere) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "new" / "takes.db", reported);
  play_two_takes(*store);
  const auto lines = lines_of(*store);
  ASSERT_EQ(lines.size(), 16u);
  expect_no_gaps(lines);
  EXPECT_EQ(store->last_number(), 16u);
  EXPECT_EQ(lines[0].kind, LineKind::kTakeBegin);
  EXPECT_EQ(lines[0].data, "1790000000000");
  EXPECT_EQ(midi_event(lines[1]), midi::note_on(us(1'000'000), 0, Pitch(53), Velocity(80)));
  EXPECT_EQ(
      lines[3].data,
      R"({"root":5,"root_name":"F","quality":"maj7","family":"major","bass":5,"harte":"F:maj7","confidence":8.13E-1})");
  EXPECT_EQ(lines[5].data, R"({"pitch":76,"name":"E5","over":5,"degree":"7"})");
  EXPECT_EQ(lines[6].data, "this turn");
  EXPECT_EQ(lines[8].data, "silence");
  EXPECT_EQ(lines[15].take, 2u);
  ASSERT_TRUE(reported.wait_for_lines(16));
  expect_no_gaps(reported.lines());
  EXPECT_EQ(lines_of(*store, 2).size(), 7u);
  EXPECT_EQ(lines_of(*store, 2, 12, 2).at(1).number, 13u);
  EXPECT_EQ(lines_of(*store, {}, 17).size(), 0u);
  namespace fs = std::filesystem;
  EXPECT_EQ(fs::status(folder.path / "new").permissions(), fs::perms::owner_all);
  EXPECT_EQ(fs::status(folder.path / "new" / "takes.db").permissions(),
            fs::perms::owner_read | fs::perms::owner_write);
}

TEST(Store, AnnouncesALineOnlyWhenAnotherReaderCanSeeIt) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  Reported reported;
  auto store = open_store(path, reported);
  store->append(take_begin(us(0), 0));
  for (int i = 0; i < 20; ++i) {
    const auto number = appended(*store, mark(us(i), "x"));
    ASSERT_TRUE(number);
    SQLite::Database other(path.string(), SQLite::OPEN_READONLY);
    EXPECT_EQ(static_cast<LineNumber>(other.execAndGet("SELECT max(number) FROM log").getInt64()), *number);
  }
}

TEST(Store, SummarisesATake) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_two_takes(*store);
  const auto first = now<Detail>([&](auto answer) { store->detail(TakeId{1}, answer); });
  ASSERT_TRUE(first);
  EXPECT_EQ(first->summary.begin_utc_ms, 1'790'000'000'000);
  EXPECT_EQ(first->summary.at, us(1'000'000));
  EXPECT_EQ(first->summary.last_at, us(2'500'000));
  EXPECT_EQ(first->summary.notes, 2u) << "a note-on with velocity 0 is no note";
  EXPECT_EQ(first->summary.chords, 1u);
  EXPECT_EQ(first->summary.marks, 1u);
  EXPECT_EQ(first->summary.key, "F:maj");
  EXPECT_EQ(first->summary.ended, "silence");
  EXPECT_EQ(first->summary.first_line, 1u);
  EXPECT_EQ(first->summary.last_line, 9u);
  ASSERT_EQ(first->marks.size(), 1u);
  ASSERT_EQ(first->chords.size(), 1u);
  ASSERT_EQ(first->keys.size(), 1u);
  EXPECT_EQ(now<Detail>([&](auto answer) { store->detail({}, answer); })->summary.take, 2u) << "the newest";
  EXPECT_EQ(now<Detail>([&](auto answer) { store->detail(TakeId{7}, answer); }).error().message,
            "There is no take 7.");
}

TEST(Store, KeyOfATakeIsTheOneThatHeldLongest) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  const auto key = [](std::int64_t at, int tonic) {
    return key_heard(us(at), {{PitchClass(tonic), harmony::Mode::kMajor}, 0.5f});
  };
  store->append(take_begin(us(0), 0));
  for (const auto& [at, tonic] :
       std::vector<std::pair<std::int64_t, int>>{{100, 0}, {500, 7}, {600, 0}, {800, 5}})
    store->append(key(at, tonic));
  ASSERT_TRUE(appended(*store, take_end(us(1'350), EndReason::kRequest)));  // C 400 + 200, G 100, F 550
  EXPECT_EQ(now<Detail>([&](auto answer) { store->detail({}, answer); })->summary.key, "C:maj");
}

TEST(Store, EditsAreLinesAndDeletionCanBeUndone) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_two_takes(*store);
  const auto edit = [&](LineKind kind, TakeId take, std::string text) {
    return now<LineNumber>([&](auto answer) { store->edit(kind, take, us(7), text, answer); });
  };
  const auto listed = [&](bool deleted) {
    Search search;
    search.deleted = deleted;
    return now<Found>([&](auto answer) { store->list(search, answer); })->takes;
  };
  EXPECT_EQ(*edit(LineKind::kRename, 1, "circling"), 17u);
  EXPECT_EQ(*edit(LineKind::kAnnotate, 1, "slower"), 18u);
  EXPECT_EQ(*edit(LineKind::kDelete, 1, ""), 19u);
  EXPECT_EQ(listed(false).size(), 1u);
  ASSERT_EQ(listed(true).size(), 1u);
  EXPECT_EQ(listed(true)[0].title, "circling");
  EXPECT_EQ(*edit(LineKind::kRestore, 1, ""), 20u);
  EXPECT_EQ(listed(false).size(), 2u);
  EXPECT_EQ(listed(false)[1].annotation, "slower");
  const auto corrected = now<LineNumber>(
      [&](auto answer) { store->edit(LineKind::kCorrection, 1, us(1'200'000), "D:min7", answer); });
  EXPECT_EQ(*corrected, 21u);
  const auto chords = now<Detail>([&](auto answer) { store->detail(1, answer); })->chords;
  ASSERT_EQ(chords.size(), 1u);
  EXPECT_NE(chords[0].data.find("D:min7"), std::string::npos)
      << "the player's name is shown: " << chords[0].data;
  EXPECT_EQ(edit(LineKind::kRename, 9, "x").error().code, ErrorCode::kNotFound);
  EXPECT_EQ(store->last_number(), 21u) << "an edit that was refused takes no number";
  store->append(take_begin(us(20'000'000), 0));
  EXPECT_EQ(edit(LineKind::kDelete, 3, "").error().code, ErrorCode::kConflict) << "being played";
  expect_no_gaps(lines_of(*store));
}

TEST(Store, AMarkThatIsTakenBackIsNeitherShownNorCountedAndStaysInTheLog) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_two_takes(*store);
  const auto unmark = [&](TakeId take, std::string line) {
    return now<LineNumber>([&](auto answer) { store->edit(LineKind::kUnmark, take, us(7), line, answer); });
  };
  const auto detail = [&](TakeId take) {
    return *now<Detail>([&](auto answer) { store->detail(take, answer); });
  };
  ASSERT_EQ(detail(1).marks.size(), 1u);
  const auto mark_line = detail(1).marks[0].number;
  EXPECT_EQ(unmark(1, "4").error().code, ErrorCode::kNotFound) << "line 4 is a chord";
  EXPECT_EQ(unmark(2, std::to_string(mark_line)).error().code, ErrorCode::kNotFound)
      << "the mark of another take";
  ASSERT_TRUE(unmark(1, std::to_string(mark_line)));
  EXPECT_TRUE(detail(1).marks.empty());
  EXPECT_EQ(detail(1).summary.marks, 0u);
  EXPECT_EQ(unmark(1, std::to_string(mark_line)).error().code, ErrorCode::kNotFound) << "only once";
  // In a take that is being played, where the mark may not be counted in the file yet.
  store->append(take_begin(us(20'000'000), 0));
  const auto first = appended(*store, mark(us(20'100'000), "one"));
  const auto second = appended(*store, mark(us(20'200'000), "two"));
  ASSERT_TRUE(first && second);
  ASSERT_TRUE(unmark(3, std::to_string(*second)));
  ASSERT_TRUE(appended(*store, take_end(us(21'000'000), EndReason::kRequest)));
  ASSERT_EQ(detail(3).marks.size(), 1u);
  EXPECT_EQ(detail(3).marks[0].data, "one");
  EXPECT_EQ(detail(3).summary.marks, 1u);
  std::size_t marks = 0, taken_back = 0;
  for (const auto& line : lines_of(*store)) {
    marks += line.kind == LineKind::kMark;
    taken_back += line.kind == LineKind::kUnmark;
  }
  EXPECT_EQ(marks, 3u);
  EXPECT_EQ(taken_back, 2u);
  expect_no_gaps(lines_of(*store));
}

TEST(Store, GoesOnWhereItStoppedAndTellsOfADifferentFile) {
  TemporaryFolder folder;
  const auto path = folder.path / "takes.db";
  std::string id;
  {
    Reported reported;
    auto store = open_store(path, reported);
    play_two_takes(*store);
    id = store->health().id;
    EXPECT_EQ(id.size(), 16u);
  }
  Reported reported;
  auto store = open_store(path, reported);
  EXPECT_EQ(store->health().id, id);
  EXPECT_EQ(store->last_number(), 16u);
  EXPECT_EQ(*appended(*store, mark(us(1), "between takes")), 17u);
  EXPECT_EQ(lines_of(*store).back().take, 0u);
  store->append(take_begin(us(2), 0));
  EXPECT_EQ(*appended(*store, note(3, 60)), 19u);
  EXPECT_EQ(lines_of(*store).back().take, 3u);
  Reported elsewhere;
  EXPECT_NE(open_store(folder.path / "other.db", elsewhere)->health().id, id);
}

TEST(Store, WritesWhatIsLeftWhenItIsClosed) {
  TemporaryFolder folder;
  Store::Options slow;
  slow.commit_every = std::chrono::hours(1);
  {
    Reported reported;
    auto store = open_store(folder.path / "takes.db", reported, slow);
    store->append(take_begin(us(0), 0));
    for (int i = 0; i < 1000; ++i) store->append(note(i, 60));
    store->append(take_end(us(1000), EndReason::kStop));
  }
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  EXPECT_EQ(store->last_number(), 1002u);
}

TEST(Store, ATakeThatBeginsWithinATakeEndsTheFirst) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  store->append(take_begin(us(0), 0));
  store->append(note(500, 60));
  EXPECT_EQ(*appended(*store, take_begin(us(900), 1)), 4u) << "after the end that was added";
  ASSERT_TRUE(reported.wait_for_lines(4));
  expect_no_gaps(reported.lines());
  const auto lines = lines_of(*store);
  EXPECT_EQ(lines[2].kind, LineKind::kTakeEnd);
  EXPECT_EQ(lines[2].data, "interrupted");
  EXPECT_EQ(lines[2].at, us(500));
}

std::vector<TakeId> found(Store& store, const Search& search) {
  std::vector<TakeId> takes;
  const auto result = now<Found>([&](auto answer) { store.list(search, answer); });
  EXPECT_TRUE(result) << result.error().message;
  if (result)
    for (const auto& take : result->takes) takes.push_back(take.take);
  return takes;
}

TEST(Search, FindsByChordMelodyKeyAndDate) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_two_takes(*store);
  using Takes = std::vector<TakeId>;
  const auto with = [&](auto set) {
    Search search;
    set(search);
    return found(*store, search);
  };
  EXPECT_EQ(with([](Search&) {}), (Takes{2, 1}));
  EXPECT_EQ(with([](Search& s) { s.harte = "F:maj7"; }), Takes{1});
  EXPECT_EQ(with([](Search& s) { s.harte = "Bb:9/3"; }), Takes{2}) << "with its bass";
  EXPECT_EQ(with([](Search& s) { s.root = PitchClass(10); }), Takes{2});
  EXPECT_EQ(with([](Search& s) {
              s.root = PitchClass(10);
              s.family = harmony::Family::kDominant;
            }),
            Takes{2});
  EXPECT_EQ(with([](Search& s) {
              s.root = PitchClass(10);
              s.family = harmony::Family::kMajor;
            }),
            Takes{});
  EXPECT_EQ(with([](Search& s) { s.family = harmony::Family::kMajor; }), Takes{1});
  EXPECT_EQ(with([](Search& s) { s.key = "F:maj"; }), Takes{1});
  EXPECT_EQ(with([](Search& s) { s.melody = PitchClass(4); }), (Takes{2, 1}));
  EXPECT_EQ(with([](Search& s) {
              s.melody = PitchClass(4);
              s.melody_over = PitchClass(10);
            }),
            Takes{2});
  EXPECT_EQ(with([](Search& s) { s.melody_degree = "#11"; }), Takes{2});
  EXPECT_EQ(with([](Search& s) {
              s.melody = PitchClass(5);
              s.melody_over = PitchClass(10);
            }),
            Takes{})
      << "it stood under no chord";
  EXPECT_EQ(with([](Search& s) { s.from_utc_ms = 1'790'000'000'001; }), Takes{2});
  EXPECT_EQ(with([](Search& s) { s.to_utc_ms = 1'790'000'000'000; }), Takes{1});
  EXPECT_EQ(with([](Search& s) { s.before = 2; }), Takes{1});
  EXPECT_EQ(with([](Search& s) { s.harte = "F:maj7' OR 1=1 --"; }), Takes{})
      << "is a chord that nobody played";
  Search one;
  one.limit = 1;
  const auto page = now<Found>([&](auto answer) { store->list(one, answer); });
  EXPECT_TRUE(page->more);
  EXPECT_EQ(page->takes.size(), 1u);
}

TEST(Export, GivesAStandardMidiFileThatBeginsWithTheTake) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  play_two_takes(*store);
  const auto midi = now<Store::Midi>([&](auto answer) { store->midi(TakeId{1}, answer); });
  ASSERT_TRUE(midi);
  const auto bytes = standard_midi_file(*midi);
  ASSERT_TRUE(bytes);
  const auto file = midi::read_smf(*bytes);
  ASSERT_TRUE(file) << file.error().message;
  const auto events = midi::merged_events(*file);
  ASSERT_EQ(events.size(), 3u);
  EXPECT_EQ(events[0].at, us(0));
  EXPECT_EQ(events[0].bytes[1], 53);
  EXPECT_NEAR(static_cast<double>(events[2].at.count()), 1e6, 600) << "to the nearest tick";
  ASSERT_EQ(file->markers.size(), 1u);
  EXPECT_EQ(file->markers[0].text, "this turn");
  EXPECT_NEAR(static_cast<double>(file->markers[0].at.count()), 5e5, 600);
}

TEST(Store, WhateverTimesItsLinesHaveATakeIsReadWithTimesOfItsOwn) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  store->append(take_begin(us(5'000'000), 1));
  for (const std::int64_t at : {INT64_MIN, INT64_MIN + 1, std::int64_t{6'000'000}, INT64_MAX - 1, INT64_MAX})
    store->append(note(at, 60));
  store->append({us(INT64_MIN), LineKind::kBeat, R"({"what":"one"})", {}});
  ASSERT_TRUE(appended(*store, take_end(us(7'000'000), EndReason::kRequest)));
  const auto read = now<Store::Midi>([&](auto answer) { store->midi(1, answer); });
  ASSERT_TRUE(read);
  ASSERT_EQ(read->events.size(), 5u);
  for (const auto& event : read->events) {
    EXPECT_GE(event.at, us(-5'000'000));
    EXPECT_LE(event.at - us(5'000'000), kLongestTake + kAroundTake);
  }
  EXPECT_EQ(read->events[2].at, us(6'000'000));
  for (const auto& line : read->said) EXPECT_LT(read->detail.summary.at - line.at, 2 * listen::kFarthest);
}

TEST(Store, BoundsWhatWaitsToBeAskedAndAnswersTheRest) {
  TemporaryFolder folder;
  // The thread that should receive the answers is busy.
  std::mutex mutex;
  std::vector<Store::Work> delivered;
  Store::Options options;
  options.path = folder.path / "takes.db";
  options.most_tasks = 50;
  auto opened = Store::open(options, {[&](Store::Work work) {
                                        const std::lock_guard lock(mutex);
                                        delivered.push_back(std::move(work));
                                      },
                                      {},
                                      {}});
  ASSERT_TRUE(opened);
  auto store = std::move(*opened);
  int answered = 0, refused = 0;
  const auto take_all = [&] {
    std::vector<Store::Work> all;
    {
      const std::lock_guard lock(mutex);
      all.swap(delivered);
    }
    for (const auto& work : all) work();
  };
  for (int i = 0; i < 200; ++i)
    store->list({}, [&](Result<Found> found) {
      if (found) return void(++answered);
      ++refused;
      EXPECT_EQ(found.error().code, ErrorCode::kExhausted) << found.error().message;
    });
  // Entries are written although nobody receives the answers.
  for (int i = 0; i < 10; ++i) store->append(note(i, 60));
  const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(30);
  while (store->last_number() < 10 && std::chrono::steady_clock::now() < end) std::this_thread::yield();
  EXPECT_EQ(store->last_number(), 10u);
  {
    const std::lock_guard lock(mutex);
    EXPECT_LE(delivered.size(), 200u);
  }
  EXPECT_EQ(answered + refused, 0);
  while (answered + refused < 200 && std::chrono::steady_clock::now() < end) take_all();
  EXPECT_EQ(answered + refused, 200);
  EXPECT_GE(refused, 200 - 50 - 2 * 16);
  EXPECT_GE(answered, 50);
}

TEST(Midi, LeavesSuspectedEchoesOutAndLetsGoWhereEventsWereLost) {
  TemporaryFolder folder;
  Reported reported;
  auto store = open_store(folder.path / "takes.db", reported);
  const auto received = [&](midi::Event event) { store->append(midi_received(event)); };
  store->append(take_begin(us(0), 0));
  received(midi::note_on(us(1), 0, Pitch(60), Velocity(80), 2));
  received(midi::note_on(us(2), 3, Pitch(62), Velocity(80), 2));
  received(midi::note_on(us(3), 0, Pitch(64), Velocity(80), 7));
  received(midi::control_change(us(4), 0, 64, 127, 2));
  received(midi::note_on(us(5), 0, Pitch(65), Velocity(80), 2));
  received(midi::note_off(us(6), 0, Pitch(65), 2));
  store->append(suspected_echo(midi::note_on(us(7), 0, Pitch(72), Velocity(50), 2)));
  store->append(events_lost(us(8), 2, "Stage \"A\"", 12));
  received(midi::note_on(us(9), 0, Pitch(67), Velocity(80), 2));
  store->append(take_end(us(10), EndReason::kRequest));
  const auto midi = now<Store::Midi>([&](auto answer) { store->midi(TakeId{1}, answer); });
  ASSERT_TRUE(midi);
  EXPECT_EQ(midi->detail.summary.notes, 5u);
  ASSERT_EQ(midi->events.size(), 10u);
  std::vector<midi::Event> let_go(midi->events.begin() + 6, midi->events.begin() + 9);
  for (const auto& event : let_go) EXPECT_EQ(event.at, us(8));
  EXPECT_EQ(let_go[0], midi::note_off(us(8), 0, Pitch(60), 2));
  EXPECT_EQ(let_go[1], midi::control_change(us(8), 0, 64, 0, 2));
  EXPECT_EQ(let_go[2], midi::note_off(us(8), 3, Pitch(62), 2));
  EXPECT_EQ(midi->events[9].bytes[1], 67);
  const auto asked = now<std::vector<Line>>([&](auto answer) {
    store->lines(TakeId{1}, 1, 100, {LineKind::kEcho, LineKind::kLost}, answer);
  });
  ASSERT_EQ(asked->size(), 2u);
  EXPECT_EQ(midi_event(asked->front())->bytes[1], 72);
  EXPECT_EQ(lost_port(asked->back()), midi::PortNumber{2});
}

}  // namespace
}  // namespace undersong::takes
