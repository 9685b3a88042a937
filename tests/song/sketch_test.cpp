#include "daemon/song/sketch.h"

#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <sstream>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

Sketch demo_with(const std::string& lines) {
  auto sketch = read_sketch("[[section]]\nsource = \"demo.mid\"\n" + lines, "s");
  EXPECT_TRUE(sketch) << (sketch ? "" : sketch.error().message);
  return sketch ? *sketch : Sketch{};
}
Form form_with(const std::string& lines) {
  auto form = form_of_sketch(demo_with(lines), from_configs);
  EXPECT_TRUE(form) << (form ? "" : form.error().message);
  return form ? *form : Form{};
}
std::string why_not_in_demo(const std::string& lines) {
  const auto form = form_of_sketch(demo_with(lines), from_configs);
  return form ? "made" : form.error().message;
}

std::vector<std::string> symbols_of_part(const Part& part) {
  std::vector<std::string> out;
  for (const WrittenChord& chord : part.chords) out.push_back(harmony::symbol(chord.chord, chord.root));
  return out;
}
using Symbols = std::vector<std::string>;

TEST(Sketch, ReadsBackWhatItWrites) {
  Sketch sketch;
  sketch.title = "A \"quoted\" \\ title";
  sketch.tempo = 93.5;
  SketchSection a;
  a.name = "Bridge";
  a.kind = SketchKind::kBridge;
  a.source.file = "one take.mid";
  a.label = "A'";
  a.repeats = 3;
  a.layers.bass = false;
  a.proposal = 4;
  a.transpose = -5;
  SketchSection b;
  b.name = "b";
  b.source.take = 12;
  b.span = {12.5, 30.25};
  b.chords = {"Cm9", "F:7"};
  SketchSection c;
  c.name = "c";
  c.source.take = 3;
  c.passes = {4, 2, 4};
  sketch.sections = {a, b, c};
  const std::string text = write_sketch(sketch);
  const auto again = read_sketch(text, "s");
  ASSERT_TRUE(again) << again.error().message << "\n" << text;
  EXPECT_EQ(write_sketch(*again), text);
  EXPECT_EQ(again->title, sketch.title);
  EXPECT_EQ(again->tempo, 93.5);
  ASSERT_EQ(again->sections.size(), 3u);
  EXPECT_EQ(again->sections[0].label, "A'");
  EXPECT_EQ(again->sections[0].kind, SketchKind::kBridge);
  EXPECT_EQ(again->sections[0].layers, a.layers);
  EXPECT_EQ(again->sections[0].proposal, 4);
  EXPECT_EQ(again->sections[0].transpose, -5);
  EXPECT_EQ(again->sections[1].span, b.span);
  EXPECT_EQ(again->sections[1].chords, b.chords);
  EXPECT_EQ(again->sections[2].passes, c.passes);
}

TEST(Sketch, SaysInOneSentenceWhatIsWrongAndOnWhichLine) {
  const std::string section = "[[section]]\nsource = \"demo.mid\"\n";
  const std::vector<std::pair<std::string, std::string>> bad{
      {"", "song.toml: there is no [[section]], so there is nothing to play"},
      {"title = \"x\"\ntempo = 0\n" + section,
       "song.toml, line 2: tempo must be beats per minute, from 30 to 300"},
      {"tempo = nan\n" + section, "song.toml, line 1: tempo must be beats per minute, from 30 to 300"},
      {"title = 7\n" + section, "song.toml, line 1: title must be quoted text of at most 200 bytes"},
      {"titel = \"x\"\n" + section,
       "song.toml, line 1: titel is not known here; the keys are title, tempo, feel, count_in and "
       "[[section]]"},
      {"[section]\nsource = \"a.mid\"\n",
       "song.toml, line 1: section must be written as [[section]], once for each section"},
      {section + "\nrepeat = 2\n",
       "song.toml, line 4: repeat is not known here; the keys of a section are name, kind, source, take, "
       "label, passes, span, repeats, layers, reharmonise, chords, transpose, key, tune, tempo, meter, feel, "
       "dynamics, lyrics, begins, ends, ritardando, fermata"},
      {section + "kind = \"refrain\"\n",
       "song.toml, line 3: kind must be one of intro, theme, development, bridge, solo, interlude, ending, "
       "verse, chorus, pre-chorus, outro"},
      {section + "repeats = 0\n", "song.toml, line 3: repeats must be a whole number from 1 to 64"},
      {section + "repeats = 2.5\n", "song.toml, line 3: repeats must be a whole number from 1 to 64"},
      {section + "passes = []\n",
       "song.toml, line 3: passes must be a list of passes counted from 1, such as [3, 4]"},
      {section + "passes = [0]\n",
       "song.toml, line 3: passes must be a list of passes counted from 1, such as [3, 4]"},
      {section + "span = [30, 12]\n",
       "song.toml, line 3: span must be two times in seconds, such as [12.5, 30.0]"},
      {section + "layers = [\"drums\"]\n",
       "song.toml, line 3: layers must be a list of melody, chords, bass, pad"},
      {section + "chords = [\"Am\", \"H7\"]\n",
       "song.toml, line 3: chords holds \"H7\", which is not a chord"},
      {section + "transpose = 25\n", "song.toml, line 3: transpose must be a whole number from -24 to 24"},
      {section + "take = 3\n",
       "song.toml, line 1: section 1 (Theme) has both source and take; use one of them"},
      {"[[section]]\nname = \"Intro\"\n",
       "song.toml, line 1: section 1 (Intro) has neither source nor take, so there is nothing to play"},
      {section + "label = \"A\"\npasses = [1]\n",
       "song.toml, line 1: section 1 (Theme) has more than one of label, passes and span; use one of them"},
      {section + "reharmonise = 1\nchords = [\"C\"]\n",
       "song.toml, line 1: section 1 (Theme) has both reharmonise and chords; use one of them"},
  };
  for (const auto& [text, sentence] : bad) EXPECT_EQ(why_unread(text), sentence) << text;
  EXPECT_TRUE(why_unread(section + "label = \"A\n").starts_with("song.toml, line 3: "))
      << why_unread(section + "label = \"A\n");
  EXPECT_TRUE(why_unread("label = \"A\"\nlabel = \"A\"\n" + section).starts_with("song.toml, line 2: "));
}

TEST(Sketch, AnyBytesAreReadOrRefusedWithASentence) {
  const std::string good =
      "title = \"x\"\n[[section]]\nsource = \"demo.mid\"\npasses = [1, 2]\nchords = [\"Am\"]\n";
  for (std::size_t at = 0; at < good.size(); ++at)
    for (const char c : {'\0', '\xff', '"', '[', '\n', '9'}) {
      std::string text = good;
      text[at] = c;
      const auto sketch = read_sketch(text, "s");
      if (!sketch) {
        EXPECT_FALSE(sketch.error().message.empty());
      }
    }
}

TEST(Sketch, ASectionIsTheMelodyAndChordsThatWerePlayed) {
  const Form form = form_with("name = \"Theme\"\nlabel = \"A\"\nrepeats = 3\n");
  ASSERT_EQ(form.parts.size(), 1u);
  const Part& part = form.parts[0];
  EXPECT_EQ(part.name, "Theme");
  EXPECT_EQ(part.times, 3);
  EXPECT_EQ(symbols_of_part(part), (Symbols{"Ebmaj9", "Cm7", "Abmaj7", "G7sus4"}));
  EXPECT_FALSE(part.melody.empty());
  EXPECT_EQ(part.length, 8 * kBeat);
  EXPECT_EQ(form.meter, Meter{4});
}

TEST(Sketch, WithoutRepeatsItComesAsOftenAsItWasPlayed) {
  EXPECT_GT(form_with("label = \"A\"\n").parts[0].times, 1);
  EXPECT_EQ(form_with("passes = [1, 2]\n").parts[0].times *
                static_cast<int>(form_with("passes = [1, 2]\n").parts.size()),
            2);
}

TEST(Sketch, ChordsCanBeSpelledOutOrProposed) {
  const Form spelled =
      form_with("label = \"A\"\nchords = [\"Abmaj7\", \"F:min9\", \"Bb7sus4\", \"Eb6/9\"]\n");
  EXPECT_EQ(symbols_of_part(spelled.parts[0]), (Symbols{"Abmaj7", "Fm9", "Bb7sus4", "Eb6/9"}));
  EXPECT_TRUE(spelled.parts[0].endings.empty());
  const Form plain = form_with("label = \"A\"\n"), proposed = form_with("label = \"A\"\nreharmonise = 2\n");
  EXPECT_NE(symbols_of_part(proposed.parts[0]), symbols_of_part(plain.parts[0]));
  ASSERT_EQ(proposed.parts[0].melody.size(), plain.parts[0].melody.size());
  for (std::size_t i = 0; i < plain.parts[0].melody.size(); ++i)
    EXPECT_EQ(proposed.parts[0].melody[i].pitch, plain.parts[0].melody[i].pitch);
}

TEST(Sketch, ABassThatStaysIsWrittenUnderItsChords) {
  const Form form =
      form_with("label = \"A\"\nrepeats = 1\nchords = [\"Dm9\", \"Bm7/D\", \"Gmaj7/D\", \"F/D\"]\n");
  EXPECT_EQ(symbols_of_part(form.parts[0]), (Symbols{"Dm9", "Bm7/D", "Gmaj7/D", "F/D"}));
  const auto folder = hand_over_form(form);
  ASSERT_TRUE(folder);
  const std::string sheet(folder->files[1].bytes.begin(), folder->files[1].bytes.end());
  int basses = 0;
  for (std::size_t at = sheet.find("<bass-step>"); at != std::string::npos;
       at = sheet.find("<bass-step>", at + 1), ++basses)
    EXPECT_EQ(sheet[at + 11], 'D');
  EXPECT_EQ(basses, 3);
  const std::string chart(folder->files[2].bytes.begin(), folder->files[2].bytes.end());
  EXPECT_NE(chart.find("Gmaj7/D"), std::string::npos) << chart;
}

TEST(Sketch, TransposesMelodyAndChordsAlike) {
  const Form plain = form_with("label = \"A\"\n"), moved = form_with("label = \"A\"\ntranspose = 2\n");
  EXPECT_EQ(symbols_of_part(moved.parts[0]), (Symbols{"Fmaj9", "Dm7", "Bbmaj7", "A7sus4"}));
  for (std::size_t i = 0; i < plain.parts[0].melody.size(); ++i)
    EXPECT_EQ(moved.parts[0].melody[i].pitch.value(), plain.parts[0].melody[i].pitch.value() + 2);
}

TEST(Sketch, EachSectionHasItsOwnKeySignatureOnEveryPage) {
  const auto sketch = read_sketch(
      "title = \"Keys\"\n"
      "[[section]]\nname = \"Low\"\nsource = \"demo.mid\"\nlabel = \"A\"\nrepeats = 1\n"
      "[[section]]\nname = \"High\"\nsource = \"demo.mid\"\nlabel = \"A\"\ntranspose = 3\nrepeats = 2\n"
      "[[section]]\nname = \"Higher\"\nsource = \"demo.mid\"\nlabel = \"A\"\ntranspose = 15\nrepeats = 1\n"
      "[[section]]\nname = \"Home\"\nsource = \"demo.mid\"\nlabel = \"A\"\nrepeats = 1\n",
      "s");
  ASSERT_TRUE(sketch) << sketch.error().message;
  const auto form = form_of_sketch(*sketch, from_configs);
  ASSERT_TRUE(form) << form.error().message;
  ASSERT_EQ(form->parts.size(), 4u);
  const Form alone = form_with("label = \"A\"\n");
  EXPECT_EQ(form->signature, alone.signature) << "one key does not draw another's signature its way";
  const WrittenKey low = key_of(*form, form->parts[0]), high = key_of(*form, form->parts[1]);
  ASSERT_TRUE(low.key && high.key);
  EXPECT_EQ(high.key->tonic, transpose(low.key->tonic, 3));
  EXPECT_EQ(high.signature, low.signature - 3);
  EXPECT_EQ(key_of(*form, form->parts[2]), high) << "an octave higher is no other key";
  EXPECT_EQ(key_of(*form, form->parts[3]), low);
  EXPECT_EQ(symbols_of_part(form->parts[1]).front(), "Gbmaj9");
  const auto folder = hand_over_form(*form);
  ASSERT_TRUE(folder);
  const auto text = [&](std::size_t file) {
    return std::string(folder->files.at(file).bytes.begin(), folder->files.at(file).bytes.end());
  };
  // In the MIDI file: where the sections begin.
  const auto file = midi::read_smf(folder->files[0].bytes);
  ASSERT_TRUE(file) << file.error().message;
  ASSERT_EQ(file->markers.size(), 4u);
  ASSERT_EQ(file->key_signatures.size(), 3u);
  for (const auto& [event, marker, key] : {std::tuple(0, 0, low), {1, 1, high}, {2, 3, low}}) {
    EXPECT_EQ(file->key_signatures[static_cast<std::size_t>(event)].tick,
              file->markers[static_cast<std::size_t>(marker)].tick);
    EXPECT_EQ(file->key_signatures[static_cast<std::size_t>(event)].fifths, key.signature);
  }
  // On paper: in the attributes of the first bar of each section.
  std::vector<int> fifths;
  const std::string sheet = text(1);
  for (std::size_t at = sheet.find("<fifths>"); at != std::string::npos; at = sheet.find("<fifths>", at + 1))
    fifths.push_back(std::stoi(sheet.substr(at + 8)));
  EXPECT_EQ(fifths, (std::vector<int>{low.signature, high.signature, low.signature}));
  const std::string measure = sheet.substr(sheet.rfind("<measure", sheet.find("<rehearsal>High")), 900);
  EXPECT_NE(
      measure.substr(0, measure.find("<rehearsal>High")).find("<fifths>" + std::to_string(high.signature)),
      std::string::npos)
      << measure;
  // The melody is written as in the original key, with the same accidentals three semitones higher.
  const auto accidentals = [&](const std::string& from, const std::string& to) {
    const std::size_t begin = sheet.find("<rehearsal>" + from + "<"),
                      end = to.empty() ? sheet.size() : sheet.find("<rehearsal>" + to + "<");
    int count = 0;
    for (std::size_t at = sheet.find("<accidental>", begin); at < end;
         at = sheet.find("<accidental>", at + 1))
      ++count;
    return count;
  };
  EXPECT_EQ(accidentals("High", "Higher"), accidentals("Home", ""));
  const std::string chart = text(2);
  EXPECT_NE(chart.find("High, 2 times, key of " + harmony::text(*high.key)), std::string::npos) << chart;
  EXPECT_NE(chart.find("Home, key of " + harmony::text(*low.key)), std::string::npos) << chart;
  EXPECT_EQ(chart.find("Higher, key"), std::string::npos) << chart;
}

TEST(Sketch, ASpanIsTakenFromBarLineToBarLine) {
  const Form form = form_with("span = [21.0, 35.0]\n");
  ASSERT_GE(form.parts.size(), 1u);
  EXPECT_EQ(form.parts[0].length % (4 * kBeat), Ticks(0));
  EXPECT_FALSE(form.parts[0].chords.empty());
}

TEST(Sketch, SaysWhichSectionCannotBeMade) {
  EXPECT_EQ(why_not_in_demo("label = \"Q\"\n"),
            "section 1 (Theme): there is no section Q; there are A, B, C");
  EXPECT_TRUE(why_not_in_demo("passes = [99]\n")
                  .starts_with("section 1 (Theme): there is no pass 99; the loop has "));
  EXPECT_EQ(why_not_in_demo("name = \"Bridge\"\nchords = [\"Am\", \"G\"]\n"),
            "section 1 (Bridge): 2 chords are given, but 4 are there to be replaced");
  EXPECT_TRUE(why_not_in_demo("span = [5000, 5010]\n")
                  .starts_with("section 1 (Theme): nothing sounds from 5000 to 5010 seconds"))
      << why_not_in_demo("span = [5000, 5010]\n");
  const auto missing =
      form_of_sketch(*read_sketch("[[section]]\nsource = \"not there.mid\"\n", "s"), from_configs);
  ASSERT_FALSE(missing);
  EXPECT_TRUE(missing.error().message.starts_with("section 1 (Theme): ")) << missing.error().message;
  EXPECT_NE(missing.error().message.find("not there.mid"), std::string::npos);
}

TEST(Sketch, TheExampleMakesASongThatIsWrittenOutWithItsLayers) {
  std::ifstream in(kConfigs + "demo_song.toml");
  std::ostringstream text;
  text << in.rdbuf();
  const auto sketch = read_sketch(text.str(), "demo_song.toml");
  ASSERT_TRUE(sketch) << sketch.error().message;
  const auto form = form_of_sketch(*sketch, from_configs);
  ASSERT_TRUE(form) << form.error().message;
  EXPECT_EQ(form->title, "Evening rounds");
  EXPECT_EQ(form->tempo, 76);
  ASSERT_EQ(form->parts.size(), 6u);
  const auto bytes = form_midi(*form, string_parts(*form, harmony::PadStyle::kStill));
  ASSERT_TRUE(bytes);
  const auto file = midi::read_smf(*bytes);
  ASSERT_TRUE(file) << file.error().message;
  ASSERT_EQ(file->tracks.size(), 8u);
  std::map<std::string, std::pair<midi::Tick, midi::Tick>> sounds;  // the first and last note of each track
  for (const auto& track : file->tracks)
    for (const auto& event : track.events)
      if ((event.bytes[0] & 0xF0) == midi::kNoteOn) {
        auto& [first, last] = sounds.try_emplace(track.name, event.tick, event.tick).first->second;
        last = event.tick;
      }
  std::vector<midi::Tick> begins;
  for (const auto& marker : file->markers) begins.push_back(marker.tick);
  ASSERT_EQ(begins.size(), 6u);
  EXPECT_EQ(file->markers[1].text, "Theme, 2 times");
  EXPECT_GE(sounds["melody"].first, begins[1]) << "the intro has no melody";
  EXPECT_EQ(sounds["chords"].first, 0u);
  EXPECT_LT(sounds["chords"].second, begins[5]) << "the ending has no chords";
  EXPECT_LT(sounds["bass"].second, begins[5]);
  EXPECT_GE(sounds["string pad, cello"].first, begins[1]);
  EXPECT_GE(sounds["string pad, cello"].second, begins[5]);
  const auto folder = hand_over_form(*form);
  ASSERT_TRUE(folder);
  EXPECT_TRUE(std::any_of(folder->files.begin(), folder->files.end(),
                          [](const File& each) { return each.name == "score.musicxml"; }));
}

TEST(Sketch, ANoteStruckInAnyTrackEnds) {
  const Form form = form_with("label = \"A\"\nrepeats = 2\n");
  const auto file = midi::read_smf(*form_midi(form, string_parts(form, harmony::PadStyle::kStill)));
  ASSERT_TRUE(file);
  for (const auto& track : file->tracks) {
    std::map<int, int> down;
    for (const auto& event : track.events) {
      if ((event.bytes[0] & 0xF0) == midi::kNoteOn) {
        EXPECT_EQ(down[event.bytes[1]]++, 0) << track.name;
      }
      if ((event.bytes[0] & 0xF0) == midi::kNoteOff) {
        EXPECT_EQ(--down[event.bytes[1]], 0) << track.name;
      }
    }
    for (const auto& [key, count] : down) EXPECT_EQ(count, 0);
  }
}

TEST(Sketch, IsProposedFromWhatWasFound) {
  const auto sketch = propose_sketch({{"demo.mid", 0}}, from_configs, "Rounds");
  ASSERT_TRUE(sketch);
  std::vector<SketchKind> kinds;
  for (const auto& section : sketch->sections) kinds.push_back(section.kind);
  using K = SketchKind;
  EXPECT_EQ(kinds, (std::vector<K>{K::kIntro, K::kTheme, K::kBridge, K::kSolo, K::kTheme, K::kEnding}));
  EXPECT_EQ(sketch->sections[2].label, "B");  // the sparse section
  EXPECT_EQ(sketch->sections[3].label, "C");
  EXPECT_TRUE(form_of_sketch(*sketch, from_configs));
  EXPECT_FALSE(propose_sketch({}, from_configs, ""));
}

TEST(Sketch, AProposedTitleIsOneThatASketchCanHold) {
  for (const std::string& title : {std::string(500, 'x'), std::string("two\nlines\tand \xff\xc3"),
                                   std::string("\xc3\xa9").append(300, 'y')}) {
    const auto sketch = propose_sketch({{"demo.mid", 0}}, from_configs, title);
    ASSERT_TRUE(sketch);
    const auto again = read_sketch(write_sketch(*sketch), "s");
    ASSERT_TRUE(again) << again.error().message;
    EXPECT_EQ(again->title, sketch->title);
    EXPECT_EQ(again->title.substr(0, 1), title.substr(0, 1));
  }
}

}  // namespace
}  // namespace undersong::song
