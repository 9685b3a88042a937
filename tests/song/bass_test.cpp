// The bass player's part: the line that the passes have in common, slashes where they have none, held basses
// where nobody said anything.
#include <gtest/gtest.h>

#include <pugixml.hpp>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/midi/smf.h"
#include "daemon/song/band_parts.h"
#include "daemon/song/bass_line.h"
#include "daemon/song/bass_voice.h"
#include "daemon/song/consensus.h"
#include "daemon/song/fold.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/spell_form.h"

namespace undersong::song {
namespace {

constexpr Ticks kBar = 4 * kBeat;

WrittenNote bass_note(double beat, int key, double beats = 1, int velocity = 70) {
  return {Pitch(key),
          {},
          Ticks(static_cast<std::int64_t>(480 * beat)),
          Ticks(static_cast<std::int64_t>(480 * beats)),
          Velocity(velocity)};
}
WrittenChord bass_chord(int root, double beat, double beats, const char* quality = "maj", int bass = -1) {
  return {{PitchClass(root), harmony::quality(quality), PitchClass(bass < 0 ? root : bass)},
          harmony::spell_within(PitchClass(root), -5),
          Ticks(static_cast<std::int64_t>(480 * beat)),
          Ticks(static_cast<std::int64_t>(480 * beats))};
}
std::vector<std::pair<double, int>> places(const std::vector<WrittenNote>& notes) {
  std::vector<std::pair<double, int>> out;
  for (const WrittenNote& n : notes) out.emplace_back(n.at.beats(), n.slash ? 0 : n.pitch.value());
  return out;
}
using Places = std::vector<std::pair<double, int>>;

TEST(Bass, WhatMostPassesPlayIsWrittenInTheOctaveTheyPlayItMostOften) {
  const std::vector<std::vector<WrittenNote>> passes{
      {bass_note(0, 36), bass_note(2, 43), bass_note(4, 41), bass_note(6, 48)},
      {bass_note(0, 36), bass_note(2, 43), bass_note(4, 41), bass_note(5.5, 45)},
      {bass_note(0, 48), bass_note(2, 43), bass_note(4, 41), bass_note(7, 47)},
  };
  const BassLine line = agreed_bass(passes, Ticks(0), 2 * kBar, kBar);
  EXPECT_EQ(places(line.notes), (Places{{0, 36}, {2, 43}, {4, 41}}));
  EXPECT_TRUE(line.slashes.empty());
}

TEST(Bass, ABarInWhichThePassesAgreeOnNothingHasSlashes) {
  const std::vector<std::vector<WrittenNote>> passes{
      {bass_note(0, 36), bass_note(4, 41), bass_note(5, 42)},
      {bass_note(0, 36), bass_note(4, 43), bass_note(5, 44)},
      {bass_note(0, 36), bass_note(4, 45), bass_note(5, 46)},
  };
  const BassLine line = agreed_bass(passes, Ticks(0), 2 * kBar, kBar);
  EXPECT_EQ(line.slashes, std::vector<Ticks>{kBar});
  const std::vector<WrittenChord> chords{bass_chord(0, 0, 4), bass_chord(5, 4, 4)};
  EXPECT_EQ(places(bass_voice(chords, line, Meter{4}, true)),
            (Places{{0, 36}, {4, 0}, {5, 0}, {6, 0}, {7, 0}}));
  EXPECT_EQ(places(bass_voice(chords, line, Meter{4}, false)), (Places{{0, 36}, {4, 29}}))
      << "played, it is the root";
}

TEST(Bass, TwoPassesMustAgreeAndOnePassIsWrittenAsItIs) {
  const std::vector<WrittenNote> one{bass_note(0, 36), bass_note(1, 38)},
      other{bass_note(0, 36), bass_note(1, 40)};
  EXPECT_EQ(places(agreed_bass({one}, Ticks(0), kBar, kBar).notes), places(one));
  EXPECT_EQ(places(agreed_bass({one, other}, Ticks(0), kBar, kBar).notes), (Places{{0, 36}}));
}

TEST(Bass, AChordUnderWhichTheLineSaysNothingHasItsBassHeld) {
  const std::vector<WrittenChord> chords{bass_chord(0, 0, 4), bass_chord(5, 4, 4, "maj", 9),
                                         bass_chord(7, 8, 4)};
  const auto voice =
      bass_voice(chords, {{bass_note(0, 40), bass_note(2, 36), bass_note(8, 43)}, {}}, Meter{4}, true);
  EXPECT_EQ(places(voice), (Places{{0, 40}, {2, 36}, {4, 33}, {8, 43}})) << "F/A has an A";
  EXPECT_EQ(voice[2].length, kBar);
  EXPECT_EQ(places(bass_voice(chords, {}, Meter{4}, true)), (Places{{0, 36}, {4, 33}, {8, 31}}));
  for (const WrittenNote& n : voice) EXPECT_GE(n.length, Ticks(1));
}

// A left hand that plays root, chord, fifth, chord, and a right hand that does not come down.
takes::HeardTake stride() {
  takes::HeardTake take;
  const auto strike = [&](double at, int key, double length) {
    take.notes.push_back({Micros(static_cast<std::int64_t>(1e6 * at)),
                          Micros(static_cast<std::int64_t>(1e6 * length)), Pitch(key), Velocity(70)});
    return take.notes.back().at;
  };
  for (int bar = 0; bar < 4; ++bar) {
    const double at = 2. * bar;
    take.bass.push_back({strike(at, 36, .3), Pitch(36)});
    take.bass.push_back({strike(at + .5, 52, .3), Pitch(52)});
    strike(at + .5, 55, .3), strike(at + .5, 60, .3);
    take.bass.push_back({strike(at + 1, 43, .3), Pitch(43)});
    take.bass.push_back({strike(at + 1.5, 52, .3), Pitch(52)});
    strike(at + 1.5, 55, .3), strike(at + 1.5, 60, .3);
  }
  take.spans.push_back(
      {Micros(0), Micros(8'000'000), {PitchClass(0), harmony::quality("maj"), PitchClass(0)}, {}, false});
  return take;
}

TEST(Bass, ChordsOfTheLeftHandAreNotTheBass) {
  std::vector<int> keys;
  for (const takes::PlayedNote& n : bass_line(stride())) keys.push_back(n.pitch.value());
  EXPECT_EQ(keys, (std::vector<int>{36, 43, 36, 43, 36, 43, 36, 43}));
}

TEST(Bass, NotesOutOfRangeAreMovedByOctaves) {
  EXPECT_EQ(within_bass_range(21), Pitch(33));
  EXPECT_EQ(within_bass_range(28), Pitch(28));
  EXPECT_EQ(within_bass_range(67), Pitch(67));
  EXPECT_EQ(within_bass_range(68), Pitch(56));
}

Form two_feel() {
  std::vector<Strain> strains(3);
  for (Strain& strain : strains) {
    strain.length = 2 * kBar;
    strain.whole = true;
    strain.chords = {bass_chord(0, 0, 4), bass_chord(5, 4, 4)};
    strain.melody = {bass_note(0, 72, 4), bass_note(4, 76, 4)};
    strain.bass = {bass_note(0, 36, 2, 90), bass_note(2, 43, 1.5), bass_note(3.5, 40, .5),
                   bass_note(4, 41, 2), bass_note(6, 48, 2)};
  }
  strains[1].bass.pop_back();
  Form form;
  form.parts = fold(strains, 4 * kBeat);
  form.parts[0].name = "A";
  spell_form(form, std::nullopt);
  return form;
}

TEST(Bass, PassesOverOtherChordsHaveNoVote) {
  std::vector<Strain> strains(3);
  for (std::size_t i = 0; i < strains.size(); ++i) {
    Strain& strain = strains[i];
    strain.length = 2 * kBar;
    strain.whole = true;
    strain.begin = Micros(1'000'000 * static_cast<std::int64_t>(i));
    strain.end = strain.begin + Micros(1'000'000);
    const int last = i == 0 ? 7 : 5;
    strain.chords = {bass_chord(4, 0, 4, "min7"), bass_chord(last, 4, 4)};
    strain.bass = {bass_note(0, 40, 4), bass_note(4, last == 7 ? 43 : 41, 4)};
  }
  const auto parts = fold({strains.data(), 1}, 4 * kBeat, strains);
  ASSERT_EQ(parts.size(), 1u);
  EXPECT_EQ(places(parts[0].bass.notes), (Places{{0, 40}, {4, 43}}));
  EXPECT_TRUE(parts[0].bass.slashes.empty());
  // And in a key of many flats the bass of Em7 is E, as its symbol says.
  Form form;
  form.parts = parts;
  form.parts[0].chords.push_back(bass_chord(8, 8, 40));
  form.parts[0].chords.push_back(bass_chord(1, 48, 40));
  spell_form(form, std::nullopt);
  EXPECT_EQ(form.parts[0].bass.notes[0].name, form.parts[0].chords[0].root);
}

TEST(Bass, ThePartTheScoreAndTheMidiFileHaveTheLine) {
  const Form form = two_feel();
  ASSERT_EQ(form.parts.size(), 1u);
  const Places expected{{0, 36}, {2, 43}, {3.5, 40}, {4, 41}, {6, 48}};
  EXPECT_EQ(places(bass_part(form).parts[0].melody), expected);
  EXPECT_EQ(bass_part(form).parts[0].melody[0].velocity, Velocity(90));
  const auto folder = hand_over_form(form);
  ASSERT_TRUE(folder);
  for (const File& file : folder->files) {
    if (file.name != "bass.musicxml" && file.name != "score.musicxml") continue;
    pugi::xml_document sheet;
    ASSERT_TRUE(sheet.load_buffer(file.bytes.data(), file.bytes.size()));
    const std::string part = file.name == "bass.musicxml" ? "P1" : "P4";
    std::string letters;
    for (const auto& found :
         sheet.select_nodes(("//part[@id='" + part + "']//note[not(tie[@type='stop'])]/pitch/step").c_str()))
      letters += found.node().text().get();
    EXPECT_EQ(letters, "CGEFC") << file.name;
  }
  const auto midi = midi::read_smf(folder->files[0].bytes);
  ASSERT_TRUE(midi);
  for (const auto& track : midi->tracks) {
    if (track.name != "bass") continue;
    std::vector<midi::Tick> onsets;
    for (const auto& event : track.events)
      if ((event.bytes[0] & 0xF0) == midi::kNoteOn) onsets.push_back(event.tick);
    ASSERT_EQ(onsets.size(), 3 * expected.size()) << "all three times";
    EXPECT_EQ(onsets[2], 3360u);
  }
}

TEST(Bass, TheSlashesOfABarHaveNoStemsAndNoAccidentals) {
  Form form = two_feel();
  form.signature = 4;  // D sharp is in the key, but a slash is no note
  form.parts[0].bass = {{bass_note(0, 36, 4)}, {kBar}};
  const auto folder = hand_over_form(form);
  ASSERT_TRUE(folder);
  for (const File& file : folder->files) {
    if (file.name != "bass.musicxml") continue;
    pugi::xml_document sheet;
    ASSERT_TRUE(sheet.load_buffer(file.bytes.data(), file.bytes.size()));
    EXPECT_EQ(sheet.select_nodes("//measure[2]/note[notehead='slash'][stem='none']").size(), 4u);
    EXPECT_EQ(sheet.select_nodes("//measure[2]/note/accidental").size(), 0u);
    EXPECT_EQ(sheet.select_nodes("//measure[1]/note/notehead").size(), 0u);
  }
}

pugi::xml_document page(const Form& form, const std::string& name) {
  const auto folder = hand_over_form(form);
  pugi::xml_document out;
  for (const File& file : folder->files)
    if (file.name == name) out.load_buffer(file.bytes.data(), file.bytes.size());
  return out;
}

TEST(Bass, ChangesBetweenTwoBeatsThatTheBassDoesNotPlayAreCuedAboveTheStaff) {
  Form form = two_feel();
  form.parts[0].chords = {bass_chord(0, 0, 1.5), bass_chord(5, 1.5, 2), bass_chord(7, 3.5, 4.5)};
  form.parts[0].bass.notes = {bass_note(0, 36, 3), bass_note(3.5, 43, 2), bass_note(6, 48, 2)};
  const auto sheet = page(form, "bass.musicxml");
  const auto cues = sheet.select_nodes("//note[cue]");
  ASSERT_EQ(cues.size(), 1u) << "the bass plays the second change itself";
  EXPECT_STREQ(cues[0].node().child_value("voice"), "2");
  EXPECT_STREQ(cues[0].node().previous_sibling("forward").child_value("duration"), "720");
  EXPECT_EQ(page(form, "score.musicxml").select_nodes("//note[cue]").size(), 0u);
}

TEST(Chords, ThePageHasFourBarsALineSectionsByNameAndTheRhythmOfTheChanges) {
  Form form = two_feel();
  Part& verse = form.parts[0];
  verse.name = "Verse";
  verse.length = 6 * kBar;
  verse.chords = {bass_chord(0, 0, 2.5), bass_chord(5, 2.5, 5.5), bass_chord(7, 8, 16)};
  verse.melody.clear();
  Part silent = verse;
  silent.name = "Bridge";
  silent.layers.chords = false;
  form.parts.push_back(silent);
  form.signature = -3;
  for (Part& part : form.parts) part.own_key.reset();
  const auto sheet = page(form, "chords.musicxml");
  EXPECT_EQ(sheet.select_nodes("//measure").size(), 12u);
  std::vector<int> lines;
  for (const auto& found : sheet.select_nodes("//measure[print/@new-system='yes']"))
    lines.push_back(found.node().attribute("number").as_int());
  EXPECT_EQ(lines, (std::vector<int>{5, 7, 11}));
  EXPECT_EQ(sheet.select_nodes("//rehearsal").size(), 2u);
  EXPECT_EQ(sheet.select_nodes("//measure[1]/note[notehead='slash']").size(), 5u) << "one is divided";
  EXPECT_EQ(sheet.select_nodes("//measure[2]/note[notehead='slash']").size(), 4u);
  EXPECT_EQ(sheet.select_nodes("//measure[7]/note[notehead]").size(), 0u) << "chords rest in the bridge";
  EXPECT_EQ(sheet.select_nodes("//note[pitch/step='B'][pitch/alter='-1']").size(),
            sheet.select_nodes("//note[notehead]").size())
      << "a slash has no accidental in any key";
}

}  // namespace
}  // namespace undersong::song
