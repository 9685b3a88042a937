// Sketches are songs: tempo, metre, feel, dynamics, words, jumps and endings, on paper and in the MIDI file.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <pugixml.hpp>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/chord_line.h"
#include "daemon/song/feel.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/lyrics.h"
#include "daemon/song/road.h"
#include "daemon/song/sketch.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

const std::string kSection = "[[section]]\nsource = \"demo.mid\"\nlabel = \"A\"\n";

Form made(const std::string& text) {
  const auto sketch = read_sketch(text, "s");
  EXPECT_TRUE(sketch) << (sketch ? "" : sketch.error().message);
  if (!sketch) return {};
  auto form = form_of_sketch(*sketch, from_configs);
  EXPECT_TRUE(form) << (form ? "" : form.error().message);
  return form ? *form : Form{};
}
std::string why_not(const std::string& text) {
  const auto sketch = read_sketch(text, "s");
  if (!sketch) return sketch.error().message;
  const auto form = form_of_sketch(*sketch, from_configs);
  return form ? "made" : form.error().message;
}
midi::Smf midi_of(const Form& form) {
  const auto bytes = form_midi(form, string_parts(form, harmony::PadStyle::kStill));
  EXPECT_TRUE(bytes);
  const auto file = midi::read_smf(*bytes);
  EXPECT_TRUE(file);
  return file ? *file : midi::Smf{};
}
pugi::xml_document sheet_of(const Form& form, const std::string& name) {
  const auto folder = hand_over_form(form);
  pugi::xml_document out;
  for (const File& file : folder->files)
    if (file.name == name) out.load_buffer(file.bytes.data(), file.bytes.size());
  return out;
}
std::vector<std::string> texts(const pugi::xml_document& sheet, const char* path) {
  std::vector<std::string> out;
  for (const auto& found : sheet.select_nodes(path)) out.emplace_back(found.node().text().get());
  return out;
}
const midi::SmfTrack& track_of_song(const midi::Smf& file, const std::string& name) {
  static const midi::SmfTrack none;
  for (const auto& each : file.tracks)
    if (each.name == name) return each;
  ADD_FAILURE() << "no track " << name;
  return none;
}
std::vector<midi::Tick> onsets(const midi::SmfTrack& track_of_song) {
  std::vector<midi::Tick> out;
  for (const auto& event : track_of_song.events)
    if ((event.bytes[0] & 0xF0) == midi::kNoteOn) out.push_back(event.tick);
  return out;
}
double loudness(const midi::Smf& file, const std::string& name, midi::Tick from, midi::Tick to) {
  double sum = 0, count = 0;
  for (const auto& event : track_of_song(file, name).events)
    if ((event.bytes[0] & 0xF0) == midi::kNoteOn && event.tick >= from && event.tick < to)
      sum += event.bytes[2], ++count;
  return count > 0 ? sum / count : 0;
}

TEST(SketchSong, InAnotherMetreThanTheTakeAllBarsAreWhole) {
  for (const int meter : {3, 5, 7}) {
    const Form form = made(kSection + "repeats = 1\nmeter = " + std::to_string(meter) + "\n");
    ASSERT_EQ(form.parts.size(), 1u);
    const Part& part = form.parts[0];
    const int bars = (8 + meter - 1) / meter;  // the loop has eight beats
    EXPECT_EQ(part.length, bars * meter * kBeat);
    EXPECT_EQ(part.chords.back().at + part.chords.back().length, part.length);
    const auto sheet = sheet_of(form, "lead_sheet.musicxml");
    int measures = 0;
    for (const auto& measure : sheet.child("score-partwise").child("part").children("measure")) {
      int length = 0;
      ++measures;
      for (const auto& note : measure.children("note")) length += note.child("duration").text().as_int();
      EXPECT_EQ(length, meter * 480) << "bar " << measures << " of " << meter << "/4";
    }
    EXPECT_EQ(measures, bars);
  }
}

TEST(SketchSong, EveryKeyIsReadBackAsItWasWritten) {
  const std::string text =
      "title = \"x\"\ntempo = 96\nfeel = \"swing\"\ncount_in = 2\n\n[[section]]\nname = \"Verse\"\nkind = "
      "\"verse\"\n"
      "source = \"demo.mid\"\nlabel = \"A\"\nchords = \"Cm7 . Ab | G7\"\ntune = 12\ntempo = 72.5\nmeter = 3\n"
      "feel = \"straight\"\ndynamics = \"mf\"\nlyrics = [\n  \"one two\",\n  \"three _ four\",\n]\nbegins = "
      "\"segno\"\n"
      "ritardando = true\nfermata = true\n\n[[section]]\nname = \"Pre-chorus\"\nkind = \"pre-chorus\"\ntake "
      "= 3\n"
      "tune = \"tune.mid\"\nlyrics = \"la\"\nends = \"D.S.\"\n";
  const auto sketch = read_sketch(text, "s");
  ASSERT_TRUE(sketch) << sketch.error().message;
  EXPECT_EQ(write_sketch(*sketch), text);
  ASSERT_TRUE(sketch->sections[0].tune && sketch->sections[1].tune);
  EXPECT_EQ(sketch->sections[0].tune->take, 12);
  EXPECT_EQ(sketch->sections[1].tune->file, "tune.mid");
  EXPECT_EQ(sources_of(*sketch).size(), 4u);
  EXPECT_EQ(read_sketch("[[section]]\nkind = \"pre-chorus\"\ntake = 1\n", "s")->sections[0].name,
            "Pre-chorus");
}

TEST(SketchSong, EachBadValueIsRefusedWithASentenceThatSaysWhere) {
  const std::string line4 = "song.toml, line 4: ", one = "song.toml, line 1: section 1 (Theme) ";
  const std::vector<std::pair<std::string, std::string>> bad{
      {kSection + "tempo = 301\n", line4 + "tempo must be beats per minute, from 30 to 300"},
      {kSection + "tempo = 29.9\n", line4 + "tempo must be beats per minute, from 30 to 300"},
      {kSection + "meter = 1\n", line4 + "meter must be beats per bar, from 2 to 12"},
      {kSection + "meter = \"3/4\"\n", line4 + "meter must be beats per bar, from 2 to 12"},
      {kSection + "feel = \"shuffled\"\n", line4 + "feel must be one of straight, swing"},
      {"feel = 3\n" + kSection, "song.toml, line 1: feel must be one of straight, swing"},
      {"count_in = 3\n" + kSection, "song.toml, line 1: count_in must be 0, 1 or 2 bars"},
      {kSection + "dynamics = \"fff\"\n", line4 + "dynamics must be one of pp, p, mp, mf, f, ff"},
      {kSection + "lyrics = \"_ la\"\n",
       line4 + "lyrics begin with _, but there is no syllable before it to go on"},
      {kSection + "lyrics = \" - \"\n", line4 + "lyrics have no words"},
      {kSection + "tune = 0\n", line4 + "tune must be the number of a take, or the name of a file in quotes"},
      {kSection + "fermata = 1\n", line4 + "fermata must be true or false"},
      {kSection + "chords = \"Cm7 | H7\"\n", line4 + "chords holds \"H7\" in bar 2, which is not a chord"},
      {kSection + "chords = \"C | | G\"\n", line4 + "chords has nothing in bar 2"},
      {kSection + "chords = \". C\"\n",
       line4 + "chords begins with ., but there is no chord before it to go on"},
      {kSection + "chords = \" | \"\n", line4 + "chords has no chords"},
      {kSection + "begins = \"fine\"\n", line4 + "begins must be one of segno, coda"},
      {kSection + "ends = \"da capo\"\n",
       line4 +
           "ends must be one of fine, to coda, D.C., D.C. al fine, D.C. al coda, D.S., D.S. al fine, D.S. al "
           "coda"},
      {kSection + "ends = \"D.S.\"\n",
       one + "ends with D.S., but neither it nor a section before it begins with the segno"},
      {kSection + "begins = \"segno\"\n", one + "begins with the segno, but no section ends with D.S."},
      {kSection + "ends = \"D.C. al fine\"\n",
       one + "ends with D.C. al fine, but no section on the way back to it ends with fine"},
      {kSection + "ends = \"fine\"\n",
       one + "ends with fine, but no section ends with D.C. al fine or D.S. al fine"},
      {kSection + "ends = \"to coda\"\n" + kSection + "ends = \"D.C. al coda\"\n",
       "song.toml, line 5: section 2 (Theme) ends with D.C. al coda, but no section after it begins with the "
       "coda"},
      {kSection + "ends = \"D.C.\"\n" + kSection + "ends = \"D.C.\"\n",
       "song.toml, line 5: section 2 (Theme) ends with a second jump, D.C.; a song has one"},
  };
  for (const auto& [text, sentence] : bad) EXPECT_EQ(why_unread(text), sentence) << text;
  const std::vector<std::pair<std::string, std::string>> cannot{
      {kSection + "chords = \"C D E F G\"\n",
       "section 1 (Theme): its chords have 5 signs in bar 1, which has 4 beats"},
      {kSection + "repeats = 1\nlyrics = [\"la\", \"lo\"]\n",
       "section 1 (Theme): its lyrics have 2 verses, but it is played 1 time"},
      {kSection + "lyrics = \"la\"\nlayers = [\"bass\"]\n",
       "section 1 (Theme): its lyrics have 1 syllables, but its tune has 0 notes"},
      {kSection + "tune = \"nothing.mid\"\n", "section 1 (Theme): its tune: "},
  };
  for (const auto& [text, sentence] : cannot)
    EXPECT_TRUE(why_not(text).starts_with(sentence)) << why_not(text);
}

TEST(SketchSong, ALineOfChordsHasARhythmAndALengthOfItsOwn) {
  const auto line = read_chord_line("| Cm7 . Ab | G7 | Fm7 Bb7 | C/E / F / | % |", 4);
  ASSERT_TRUE(line) << line.error().message;
  EXPECT_EQ(line->length, 20 * kBeat);
  std::vector<std::pair<std::string, double>> found;
  for (const WrittenChord& chord : line->chords)
    found.emplace_back(harmony::symbol(chord.chord, chord.root), chord.at.beats());
  EXPECT_EQ(found, (std::vector<std::pair<std::string, double>>{
                       {"Cm7", 0}, {"Ab", 2}, {"G7", 4}, {"Fm7", 8}, {"Bb7", 10}, {"C/E", 12}, {"F", 14}}));
  EXPECT_EQ(line->chords.back().length, 6 * kBeat);
  EXPECT_EQ(read_chord_line("C D E F G A B C", 4)->chords[1].at, Ticks(240));
  EXPECT_EQ(read_chord_line("C . G", 3)->chords[1].at, 2 * kBeat);

  const Form usual = made(kSection + "repeats = 1\n"),
             longer = made(kSection + "repeats = 1\nchords = \"Cm | Fm | G7 | Cm | Ab . Bb | Cm\"\n");
  ASSERT_EQ(longer.parts.size(), 1u);
  EXPECT_EQ(longer.parts[0].length, 24 * kBeat);
  EXPECT_EQ(longer.parts[0].chords.size(), 7u);
  ASSERT_EQ(usual.parts[0].length, 8 * kBeat);
  EXPECT_EQ(longer.parts[0].melody.size(), 3 * usual.parts[0].melody.size()) << "the tune is repeated";
}

TEST(SketchSong, WordsAreSplitAsLyricistsWriteThem) {
  const auto words = syllables_of("eve-ning light_ on wa-_-ter");
  ASSERT_TRUE(words);
  using S = Syllabic;
  const std::vector<std::tuple<std::string, S, bool>> expected{
      {"eve", S::kBegin, false}, {"ning", S::kEnd, false},  {"light", S::kSingle, true},
      {"", S::kSingle, false},   {"on", S::kSingle, false}, {"wa", S::kBegin, true},
      {"", S::kBegin, false},    {"ter", S::kEnd, false}};
  ASSERT_EQ(words->size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) {
    EXPECT_EQ((*words)[i].text, std::get<0>(expected[i])) << i;
    EXPECT_EQ((*words)[i].syllabic, std::get<1>(expected[i])) << i;
    EXPECT_EQ((*words)[i].goes_on, std::get<2>(expected[i])) << i;
  }
  const Form form = made(kSection + "repeats = 2\nlyrics = [\"eve-ning light _ comes\", \"mor-ning\"]\n");
  const auto sheet = sheet_of(form, "lead_sheet.musicxml");
  EXPECT_EQ(texts(sheet, "//lyric[@number='1']/text"),
            (std::vector<std::string>{"eve", "ning", "light", "comes"}));
  EXPECT_EQ(texts(sheet, "//lyric[@number='2']/text"), (std::vector<std::string>{"mor", "ning"}));
  EXPECT_EQ(texts(sheet, "//lyric[@number='1']/syllabic"),
            (std::vector<std::string>{"begin", "end", "single", "single"}));
  EXPECT_EQ(sheet.select_nodes("//lyric/extend[@type='start']").size(), 1u);
  EXPECT_EQ(sheet.select_nodes("//lyric/extend[@type='stop']").size(), 1u);
  EXPECT_EQ(sheet_of(form, "bass.musicxml").select_nodes("//lyric").size(), 0u);
  std::vector<std::string> sung;
  for (const auto& text : midi_of(form).texts)
    if (text.kind == midi::SmfText::Kind::kLyric) sung.push_back(text.text);
  EXPECT_EQ(sung, (std::vector<std::string>{"eve", "ning", "light", "comes", "mor", "ning"}));
}

std::vector<std::string> played(const Form& form) {
  std::vector<std::string> out;
  for (const Turn& turn : road(form)) out.push_back(form.parts[turn.part].name);
  return out;
}
std::string named(const std::string& name, const std::string& more = "", int repeats = 1) {
  return kSection + "name = \"" + name + "\"\nrepeats = " + std::to_string(repeats) + "\n" + more;
}

TEST(SketchSong, JumpsArePlayedOutAndPrinted) {
  const Form coda = made(named("V", "begins = \"segno\"\n", 2) + named("C", "ends = \"to coda\"\n") +
                         named("B", "ends = \"D.S. al coda\"\n") + named("X", "begins = \"coda\"\n"));
  EXPECT_EQ(played(coda), (std::vector<std::string>{"V", "V", "C", "B", "V", "C", "X"}))
      << "after the jump a part is played once";
  const Form fine = made(named("A", "ends = \"fine\"\n") + named("B", "ends = \"D.C. al fine\"\n"));
  EXPECT_EQ(played(fine), (std::vector<std::string>{"A", "B", "A"}));
  const Form again =
      made(named("A") + named("B", "begins = \"segno\"\n") + named("C", "ends = \"D.S.\"\n") + named("D"));
  EXPECT_EQ(played(again), (std::vector<std::string>{"A", "B", "C", "B", "C", "D"}));
  const auto sheet = sheet_of(coda, "lead_sheet.musicxml");
  const auto sound = [&](const char* name) {
    return sheet.select_nodes((std::string("//sound[@") + name + "]").c_str()).size();
  };
  for (const char* name : {"segno", "coda", "tocoda", "dalsegno"}) EXPECT_EQ(sound(name), 1u) << name;
  EXPECT_EQ(sheet_of(fine, "lead_sheet.musicxml").select_nodes("//sound[@dacapo] | //sound[@fine]").size(),
            2u);
  EXPECT_EQ(texts(sheet, "//words[.='D.S. al Coda']").size(), 1u);
  // Each stands in its own bar, before the last note, and the names of sections with a sign are boxed words.
  EXPECT_EQ(
      sheet.select_nodes("//direction[direction-type/words='D.S. al Coda']/following-sibling::note").size(),
      1u);
  EXPECT_EQ(texts(sheet, "//words[@enclosure='rectangle']"), (std::vector<std::string>{"V", "X"}));
  EXPECT_EQ(texts(sheet, "//rehearsal"), (std::vector<std::string>{"C", "B"}));
  // The MIDI file has it all: six times the two bars of the section, and markers where parts begin.
  const auto file = midi_of(coda);
  EXPECT_EQ(file.tracks[0].end, 7u * 8 * 960);
  std::vector<std::string> markers;
  for (const auto& marker : file.markers) markers.push_back(marker.text);
  EXPECT_EQ(markers, (std::vector<std::string>{"V, 2 times", "C", "B", "V", "C", "X"}));
}

TEST(SketchSong, EachSectionHasItsOwnTempoAndMetre) {
  const Form form = made("tempo = 96\n" + named("A") + named("B", "tempo = 72\nmeter = 2\n") + named("C"));
  const auto file = midi_of(form);
  std::vector<std::pair<midi::Tick, long>> tempos;
  for (const auto& tempo : file.tempos)
    tempos.emplace_back(tempo.tick, std::lround(60e6 / tempo.micros_per_quarter));
  EXPECT_EQ(tempos, (std::vector<std::pair<midi::Tick, long>>{{0, 96}, {8 * 960, 72}, {16 * 960, 96}}));
  std::vector<int> beats;
  for (const auto& time : file.time_signatures) beats.push_back(time.numerator);
  EXPECT_EQ(beats, (std::vector<int>{4, 2, 4}));
  const auto sheet = sheet_of(form, "viola.musicxml");
  EXPECT_EQ(texts(sheet, "//per-minute"), (std::vector<std::string>{"96", "72", "96"}));
  EXPECT_EQ(texts(sheet, "//time/beats"), (std::vector<std::string>{"4", "2", "4"}));
  EXPECT_EQ(sheet.select_nodes("//measure").size(), 2u + 4 + 2);
}

TEST(SketchSong, SwingIsWrittenEvenAndPlayedLongAndShort) {
  EXPECT_EQ(swung(Ticks(720), Feel::kSwing), Ticks(800));
  EXPECT_EQ(swung(Ticks(720), Feel::kStraight), Ticks(720));
  EXPECT_EQ(swung(Ticks(160), Feel::kSwing), Ticks(160)) << "a triplet stays";
  EXPECT_EQ(swung(Ticks(960), Feel::kSwing), Ticks(960));
  const auto note = [](std::int64_t at, std::int64_t length) {
    return WrittenNote{Pitch(60), {}, Ticks(at), Ticks(length), Velocity(80)};
  };
  std::vector<WrittenNote> notes{note(0, 320), note(320, 160), note(480, 160), note(640, 160),
                                 note(800, 160)};
  straighten(notes);
  EXPECT_EQ(notes[1].at, Ticks(240));
  EXPECT_EQ(notes[1].length, Ticks(240));
  EXPECT_EQ(notes[4].at, Ticks(800)) << "a real triplet stays";

  const Form straight = made(named("A")),
             swing = made("feel = \"swing\"\n" + named("A") + named("B", "feel = \"straight\"\n"));
  const auto even = onsets(track_of_song(midi_of(straight), "melody")),
             played = onsets(track_of_song(midi_of(swing), "melody"));
  ASSERT_GT(even.size(), 4u);
  int moved = 0;
  for (std::size_t i = 0; i < even.size(); ++i) {
    EXPECT_EQ(played[i], even[i] % 960 == 480 ? even[i] + 160 : even[i]);
    moved += even[i] % 960 == 480;
    EXPECT_EQ(played[even.size() + i], even[i] + 8 * 960);
  }
  EXPECT_GT(moved, 0);
  const auto sheet = sheet_of(swing, "lead_sheet.musicxml");
  EXPECT_EQ(texts(sheet, "//words[@font-weight='bold']"), (std::vector<std::string>{"Swing", "Straight"}));
  EXPECT_EQ(sheet.select_nodes("//sound/swing").size(), 2u);
}

TEST(SketchSong, DynamicsArePrintedAndHeard) {
  const Form form = made(named("A", "dynamics = \"pp\"\n") + named("B") + named("C", "dynamics = \"ff\"\n"));
  const auto file = midi_of(form);
  const midi::Tick one = 8 * 960;
  for (const char* name : {"melody", "chords", "bass", "string pad, viola"}) {
    const double soft = loudness(file, name, 0, one), still = loudness(file, name, one, 2 * one),
                 loud = loudness(file, name, 2 * one, 3 * one);
    EXPECT_NEAR(soft, still, 2) << name << ": it holds until the next";
    EXPECT_GT(loud, 1.5 * soft) << name;
  }
  EXPECT_EQ(sheet_of(form, "lead_sheet.musicxml").select_nodes("//dynamics/pp").size(), 1u);
  EXPECT_EQ(sheet_of(form, "bass.musicxml").select_nodes("//dynamics/ff").size(), 1u);
  EXPECT_EQ(sheet_of(form, "cello.musicxml").select_nodes("//dynamics/f").size(), 1u) << "one degree softer";
}

TEST(SketchSong, TheEndSlowsDownAndIsHeld) {
  const Form form = made("tempo = 120\n" + named("A") + named("B", "ritardando = true\nfermata = true\n", 2));
  const auto steps = tempo_steps(form, road(form));
  ASSERT_GT(steps.size(), 4u);
  EXPECT_EQ(steps[0].tempo, 120);
  EXPECT_GE(steps[1].at, 16 * kBeat) << "only the last time";
  for (std::size_t i = 1; i < steps.size(); ++i) EXPECT_LT(steps[i].tempo, steps[i - 1].tempo);
  EXPECT_GE(steps.back().tempo, kSlowestMark);
  EXPECT_GT(seconds_until(steps, 24 * kBeat), 13.);
  EXPECT_EQ(seconds_until(steps, 16 * kBeat), 8.);
  const auto& last = form.parts[1].melody.back();
  EXPECT_EQ(last.at + last.length, form.parts[1].length);
  for (const char* page : {"lead_sheet.musicxml", "violin_1.musicxml", "bass.musicxml"}) {
    const auto sheet = sheet_of(form, page);
    EXPECT_EQ(sheet.select_nodes("//measure[last()]/note[not(rest)]/notations/fermata").size(), 1u) << page;
    EXPECT_EQ(texts(sheet, "//words[starts-with(., 'rit.')]"), (std::vector<std::string>{"rit. last time"}))
        << page;
  }
}

TEST(SketchSong, TheCountInBeginsSoftlyAndMovesEverythingElse) {
  const auto plain = midi_of(made(named("A"))), counted = midi_of(made("count_in = 1\n" + named("A")));
  const auto& clicks = track_of_song(counted, "count-in");
  ASSERT_EQ(onsets(clicks), (std::vector<midi::Tick>{0, 960, 1920, 2880}));
  int before = 0;
  for (const auto& event : clicks.events)
    if ((event.bytes[0] & 0xF0) == midi::kNoteOn) {
      EXPECT_GT(event.bytes[2], before);
      EXPECT_LE(event.bytes[2], 64);
      before = event.bytes[2];
    }
  for (const char* name : {"melody", "chords", "bass", "string pad, cello"}) {
    const auto early = onsets(track_of_song(plain, name)), late = onsets(track_of_song(counted, name));
    ASSERT_EQ(early.size(), late.size());
    for (std::size_t i = 0; i < early.size(); ++i) EXPECT_EQ(late[i], early[i] + 4 * 960);
  }
  EXPECT_EQ(counted.time_signatures.front().tick, 0u);
  EXPECT_EQ(counted.markers.front().tick, 4u * 960);
  EXPECT_TRUE(std::none_of(plain.tracks.begin(), plain.tracks.end(),
                           [](const auto& t) { return t.name == "count-in"; }));
}

TEST(SketchSong, WhatTheLayersLeaveOutIsNotPrinted) {
  const Form form =
      made(named("A", "layers = [\"chords\", \"bass\"]\n") + named("B", "layers = [\"melody\"]\n"));
  const auto lead = sheet_of(form, "lead_sheet.musicxml"), bass = sheet_of(form, "bass.musicxml");
  EXPECT_EQ(lead.select_nodes("//measure[position() <= 2]/note[pitch][not(notehead='slash')]").size(), 0u);
  EXPECT_GT(lead.select_nodes("//measure[position() <= 2]/harmony").size(), 0u);
  EXPECT_GT(lead.select_nodes("//measure[position() > 2]/note[pitch]").size(), 0u);
  EXPECT_EQ(lead.select_nodes("//measure[position() > 2]/harmony").size(), 0u);
  EXPECT_GT(bass.select_nodes("//measure[position() <= 2]/note[pitch]").size(), 0u);
  EXPECT_EQ(bass.select_nodes("//measure[position() > 2]/*[self::note[pitch] or self::harmony]").size(), 0u);
  const auto folder = hand_over_form(form);
  const std::string chart(folder->files[2].bytes.begin(), folder->files[2].bytes.end());
  EXPECT_NE(chart.find("tacet, 2 bars"), std::string::npos) << chart;
}

TEST(SketchSong, AnotherTakesTuneComesOverTheseChords) {
  const Form chords = made(named("A")), tune = made("[[section]]\nsource = \"demo.mid\"\n"),
             both = made(named("A", "tune = \"demo.mid\"\n"));
  EXPECT_EQ(both.parts[0].chords, chords.parts[0].chords);
  ASSERT_FALSE(both.parts[0].melody.empty());
  EXPECT_EQ(both.parts[0].melody.front().pitch, tune.parts[0].melody.front().pitch);
  EXPECT_EQ(both.parts[0].length, chords.parts[0].length);
}

}  // namespace
}  // namespace undersong::song
