// The parts of a band: what the section plays under the tune, where it breathes, and that all staves of a
// score agree.
#include "daemon/song/band_parts.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <pugixml.hpp>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/hand_over.h"

namespace undersong::song {
namespace {

Folder demo(harmony::PadStyle style = harmony::PadStyle::kStill) {
  const auto file = midi::read_smf_file(std::filesystem::path(UNDERSONG_SOURCE_DIR) / "configs/demo.mid");
  HandOverOptions options;
  options.parts.strings = style;
  return *hand_over(Played{midi::merged_events(*file), {}}, options);
}

std::string text_of(const Folder& folder, const std::string& name) {
  const auto file = std::find_if(folder.files.begin(), folder.files.end(),
                                 [&](const File& each) { return each.name == name; });
  if (file == folder.files.end()) return {};
  return {file->bytes.begin(), file->bytes.end()};
}

constexpr harmony::PadStyle kStyles[] = {harmony::PadStyle::kStill, harmony::PadStyle::kMoving,
                                         harmony::PadStyle::kChorale};

TEST(StringParts, LieUnderTheTuneAndNoNoteIsHeldOverAPhrase) {
  for (const auto style : kStyles) {
    const Folder folder = demo(style);
    const StringParts strings = string_parts(folder.form, style);
    int notes = 0, over = 0;
    for (std::size_t p = 0; p < folder.form.parts.size(); ++p) {
      const Part& part = folder.form.parts[p];
      for (const auto& voice : strings.voices)
        for (const WrittenNote& note : voice.parts[p].melody)
          EXPECT_LE(note.length, 8 * meter_of(folder.form, part).bar());
      for (const WrittenNote& tune : part.melody)
        for (const WrittenNote& first : strings.voices[3].parts[p].melody) {
          if (first.at >= tune.at + tune.length || first.at + first.length <= tune.at) continue;
          ++notes;
          over += first.pitch >= tune.pitch;
        }
    }
    ASSERT_GT(notes, 50);
    EXPECT_LE(over, notes / 100) << static_cast<int>(style);
  }
}

TEST(StringParts, AllVoicesBreatheTogetherAtTheEndOfEveryPhrase) {
  const Folder folder = demo();
  const StringParts strings = string_parts(folder.form, harmony::PadStyle::kStill);
  int breaths = 0;
  for (std::size_t p = 0; p < folder.form.parts.size(); ++p) {
    const Part& part = folder.form.parts[p];
    const Ticks bar = meter_of(folder.form, part).bar();
    if (part.length < 2 * bar || part.length % bar != Ticks(0)) continue;
    ++breaths;
    for (const auto& voice : strings.voices)
      for (const WrittenNote& note : voice.parts[p].melody)
        EXPECT_LT(note.at + note.length, part.length) << "there is a rest before the part ends";
  }
  EXPECT_GT(breaths, 0);
}

TEST(StringParts, SlursBeginAndEndInTurnAndNeverInAChorale) {
  for (const auto style : kStyles) {
    pugi::xml_document sheet;
    ASSERT_TRUE(sheet.load_string(text_of(demo(style), "violin_2.musicxml").c_str()));
    int open = 0, slurs = 0;
    for (const auto& found : sheet.select_nodes("//slur")) {
      const std::string type = found.node().attribute("type").value();
      open += type == "start" ? 1 : -1;
      slurs += type == "start";
      EXPECT_TRUE(open == 0 || open == 1);
    }
    EXPECT_EQ(open, 0);
    if (style == harmony::PadStyle::kChorale)
      EXPECT_EQ(slurs, 0);
    else
      EXPECT_GT(slurs, 0);
  }
}

TEST(StringParts, TheSectionGrowsWithTheTune) {
  Form form;
  Part part;
  part.length = 8 * 4 * kBeat;
  const auto chord = harmony::Chord{PitchClass(0), harmony::Quality(0), PitchClass(0)};
  for (int bar = 0; bar < 8; ++bar) {
    part.chords.push_back({chord, harmony::NoteName(0), 4 * bar * kBeat, 4 * kBeat});
    WrittenNote note;
    note.pitch = Pitch(76);
    note.at = 4 * bar * kBeat;
    note.length = 4 * kBeat;
    note.velocity = Velocity(bar < 4 ? 45 : 95);
    part.melody.push_back(note);
  }
  form.parts.push_back(part);
  const StringParts strings = string_parts(form, harmony::PadStyle::kStill);
  const auto& directions = strings.voices[0].parts[0].directions;
  ASSERT_EQ(directions.size(), 4u);
  EXPECT_EQ(directions[0].dynamic, "pp");
  EXPECT_EQ(directions[1].wedge, Wedge::kLouder);
  EXPECT_EQ(directions[3].at, 16 * kBeat);
  EXPECT_EQ(directions[3].dynamic, "mf");
  const auto& notes = strings.voices[0].parts[0].melody;
  EXPECT_LT(notes.front().velocity, notes.back().velocity);
}

// A row of rich chords of two bars each, without a tune.
Form rich_chords() {
  Form form;
  Part part;
  for (const char* name : {"Cmaj9", "Am9", "Dm11", "G13", "C6/9", "Fm(maj9)", "Bb13#11", "C"}) {
    const auto chord = harmony::parse_chord(name);
    EXPECT_TRUE(chord) << name;
    part.chords.push_back({chord->chord, chord->root, part.length, 8 * kBeat});
    part.length += 8 * kBeat;
  }
  form.parts.push_back(part);
  return form;
}

TEST(StringParts, AskedForDivisiPlayATonePerChordThatNobodyElseHas) {
  const Form form = rich_chords();
  const StringParts plain = string_parts(form, harmony::PadStyle::kStill);
  const StringParts divided = string_parts(form, {harmony::PadStyle::kStill, true});
  const auto& chords = form.parts[0].chords;
  int seconds = 0;
  for (std::size_t voice = 0; voice < harmony::kStrings; ++voice) {
    const auto& before = plain.voices[voice].parts[0].melody;
    const auto& notes = divided.voices[voice].parts[0].melody;
    ASSERT_EQ(notes.size(), before.size());
    for (std::size_t i = 0; i < notes.size(); ++i) {
      EXPECT_TRUE(before[i].above.empty());
      if (notes[i].above.empty()) {
        EXPECT_EQ(notes[i], before[i]);
        continue;
      }
      ++seconds;
      EXPECT_TRUE(voice == 3 || voice == 1) << "violins I and violas";
      EXPECT_EQ(notes[i].above.front().pitch, before[i].pitch) << "the upper half goes on as it was";
      EXPECT_GE(notes[i].pitch, harmony::kStringRanges[voice].lowest);
      for (const WrittenChord& chord : chords) {
        if (chord.at >= notes[i].at + notes[i].length || chord.at + chord.length <= notes[i].at) continue;
        const auto tones = harmony::row(chord.chord.quality).tones.transposed(chord.chord.root.value());
        EXPECT_TRUE(tones.contains(notes[i].pitch.pitch_class()));
        for (const auto& other : plain.voices)
          for (const WrittenNote& each : other.parts[0].melody)
            if (each.at < chord.at + chord.length && each.at + each.length > chord.at &&
                each.at < notes[i].at + notes[i].length && each.at + each.length > notes[i].at) {
              EXPECT_NE(each.pitch.pitch_class(), notes[i].pitch.pitch_class());
            }
      }
    }
  }
  EXPECT_GE(seconds, 3);
  // On the page, both lines of a desk are one chord, and it says where they part and meet.
  const auto folder = hand_over_form(form, {harmony::PadStyle::kStill, true});
  ASSERT_TRUE(folder) << folder.error().message;
  pugi::xml_document sheet;
  ASSERT_TRUE(sheet.load_string(text_of(*folder, "strings.musicxml").c_str()));
  EXPECT_GT(sheet.select_nodes("//note/chord").size(), 0u);
  for (const auto& desk : sheet.select_nodes("//part")) {
    const auto words = desk.node().select_nodes(".//words");
    for (std::size_t i = 0; i < words.size(); ++i)
      EXPECT_STREQ(words[i].node().text().get(), i % 2 == 0 ? "div." : "unis.");
  }
  EXPECT_FALSE(sheet.select_nodes("//words").empty());
  // In the MIDI file both sound, on the track of the desk.
  const auto notes_in = [](const Folder& made) {
    const auto file = midi::read_smf(made.files.front().bytes);
    std::size_t count = 0;
    for (const auto& track : file->tracks)
      for (const auto& event : track.events)
        count += track.name.starts_with("string pad") && (event.bytes[0] & 0xF0) == 0x90;
    return count;
  };
  const auto undivided = hand_over_form(form);
  EXPECT_EQ(notes_in(*folder), notes_in(*undivided) + static_cast<std::size_t>(seconds));
}

TEST(BandParts, AllStavesOfTheScoreHaveTheSameBars) {
  pugi::xml_document score;
  ASSERT_TRUE(score.load_string(text_of(demo(), "score.musicxml").c_str()));
  std::vector<std::vector<int>> lengths;
  for (const auto& part : score.child("score-partwise").children("part")) {
    lengths.emplace_back();
    for (const auto& measure : part.children("measure")) {
      int length = 0;
      for (const auto& note : measure.children("note"))
        if (!note.child("chord")) length += note.child("duration").text().as_int();
      lengths.back().push_back(length);
    }
  }
  ASSERT_EQ(lengths.size(), 8u);
  for (const auto& staff : lengths) EXPECT_EQ(staff, lengths.front());
  EXPECT_EQ(score.select_nodes("//rehearsal").size(),
            score.select_nodes("//part[@id='P1']//rehearsal").size());
  EXPECT_EQ(score.select_nodes("//metronome").size(), 1u);
}

TEST(BandParts, ThePianistReadsTheMelodyWithItsChordsAboveBothHands) {
  const Folder folder = demo();
  pugi::xml_document piano, score;
  ASSERT_TRUE(piano.load_string(text_of(folder, "piano.musicxml").c_str()));
  ASSERT_TRUE(score.load_string(text_of(folder, "score.musicxml").c_str()));
  std::vector<std::string> names;
  for (const auto& name : piano.select_nodes("//part-name")) names.emplace_back(name.node().text().get());
  EXPECT_EQ(names, (std::vector<std::string>{"Melody", "Piano, right hand", "Piano, left hand"}));
  for (const char* part : {"//part[@id='P1']//note", "//part[@id='P2']//note", "//part[@id='P3']//note"})
    EXPECT_EQ(piano.select_nodes(part).size(), score.select_nodes(part).size()) << part;
  EXPECT_GT(piano.select_nodes("//part[@id='P1']//harmony").size(), 0u);
  EXPECT_EQ(piano.select_nodes("//harmony").size(), piano.select_nodes("//part[@id='P1']//harmony").size());
}

// A clarinet in B flat sounds a whole tone lower than it reads, an alto saxophone in E flat a major sixth
// lower (any book on orchestration).
TEST(BandParts, TransposingPlayersSoundWhatTheLeadSheetSays) {
  const Folder folder = demo();
  const auto sounding = [&](const std::string& name) {
    pugi::xml_document sheet;
    EXPECT_TRUE(sheet.load_string(text_of(folder, name).c_str()));
    const int down = sheet.select_node("//transpose/chromatic").node().text().as_int();
    const std::map<char, int> natural{{'C', 0}, {'D', 2}, {'E', 4}, {'F', 5}, {'G', 7}, {'A', 9}, {'B', 11}};
    std::vector<int> keys;
    for (const auto& found : sheet.select_nodes("//note/pitch")) {
      const auto pitch = found.node();
      keys.push_back(12 * (pitch.child("octave").text().as_int() + 1) +
                     natural.at(pitch.child("step").text().get()[0]) + pitch.child("alter").text().as_int() +
                     down);
    }
    return keys;
  };
  const auto plain = sounding("lead_sheet.musicxml");
  ASSERT_GT(plain.size(), 20u);
  EXPECT_EQ(sounding("lead_sheet_b_flat.musicxml"), plain);
  EXPECT_EQ(sounding("lead_sheet_e_flat.musicxml"), plain);
}

TEST(BandParts, KeysOfTransposingPlayersHaveAtMostSixAccidentals) {
  for (int signature = -6; signature <= 6; ++signature)
    for (const int semitones : {2, 9}) {
      Form form;
      form.signature = signature;
      const int written = transposed(form, semitones).signature;
      EXPECT_LE(std::abs(written), 6);
      EXPECT_EQ(((written - signature - 7 * semitones) % 12 + 12) % 12, 0);
    }
}

TEST(BandParts, TheBassHasTheBassOfEveryChordWithinItsRange) {
  const Folder folder = demo();
  const Form bass = bass_part(folder.form);
  for (std::size_t p = 0; p < bass.parts.size(); ++p) {
    const auto& line = bass.parts[p].melody;
    for (const WrittenChord& chord : folder.form.parts[p].chords) {
      const auto note =
          std::find_if(line.begin(), line.end(), [&](const WrittenNote& n) { return n.at == chord.at; });
      ASSERT_NE(note, line.end()) << p << " at " << chord.at.beats();
      EXPECT_EQ(note->pitch.pitch_class(), chord.chord.bass);
    }
    for (const WrittenNote& note : line) {
      EXPECT_GE(note.pitch, Pitch(28));
      EXPECT_LE(note.pitch, Pitch(67));
    }
  }
}

}  // namespace
}  // namespace undersong::song
