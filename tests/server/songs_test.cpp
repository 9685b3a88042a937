// Requests for long work on kept takes, over a real socket to a real store.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "protocol/base64.h"
#include "tests/server/server_fixture.h"
#include "tests/song/rounds.h"

namespace undersong::server {
namespace {

// Sends a request, which must succeed. The answer may take a second, or more on a busy machine.
template <class T>
typename T::Reply ask(protocol::Connection& client, const T& wish) {
  const auto reply = client.request(wish);
  EXPECT_TRUE(reply) << T::kMethod << ": " << (reply ? "" : reply.error().sentence);
  return reply ? *reply : typename T::Reply{};
}
template <class T>
std::string refusal(protocol::Connection& client, const T& wish) {
  const auto reply = client.request(wish);
  return reply ? "answered" : reply.error().sentence;
}

TEST(Songs, TellTheLoopOfATakeOnItsOwnClock) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto loop = ask(client, protocol::GetLoop{.take = 1});
  ASSERT_EQ(loop.chords.size(), 4u);
  EXPECT_EQ(loop.chords[0].harte, "Eb:maj9");
  EXPECT_EQ(loop.chords[0].beats, 2.0);
  EXPECT_EQ(loop.meter, 4u);
  ASSERT_TRUE(loop.signature);
  EXPECT_EQ(loop.signature->lower, 4);
  ASSERT_GE(loop.passes.size(), 6u);
  EXPECT_EQ(loop.passes[0].section, "A");
  std::uint64_t passes = 0;
  for (const auto& section : loop.sections) passes += section.passes;
  EXPECT_EQ(passes, loop.passes.size());
  const auto notes = ask(client, protocol::GetNotes{.take = 1});
  EXPECT_GE(loop.passes[0].at, notes.at.front());
}

TEST(Songs, TellHowACompoundMetreIsWritten) {
  Running running;
  std::vector<takes::Entry> played{takes::take_begin(us(0), 1'790'000'000'000)};
  const auto events = song::rounds({3, 3}, .36);
  for (const midi::Event& event : events) played.push_back(takes::midi_received(event));
  played.push_back(takes::take_end(events.back().at + us(1'000'000), takes::EndReason::kRequest));
  running.keep(std::move(played));
  auto client = running.connect();
  const auto loop = ask(client, protocol::GetLoop{.take = 1});
  EXPECT_EQ(loop.meter, 2u);
  ASSERT_TRUE(loop.signature);
  EXPECT_EQ(loop.signature->upper, 6);
  EXPECT_EQ(loop.signature->lower, 8);
}

TEST(Songs, ReharmoniseWithWishesAndChordsThatStay) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  protocol::Reharmonise wish;
  wish.take = 1;
  wish.keep = {1};
  wish.count = 5;
  wish.brighter = -0.5;
  const auto made = ask(client, wish);
  EXPECT_EQ(made.free, 3u);
  ASSERT_EQ(made.proposals.size(), 5u);
  for (const auto& proposal : made.proposals) {
    ASSERT_EQ(proposal.chords.size(), 4u);
    EXPECT_EQ(proposal.chords[0].harte, "Eb:maj9");
    EXPECT_TRUE(proposal.chords[0].kept);
    EXPECT_FALSE(proposal.reason.empty());
  }
  wish.keep = {9};
  EXPECT_EQ(refusal(client, wish), "Chord 9 can't be kept: the loop has 4 chords.");
  wish.keep = {};
  wish.section = "Q";
  EXPECT_EQ(refusal(client, wish), "There is no section Q; there are A, B, C.");
}

TEST(Songs, ReharmoniseOverABassThatStays) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  protocol::Reharmonise wish;
  wish.take = 1;
  wish.count = 4;
  for (const char* asked : {"G", "any"}) {
    wish.pedal = asked;
    const auto made = ask(client, wish);
    ASSERT_EQ(made.proposals.size(), 4u);
    for (const auto& proposal : made.proposals) {
      ASSERT_TRUE(proposal.pedal);
      if (std::string_view(asked) == "G") {
        EXPECT_EQ(proposal.pedal->value, 7);
      }
      for (const auto& chord : proposal.chords) {
        EXPECT_EQ(harmony::parse_harte(chord.harte)->chord.bass.value(), proposal.pedal->value)
            << chord.harte;
        EXPECT_EQ(chord.left[0], proposal.chords[0].left[0]) << "one key in the left hand";
        EXPECT_EQ(chord.left[0].value % 12, proposal.pedal->value);
      }
    }
    EXPECT_FALSE(made.played.pedal);
  }
  wish.pedal = "H";
  EXPECT_EQ(refusal(client, wish), "params.pedal is \"H\"; it is a note name such as Bb, or any.");
}

TEST(Songs, ASketchTellsTheKeyOfASectionInAnother) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  auto sketch = ask(client, protocol::ProposeSketch{.takes = {1}, .title = "Keys"});
  sketch.sections.resize(2);
  sketch.sections[1].transpose = 2;
  ask(client, protocol::PutSketch{.name = "keys", .sketch = sketch});
  const auto outline = ask(client, protocol::OutlineSketch{.name = "keys"});
  ASSERT_EQ(outline.parts.size(), 2u);
  ASSERT_TRUE(outline.key);
  EXPECT_FALSE(outline.parts[0].key);
  ASSERT_TRUE(outline.parts[1].key);
  EXPECT_NE(*outline.parts[1].key, *outline.key);
}

TEST(Songs, ABarThatThePlayerSaidBeginsThereForTheBeatsThePartsAndTheLeadSheetAlike) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto found = ask(client, protocol::GetBeats{.take = 1});
  const auto before = ask(client, protocol::HandOverTake{.take = 1});
  ASSERT_GT(found.at.size(), 40u);
  ASSERT_EQ(found.meter, 4);
  // The player says that a bar begins one beat after the first bar that was found.
  const auto first =
      static_cast<std::size_t>(std::find(found.place.begin(), found.place.end(), 1u) - found.place.begin());
  ask(client,
      protocol::CorrectBeat{.what = protocol::BeatCorrection::kOne, .take = 1, .at = found.at[first + 1]});
  const auto said = ask(client, protocol::GetBeats{.take = 1});
  ASSERT_EQ(said.at, found.at);
  for (std::size_t i = 0; i < said.at.size(); ++i) EXPECT_EQ(said.place[i], (i + 4 - first - 1) % 4 + 1) << i;
  // Which beat of its bar that one is in the parts, from 0.
  const auto place_in_parts = [&](const protocol::HandedOver& folder) -> std::int64_t {
    const auto file = midi::read_smf(*protocol::from_base64(folder.files.at(0).base64));
    EXPECT_TRUE(file) << file.error().message;
    const midi::TickClock clock(file->division, file->tempos);
    // The first signature may be that of what stands before the first whole bar.
    const std::size_t whole = file->time_signatures.size() > 1 ? 1 : 0;
    const auto ticks = static_cast<double>(clock.nearest_tick(Micros(said.at[first + 1]))) -
                       static_cast<double>(file->time_signatures.at(whole).tick);
    const auto beats = std::llround(ticks / file->division.ticks_per_quarter);
    return (beats % 4 + 4) % 4;
  };
  const auto after = ask(client, protocol::HandOverTake{.take = 1});
  EXPECT_EQ(place_in_parts(before), 1);
  EXPECT_EQ(place_in_parts(after), 0);
  ASSERT_EQ(after.files.size(), 14u);
  EXPECT_NE(after.files[1].base64, before.files[1].base64) << "the lead sheet";
  EXPECT_NE(after.files[2].base64, before.files[2].base64) << "the chart";
}

TEST(Songs, SayThatATakeHasNoLoop) {
  Running running;
  running.keep({takes::take_begin(us(0), 1'790'000'000'000), takes::note(1, 60),
                takes::take_end(us(9), takes::EndReason::kRequest)});
  auto client = running.connect();
  EXPECT_EQ(refusal(client, protocol::GetLoop{.take = 1}), "No chord was heard in its take.");
  EXPECT_EQ(refusal(client, protocol::GetLoop{.take = 7}), refusal(client, protocol::GetTake{.take = 7}));
}

TEST(Songs, HandATakeOverAsFiles) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto made = ask(client, protocol::HandOverTake{.take = 1});
  EXPECT_EQ(made.folder, "take-1");
  ASSERT_EQ(made.files.size(), 14u);
  const auto bytes = protocol::from_base64(made.files[0].base64);
  ASSERT_TRUE(bytes);
  const auto file = midi::read_smf(*bytes);
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_GE(file->tracks.size(), 6u);
  EXPECT_EQ(refusal(client, protocol::HandOverTake{.take = 1, .tempo = 1e9}),
            "A steady tempo of 1e+09 beats a minute is outside 30 to 300.");
}

TEST(Songs, ASketchIsProposedKeptChangedAndHandedOver) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  EXPECT_TRUE(ask(client, protocol::ListSketches{}).sketches.empty());
  auto sketch = ask(client, protocol::ProposeSketch{.takes = {1}, .title = "Rounds"});
  ASSERT_GE(sketch.sections.size(), 5u);
  EXPECT_EQ(sketch.sections[0].take, 1u);
  auto kept = ask(client, protocol::PutSketch{.name = "my rounds", .sketch = sketch});
  EXPECT_TRUE(std::filesystem::exists(running.folder.path / "sketches" / "my rounds.toml"));
  std::swap(sketch.sections[1], sketch.sections[2]);
  sketch.sections[1].layers = {protocol::SongLayer::kMelody};
  EXPECT_NE(ask(client, protocol::PutSketch{.name = "my rounds", .sketch = sketch, .revision = kept.revision})
                .revision,
            kept.revision);
  EXPECT_EQ(
      refusal(client, protocol::PutSketch{.name = "my rounds", .sketch = sketch, .revision = kept.revision}),
      "The song my rounds has changed since it was read.");
  const auto again = ask(client, protocol::GetKeptSketch{.name = "my rounds"});
  EXPECT_EQ(protocol::to_json(again.sketch), protocol::to_json(sketch));
  const auto outline = ask(client, protocol::OutlineSketch{.name = "my rounds"});
  ASSERT_EQ(outline.parts.size(), sketch.sections.size());
  EXPECT_EQ(outline.parts[1].layers, std::vector<protocol::SongLayer>{protocol::SongLayer::kMelody});
  std::vector<std::string> chords;
  for (const auto& chord : outline.parts[0].chords) chords.push_back(chord.harte);
  EXPECT_EQ(chords, (std::vector<std::string>{"Eb:maj9", "C:min7", "Ab:maj7", "G:sus4(b7)"}));
  EXPECT_FALSE(outline.sound);
  for (std::size_t i = 0; i < outline.parts.size(); ++i) EXPECT_EQ(outline.parts[i].section, i + 1);
  const auto files = ask(client, protocol::HandOverSketch{.name = "my rounds"});
  ASSERT_EQ(files.files.size(), 14u);
  EXPECT_TRUE(midi::read_smf(*protocol::from_base64(files.files[0].base64)));
  EXPECT_EQ(ask(client, protocol::DeleteSketch{.name = "my rounds"}).name, "my rounds");
  EXPECT_TRUE(ask(client, protocol::ListSketches{}).sketches.empty());
  EXPECT_TRUE(std::filesystem::exists(running.folder.path / "sketches" / "my rounds.toml.deleted"))
      << "nothing is lost";
}

// Of take 1: the first section is played twice.
protocol::SongSketch two_sections(protocol::Connection& client) {
  auto sketch = ask(client, protocol::ProposeSketch{.takes = {1}, .title = "Rounds"});
  sketch.sections.resize(2);
  sketch.sections[0].repeats = 2;
  sketch.sections[1].repeats = 1;
  return sketch;
}

TEST(Songs, ASketchIsPlayedOnTheMidiOutputFromAnySectionAndStopped) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto sketch = two_sections(client);
  const auto outline = ask(client, protocol::OutlineSketch{.sketch = sketch, .sounding = true});
  const auto whole = ask(client, protocol::PlaySketch{.sketch = sketch});
  EXPECT_EQ(whole.take, 0u);
  EXPECT_EQ(whole.from_us, 0);
  EXPECT_EQ(whole.to_us, outline.sound->length_us);
  ASSERT_TRUE(whole.song);
  EXPECT_EQ(whole.song->title, "Rounds");
  EXPECT_EQ(whole.song->length_us, outline.sound->length_us);
  ASSERT_EQ(whole.song->turns.size(), outline.sound->turns.size());
  for (std::size_t i = 0; i < whole.song->turns.size(); ++i) {
    EXPECT_EQ(whole.song->turns[i].section, outline.parts[outline.sound->turns[i].part].section);
    EXPECT_EQ(whole.song->turns[i].at_us, outline.sound->turns[i].at_us);
  }
  const auto playing = ask(client, protocol::GetStatus{}).playing;
  ASSERT_TRUE(playing && playing->song);
  EXPECT_EQ(playing->since, whole.since);

  const auto second = ask(client, protocol::PlaySketch{.sketch = sketch, .section = 2});
  EXPECT_EQ(second.from_us, outline.sound->turns.back().at_us);
  const auto first = ask(client, protocol::PlaySketch{.sketch = sketch, .section = 1, .only = true});
  EXPECT_EQ(first.from_us, 0);
  EXPECT_EQ(first.to_us, second.from_us) << "both of its times";
  EXPECT_TRUE(ask(client, protocol::StopPlaying{}).was);
  EXPECT_FALSE(ask(client, protocol::GetStatus{}).playing);

  EXPECT_EQ(refusal(client, protocol::PlaySketch{.sketch = sketch, .section = 3}),
            "There is no section 3: the song has 2.");
  EXPECT_EQ(refusal(client, protocol::PlaySketch{.sketch = sketch, .only = true}),
            "params.only is given, but no section: name the one to play.");
  EXPECT_EQ(refusal(client, protocol::PlaySketch{}), "params must have either a name or a sketch.");
  EXPECT_FALSE(ask(client, protocol::GetStatus{}).playing) << "nothing was played instead";
}

TEST(Songs, ASketchIsOutlinedAndHeardBeforeItIsKept) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  auto sketch = two_sections(client);
  const auto outline = ask(client, protocol::OutlineSketch{.sketch = sketch, .sounding = true});
  EXPECT_TRUE(ask(client, protocol::ListSketches{}).sketches.empty()) << "nothing is saved";
  ASSERT_TRUE(outline.sound);
  const auto& turns = outline.sound->turns;
  ASSERT_EQ(turns.size(), 3u);
  EXPECT_EQ(turns[1].part, 0u);
  EXPECT_EQ(turns[1].time, 2u);
  EXPECT_EQ(turns[2].part, 1u);
  const double beat_us = 60e6 / outline.tempo;  // the tempo is rounded
  EXPECT_NEAR(static_cast<double>(turns[2].at_us), outline.parts[0].beats * beat_us, 100);
  EXPECT_NEAR(static_cast<double>(outline.sound->length_us),
              (outline.parts[0].beats + outline.parts[1].beats) * beat_us, 100);
  ASSERT_FALSE(outline.sound->notes.empty());
  EXPECT_GE(outline.sound->notes.front().at_us, 0);
  for (const auto& note : outline.sound->notes)
    EXPECT_LE(note.at_us + note.length_us, outline.sound->length_us);

  EXPECT_EQ(refusal(client, protocol::OutlineSketch{}), "params must have either a name or a sketch.");
  EXPECT_EQ(refusal(client, protocol::OutlineSketch{.name = "rounds", .sketch = sketch}),
            "params must have either a name or a sketch.");
  sketch.sections[1].label = "Z";
  EXPECT_EQ(refusal(client, protocol::OutlineSketch{.sketch = sketch}).rfind("Section 2 (", 0), 0u);
}

TEST(Songs, ContrastingSectionsGrowIntoAKeptSketch) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto proposed = ask(client, protocol::ProposeSketch{.takes = {1}, .title = "Rounds"});
  ask(client, protocol::PutSketch{.name = "rounds", .sketch = proposed});
  const auto before = ask(client, protocol::GetKeptSketch{.name = "rounds"});
  const auto offered = ask(client, protocol::GrowSketch{.name = "rounds"});
  EXPECT_EQ(offered.from, "Theme");
  EXPECT_EQ(offered.key, "C:min");
  ASSERT_EQ(offered.proposals.size(), 8u);
  EXPECT_TRUE(offered.proposals[6].pedal);
  EXPECT_FALSE(offered.added);
  EXPECT_EQ(ask(client, protocol::GetKeptSketch{.name = "rounds"}).revision, before.revision);
  const auto done = ask(client, protocol::GrowSketch{.name = "rounds", .section = 2, .add = 3});
  ASSERT_TRUE(done.added);
  const auto after = ask(client, protocol::GetKeptSketch{.name = "rounds"});
  EXPECT_EQ(after.revision, done.added->revision);
  ASSERT_EQ(after.sketch.sections.size(), before.sketch.sections.size() + 2);
  EXPECT_EQ(after.sketch.sections[2].chord_line, offered.proposals[2].section.chord_line);
  EXPECT_EQ(after.sketch.sections[2].key, "Db major");
  const auto outline = ask(client, protocol::OutlineSketch{.name = "rounds"});
  EXPECT_EQ(outline.parts[2].key, "Db:maj");
  EXPECT_EQ(outline.parts[2].beats, 32);
  // A sketch with a key is the same after the wire.
  ask(client, protocol::PutSketch{.name = "copy", .sketch = after.sketch});
  EXPECT_EQ(protocol::to_json(ask(client, protocol::GetKeptSketch{.name = "copy"}).sketch),
            protocol::to_json(after.sketch));
  EXPECT_EQ(refusal(client, protocol::GrowSketch{.name = "rounds", .section = 99}),
            "There is no section 99; there are " + std::to_string(after.sketch.sections.size()) + ".");
  auto wrong = after.sketch;
  wrong.sections[2].key = "H";
  EXPECT_NE(refusal(client, protocol::PutSketch{.name = "copy", .sketch = wrong})
                .find("a key that is not known: H"),
            std::string::npos);
}

TEST(Songs, WhatASketchSaysOfASongIsKeptAndHeard) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  protocol::SongSketch sketch;
  sketch.title = "Rounds";
  sketch.tempo = 96;
  sketch.feel = protocol::SongFeel::kSwing;
  sketch.count_in = 1;
  protocol::SketchSection verse;
  verse.name = "Verse";
  verse.kind = protocol::SectionRole::kVerse;
  verse.take = 1;
  verse.repeats = 1;
  verse.chord_line = "Cm7 . Ab | G7";
  verse.tune_take = 1;
  verse.tempo = 72;
  verse.meter = 3;
  verse.feel = protocol::SongFeel::kStraight;
  verse.dynamics = protocol::SongDynamic::kMf;
  verse.lyrics = std::vector<std::string>{"la-la _ la"};
  verse.begins = "segno";
  protocol::SketchSection outro;
  outro.name = "Outro";
  outro.kind = protocol::SectionRole::kOutro;
  outro.take = 1;
  outro.repeats = 1;
  outro.ends = "D.S.";
  outro.ritardando = outro.fermata = true;
  sketch.sections = {verse, outro};
  ask(client, protocol::PutSketch{.name = "song", .sketch = sketch});
  EXPECT_EQ(protocol::to_json(ask(client, protocol::GetKeptSketch{.name = "song"}).sketch),
            protocol::to_json(sketch));
  const auto outline = ask(client, protocol::OutlineSketch{.name = "song"});
  ASSERT_EQ(outline.parts.size(), 2u);
  EXPECT_EQ(outline.parts[0].beats, 6);
  EXPECT_EQ(outline.parts[0].chords.size(), 3u);
  const auto folder = ask(client, protocol::HandOverSketch{.name = "song"});
  const auto file = midi::read_smf(*protocol::from_base64(folder.files[0].base64));
  ASSERT_TRUE(file);
  EXPECT_EQ(file->tracks.back().name, "count-in");

  auto wrong = sketch;
  wrong.sections[0].chords = std::vector<std::string>{"Cm7"};
  EXPECT_EQ(refusal(client, protocol::PutSketch{.name = "song", .sketch = wrong}),
            "Section 1 (Verse) has both chords and chord_line; use one of them.");
  wrong = sketch;
  wrong.sections[1].ends = "the end";
  EXPECT_EQ(refusal(client, protocol::PutSketch{.name = "song", .sketch = wrong}),
            "Section 2 (Outro) ends with an unknown sign; they are fine, to coda, D.C., D.C. al fine, D.C. "
            "al coda, "
            "D.S., D.S. al fine, D.S. al coda.");
  wrong.sections[1].ends.reset();
  EXPECT_NE(
      refusal(client, protocol::PutSketch{.name = "song", .sketch = wrong}).find("begins with the segno"),
      std::string::npos);
}

TEST(Songs, BadSketchesAreToldAndChangeNothing) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  protocol::SongSketch sketch;
  sketch.title = "x";
  for (const char* name : {"", "../x", "a/b", "x.toml", ".", " x", "a\tb"})
    EXPECT_EQ(refusal(client, protocol::GetKeptSketch{.name = name}),
              "A song's name is 1 to 64 letters, digits, spaces, - and _.")
        << name;
  EXPECT_EQ(refusal(client, protocol::GetKeptSketch{.name = "none"}), "There is no song none.");
  EXPECT_EQ(refusal(client, protocol::PutSketch{.name = "x", .sketch = sketch}),
            "X.toml: there is no [[section]], so there is nothing to play.");
  protocol::SketchSection section;
  section.name = "Theme";
  section.source = "/etc/passwd";
  sketch.sections = {section};
  ask(client, protocol::PutSketch{.name = "x", .sketch = sketch});
  EXPECT_EQ(refusal(client, protocol::OutlineSketch{.name = "x"}),
            "Section 1 (Theme): /etc/passwd lies outside the folder of the songs; put a copy there, or "
            "name a take.");
  sketch.sections[0].source = "../takes.db";
  ask(client, protocol::PutSketch{.name = "x", .sketch = sketch});
  EXPECT_NE(refusal(client, protocol::OutlineSketch{.name = "x"}).find("lies outside the folder"),
            std::string::npos);
  sketch.sections[0].source.reset();
  sketch.sections[0].take = 77;
  ask(client, protocol::PutSketch{.name = "x", .sketch = sketch});
  EXPECT_NE(refusal(client, protocol::HandOverSketch{.name = "x"}).find("77"), std::string::npos);
  // A sketch that was damaged in an editor is listed with a sentence about the damage.
  std::ofstream(running.folder.path / "sketches" / "x.toml") << "titel = 1\n";
  const auto list = ask(client, protocol::ListSketches{});
  ASSERT_EQ(list.sketches.size(), 1u);
  EXPECT_EQ(list.sketches[0].problem.find("X.toml, line 1: titel is not known here"), 0u)
      << list.sketches[0].problem;
}

TEST(Songs, OthersAreAnsweredWhileSomethingIsWorkedOut) {
  Running running;
  running.keep(demo_take());
  std::promise<void> started, release;
  auto go = release.get_future().share();
  ASSERT_TRUE(running.study.run([&started, go] {
    started.set_value();
    go.wait();
  }));
  started.get_future().wait();
  RawClient client(running.socket);
  client.line();
  client.send(R"({"jsonrpc":"2.0","id":1,"method":"take.loop","params":{"take":1}})"
              "\n"
              R"({"jsonrpc":"2.0","id":2,"method":"settings.get"})"
              "\n");
  EXPECT_NE(client.line().find("\"id\":2"), std::string::npos) << "the loop waits, the settings don't";
  release.set_value();
  EXPECT_NE(client.line().find("\"id\":1"), std::string::npos);
}

TEST(Songs, WhatDoesNotFitInTheLineIsRefused) {
  Running running;
  running.keep(demo_take());
  std::promise<void> started, release;
  auto go = release.get_future().share();
  ASSERT_TRUE(running.study.run([&started, go] {
    started.set_value();
    go.wait();
  }));
  started.get_future().wait();
  for (std::size_t i = 0; i < Worker::kMostWaiting; ++i) ASSERT_TRUE(running.study.run([] {}));
  auto client = running.connect();
  EXPECT_EQ(refusal(client, protocol::ListSketches{}),
            "Too much is being worked out already; ask again in a moment.");
  release.set_value();
}

TEST(Songs, OpenATakeWhoseLinesHaveImpossibleTimesOrTooManyCorrections) {
  Running running;
  std::vector<takes::Entry> poison;
  for (int i = 0; i < 22; ++i) poison.push_back(takes::beat_said({us(1000), takes::BeatWord::kTwice, {}, 0}));
  for (const std::int64_t at : {INT64_MIN, INT64_MAX}) {
    poison.push_back(takes::beat_said({us(at), takes::BeatWord::kOne, {}, 3}));
    poison.push_back(takes::note(at, 60));
  }
  running.keep(demo_take(std::move(poison)));
  auto client = running.connect();
  EXPECT_GE(ask(client, protocol::GetLoop{.take = 1}).chords.size(), 1u);
  EXPECT_FALSE(ask(client, protocol::GetNotes{.take = 1}).at.empty());
  EXPECT_FALSE(ask(client, protocol::GetThumbnail{.take = 1}).notes.empty());
  EXPECT_FALSE(ask(client, protocol::ExportTake{.take = 1}).base64.empty());
}

TEST(Songs, ACorrectionOutsideItsTakeIsRefused) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  for (const std::int64_t at : {INT64_MIN, std::int64_t{-1}, std::int64_t{97'458'001}, INT64_MAX}) {
    const std::string said = refusal(client, protocol::CorrectTake{.take = 1, .at = at, .harte = "D:min7"});
    EXPECT_EQ(said, "params.at is " + std::to_string(at) +
                        ", outside take 1, which goes from 0 to 97458000, in microseconds.");
  }
  EXPECT_EQ(refusal(client, protocol::CorrectTake{.take = 1, .at = 1000, .harte = "D:min7"}), "answered");
  EXPECT_EQ(refusal(client, protocol::CorrectTake{.take = 7, .at = 1000, .harte = "D:min7"}),
            "There is no take 7.");
}

}  // namespace
}  // namespace undersong::server
