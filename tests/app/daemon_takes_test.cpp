// Kept takes: questions, analysis by a newer ear, export, parts for other programs, and songs.
#include <SQLiteCpp/SQLiteCpp.h>
#include <set>

#include "protocol/question_examples.h"
#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

TEST_F(DaemonTest, WhatWasTriedUnderAHeldNoteIsAskedForInWordsAlsoAfterARestart) {
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(until_kept(daemon));
  }
  for (const bool restarted : {false, true}) {
    if (restarted) {
      daemon_->end(SIGTERM);
      start();
    }
    Connection daemon = connect();
    const auto found = daemon.request(protocol::FindMoments{.question = "Db under G"});
    ASSERT_TRUE(found) << found.error().sentence;
    EXPECT_EQ(found->understood, "any chord on Db under G");
    EXPECT_EQ(found->unheard, 0u);
    ASSERT_EQ(found->moments.size(), 2u);
    const auto& newest = found->moments[0];
    EXPECT_EQ(newest.take, 1u);
    EXPECT_EQ(newest.name, "G5");
    EXPECT_EQ(newest.degree, "#11");
    EXPECT_EQ(newest.chords.at(0).root_name, "Db");
    EXPECT_EQ(newest.time, 2u);
    EXPECT_EQ(newest.times, 2u);
    EXPECT_NEAR(static_cast<double>(newest.from_us), 18.5e6, 3e5);
    EXPECT_NEAR(static_cast<double>(newest.length_us), 1.5e6, 3e5);
    std::set<std::int64_t> roots;
    const auto all = daemon.request(protocol::GetMeetings{});
    ASSERT_TRUE(all);
    EXPECT_TRUE(all->heard);
    for (const auto& met : all->meetings)
      if (met.pitch == 79) roots.insert(met.root);
    EXPECT_EQ(roots.size(), 12u);
    const auto wrong = daemon.request(protocol::FindMoments{.question = "Db beneath G"});
    ASSERT_FALSE(wrong);
    EXPECT_NE(wrong.error().sentence.find("\"beneath\" at column 4"), std::string::npos)
        << wrong.error().sentence;
    const auto near = daemon.request(protocol::FindMoments{.question = "Db under A"});
    ASSERT_TRUE(near);
    ASSERT_EQ(near->near.size(), 2u);
    EXPECT_EQ(near->near[0].words, "any chord on Db");
    for (const auto& example : protocol::kQuestionExamples)
      EXPECT_TRUE(daemon.request(protocol::FindMoments{.question = std::string(example.question)}))
          << example.question;
  }
  Process client({UNDERSONG_CLIENT, "moments", "Db", "under", "G"}, true);
  EXPECT_EQ(client.read_line(), "any chord on Db under G:");
  const std::string line = client.read_line();
  EXPECT_NE(line.find("under G5 (#11)  2nd of 2 times"), std::string::npos) << line;
}

// The store looks as if an older program had written it: it lacks only the analysis by the newest ear.
TEST_F(DaemonTest, AnOlderStoreIsListenedToAgainInTheBackgroundAndKilledInTheMiddleItGoesOn) {
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(until_kept(daemon));
    daemon_->end(SIGTERM);
  }
  constexpr int kTakes = 60;
  const auto path = folder_ / ".local/share/undersong/takes.sqlite";
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    file.exec("DELETE FROM log WHERE kind = 20");
    SQLite::Transaction all(file);
    for (int take = 2; take <= kTakes; ++take) {
      const std::string n = std::to_string(take);
      file.exec("INSERT INTO takes SELECT " + n + ", begin_utc_ms + " + n +
                ", at, last_at, ended, title, annotation, key, notes, chords, marks, deleted, first_line, "
                "last_line FROM takes WHERE take = 1");
      file.exec("INSERT INTO log(take, at, kind, data) SELECT " + n +
                ", at, kind, data FROM log WHERE take = 1 ORDER BY number");
    }
    file.exec(
        "DROP TABLE abouts; DROP TABLE kept_answers; DROP TABLE verdicts; DROP TABLE find_prints; "
        "DROP TABLE find_notes; DROP TABLE own; DROP TABLE meetings; DROP TABLE "
        "statements; DROP TABLE chord_kinds; DROP TABLE "
        "heard; ALTER TABLE log DROP COLUMN sum; DELETE FROM about WHERE name = 'layout'; PRAGMA "
        "user_version = 1");
    all.commit();
  }
  const auto heard = [&] {
    SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
    file.setBusyTimeout(5000);
    if (file.execAndGet("PRAGMA user_version").getInt() < 2) return 0;
    return file.execAndGet("SELECT count(*) FROM heard").getInt();
  };
  start();
  ASSERT_TRUE(eventually([&] { return heard() > 0; }));
  daemon_->end(SIGKILL);
  const int before = heard();
  start();
  Connection daemon = connect();
  // Questions are answered meanwhile. The answer says how many takes are not analysed yet.
  const auto early = daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200});
  ASSERT_TRUE(early);
  EXPECT_GE(early->moments.size() / 2 + early->unheard, static_cast<std::size_t>(kTakes));
  ASSERT_TRUE(eventually([&] {
    const auto found = daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200});
    return found && found->unheard == 0;
  }));
  EXPECT_EQ(daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200})->moments.size(),
            static_cast<std::size_t>(2 * kTakes));
  EXPECT_GE(heard(), before);
  EXPECT_EQ(heard(), kTakes);
}

TEST_F(DaemonTest, ATakeIsExportedAsTheNotesThatWerePlayed) {
  const std::string demo = UNDERSONG_SOURCE_DIR "/configs/demo.mid";
  start({"--play", demo, "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(until_kept(daemon));
  const auto out = folder_ / "take.mid";
  Process client({UNDERSONG_CLIENT, "export", "-o", out.string()}, true);
  EXPECT_EQ(client.read_line(), "Take 1 is in " + out.string() + ".");
  const auto written = midi::read_smf_file(out), played = midi::read_smf_file(demo);
  ASSERT_TRUE(written);
  const auto notes = [](const midi::Smf& file) {
    std::vector<std::array<std::uint8_t, 3>> bytes;
    for (const auto& event : midi::merged_events(file)) bytes.push_back(event.bytes);
    return bytes;
  };
  EXPECT_EQ(notes(*written), notes(*played));
}

TEST_F(DaemonTest, TheLoopOfAKeptTakeIsToldReharmonisedAndHandedOver) {
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(until_kept(daemon));
  const auto said = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "take"});
    Process client(words, true);
    std::vector<std::string> lines;
    for (int i = 0; i < 400; ++i) {
      lines.push_back(client.read_line());
      if (lines.back().empty() && lines.size() > 1 && lines[lines.size() - 2].empty()) break;
    }
    return lines;
  };
  EXPECT_EQ(said({"loop"}).at(0), "Loop   Ebmaj9 (2) Cm7 (2) Abmaj7 (2) G7sus4 (2)");
  const auto other = said({"reharmonise", "1", "--keep", "1,2"});
  EXPECT_EQ(other.at(0), "Loop   Ebmaj9  Cm7  Abmaj7  G7sus4");
  EXPECT_EQ(other.at(3).find(" 1  Ebmaj9  Cm7  "), 0u) << other.at(3);
  // The same take with the signs that the player chooses.
  ASSERT_TRUE(daemon.request(protocol::SetSettings{.symbol_style = protocol::SymbolStyle::kSigns}));
  EXPECT_EQ(said({"loop"}).at(0), "Loop   EbΔ9 (2) C-7 (2) AbΔ7 (2) G7sus4 (2)");
  EXPECT_EQ(said({"reharmonise", "1", "--count", "1"}).at(0), "Loop   EbΔ9  C-7  AbΔ7  G7sus4");
  {
    Process show({UNDERSONG_CLIENT, "show", "1"}, true);
    std::string lines;
    for (int i = 0; i < 40; ++i) lines += show.read_line() + "\n";
    EXPECT_NE(lines.find("EbΔ9"), std::string::npos) << lines;
    EXPECT_EQ(lines.find("maj7"), std::string::npos) << lines;
    EXPECT_NE(lines.find("C-7"), std::string::npos) << lines;
  }
  const auto out = folder_ / "parts";
  EXPECT_EQ(said({"hand-over", "1", out.string()}).at(0).find((out / "parts.mid").string()), 0u);
  for (const char* name : {"parts.mid", "lead_sheet.musicxml", "chart.txt"})
    EXPECT_GT(std::filesystem::file_size(out / name), 100u) << name;
  EXPECT_TRUE(midi::read_smf_file(out / "parts.mid"));
}

TEST_F(DaemonTest, ASongOfKeptTakesIsMadeShownHandedOverAndTakenOffTheList) {
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(until_kept(daemon));
  const auto first_line = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "song"});
    Process client(words, true);
    return client.read_line();
  };
  EXPECT_EQ(first_line({"list"}), "No song is kept yet; undersong song new NAME TAKE makes one.");
  EXPECT_EQ(first_line({"new", "rounds", "1", "--title", "Evening rounds"}), "Kept as rounds.");
  EXPECT_EQ(first_line({"new", "rounds", "1"}),
            "undersong: A song named rounds already exists. Use --replace to replace it.");
  const auto kept = daemon.request(protocol::GetKeptSketch{.name = "rounds"});
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->sketch.title, "Evening rounds");
  EXPECT_EQ(first_line({"show", "rounds"}), "title = \"Evening rounds\"");
  EXPECT_EQ(first_line({"check", "rounds"}).find("Evening rounds: C:min, 4/4, 7"), 0u);
  EXPECT_EQ(first_line({"list"}).find("rounds "), 0u);
  const auto out = folder_ / "song";
  Process handing({UNDERSONG_CLIENT, "song", "hand-over", "rounds", out.string()}, true);
  for (const char* name : {"song.mid", "lead_sheet.musicxml", "chart.txt"})
    EXPECT_EQ(handing.read_line().find((out / name).string()), 0u) << name;
  EXPECT_TRUE(midi::read_smf_file(out / "song.mid"));
  EXPECT_EQ(first_line({"delete", "rounds"}),
            "rounds is off the list; its file is kept under a name that ends in .deleted.");
  EXPECT_FALSE(daemon.request(protocol::GetKeptSketch{.name = "rounds"}));
}

TEST_F(DaemonTest, ALoopIsSoundedByAClientWhereThereIsNoOutputAndEndsWithItsConnection) {
  start({"--play", write_cycle({{41, 57, 60, 65}, {38, 57, 62, 65}, {43, 58, 62, 67}, {36, 55, 60, 64}}, 6),
         "--speed", "1000"});
  {
    Connection daemon = connect();
    ASSERT_TRUE(until_kept(daemon));
  }
  daemon_->end(SIGTERM);
  start();
  Connection daemon = connect();
  const protocol::PlayAlong wish{.take = 1, .tempo = 400, .count_in = 1};
  EXPECT_FALSE(daemon.request(wish)) << "there is no MIDI output";
  {
    Connection page = connect();
    auto here = wish;
    here.by_client = true;
    const auto playing = page.request(here);
    ASSERT_TRUE(playing) << playing.error().sentence;
    ASSERT_TRUE(playing->along && playing->along->notes);
    const auto& along = *playing->along;
    EXPECT_TRUE(along.by_client.value_or(false));
    std::vector<std::int64_t> roots(along.chords.size(), -1);  // the lowest note at each change
    std::size_t counted = 0;
    for (const auto& note : *along.notes) {
      EXPECT_GT(note.length_us, 0);
      EXPECT_LE(note.at_us + note.length_us, along.count_in_us + along.cycle_us);
      if (note.at_us < along.count_in_us) ++counted;
      for (std::size_t i = 0; i < along.chords.size(); ++i)
        if (note.at_us == along.count_in_us + along.chords[i].at_us &&
            (roots[i] < 0 || note.pitch < roots[i]))
          roots[i] = note.pitch;
    }
    EXPECT_EQ(counted, 4u) << "one bar of count-in";
    ASSERT_EQ(roots.size(), 4u);
    for (std::size_t i = 0; i < 4; ++i) EXPECT_EQ(roots[i] % 12, (std::vector{5, 2, 7, 0}[i])) << i;
    const auto status = daemon.request(protocol::GetStatus{});
    ASSERT_TRUE(status && status->playing && status->playing->along);
    EXPECT_TRUE(status->playing->along->by_client.value_or(false));
    EXPECT_FALSE(status->playing->along->notes) << "only the client that asked needs them";
    ASSERT_TRUE(page.request(protocol::Subscribe{.topics = {protocol::Topic::kLog}}));
    ASSERT_TRUE(page.request(protocol::SendNotes{keys({76}, true)}));
    ASSERT_TRUE(page.request(protocol::SendNotes{keys({76}, false)}));
    ASSERT_TRUE(
        until<protocol::Log>(page, [](const auto& line) { return line.kind == protocol::LineKind::kPass; }));
  }
  EXPECT_TRUE(eventually([&] { return !daemon.request(protocol::GetStatus{})->playing; }));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto passes = daemon.request(protocol::GetPasses{.take = 2});
  ASSERT_TRUE(passes) << passes.error().sentence;
  EXPECT_EQ(passes->along.take, 1u);
  EXPECT_EQ(passes->pitch.size(), 1u);
}

TEST_F(DaemonTest, ATakeIsFoundByWhatIsPlayed) {
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(until_kept(daemon));
  // Eight seconds of it, a tone higher and half as fast.
  const auto notes = daemon.request(protocol::GetNotes{.take = 1});
  ASSERT_TRUE(notes);
  const auto begin = daemon.request(protocol::GetTake{.take = 1})->summary.at;
  std::vector<protocol::AskedNote> asked;
  for (std::size_t i = 0; i < notes->at.size(); ++i) {
    const auto at = notes->at[i] - begin;
    if (at < 20'000'000 || at > 28'000'000) continue;
    asked.push_back({2 * at, static_cast<int>(notes->pitch[i].value) + 2, 2 * notes->length_us[i]});
  }
  ASSERT_GT(asked.size(), 8u);
  const auto higher = daemon.request(protocol::FindPlayed{.notes = asked});
  ASSERT_TRUE(higher) << higher.error().sentence;
  EXPECT_EQ(higher->takes, 1u);
  EXPECT_EQ(higher->unprepared, 0u);
  ASSERT_EQ(higher->found.size(), 1u);
  EXPECT_EQ(higher->found[0].take, 1u);
  EXPECT_EQ(higher->found[0].as, protocol::FoundAs::kPassage);
  EXPECT_EQ(higher->found[0].shift, -2);
  EXPECT_NEAR(higher->found[0].rate, 0.5, 0.1);
  EXPECT_LT(higher->found[0].from_us, 28'000'000);
  EXPECT_GT(higher->found[0].from_us + higher->found[0].length_us, 20'000'000);

  const auto none = daemon.request(protocol::FindPlayed{.notes = std::vector<protocol::AskedNote>{}});
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().sentence, "There are no notes to look for.");
  // The newest take is what was played, so there is nothing else to find.
  Process client({UNDERSONG_CLIENT, "take", "find", "--last", "60"}, true);
  EXPECT_TRUE(client.read_line().ends_with(" notes in 1 take: nothing like them is there."));
  // It is called by its chords.
  const auto listed = daemon.request(protocol::ListTakes{});
  ASSERT_TRUE(listed && listed->takes.at(0).content);
  EXPECT_GE(listed->takes[0].content->times, 2u);
  Process list({UNDERSONG_CLIENT, "list", "--key", "C minor"}, true);
  EXPECT_EQ(list.read_line().find(" take  begun "), 0u) << "what the columns are";
  EXPECT_NE(list.read_line().find(" times"), std::string::npos);
  // It is studied without being asked for; then its loop has a tempo, and it is worth hearing again.
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetPicture{.take = 1})->studied; }));
  EXPECT_TRUE(daemon.request(protocol::ListTakes{})->takes.at(0).content->tempo);
  EXPECT_FALSE(daemon.request(protocol::GetStudyProgress{.take = 1})->working);
  EXPECT_FALSE(daemon.request(protocol::CancelStudy{.take = 1})->was);
  const auto beats = daemon.request(protocol::GetBeats{.take = 1});
  ASSERT_TRUE(beats) << beats.error().sentence;
  EXPECT_GT(beats->at.size(), 50u) << "those that were kept with the study";
  Process digest({UNDERSONG_CLIENT, "digest", "--week", "--keep", "1"}, true);
  EXPECT_NE(digest.read_line().find("circled for "), std::string::npos);
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetTake{.take = 1})->kept.size() == 1; }));
  Process again({UNDERSONG_CLIENT, "digest"}, true);
  EXPECT_NE(again.read_line().find("(kept)"), std::string::npos);
}

}  // namespace
}  // namespace undersong::app
