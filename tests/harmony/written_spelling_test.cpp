#include "daemon/harmony/written_spelling.h"

#include <gtest/gtest.h>

#include <string>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::harmony {
namespace {

std::vector<WrittenChord> chords(std::initializer_list<const char*> names) {
  std::vector<WrittenChord> out;
  double at = 0;
  for (const char* name : names) {
    out.push_back({at, at + 4, parse_harte(name)->chord});
    at += 4;
  }
  return out;
}
std::string roots(std::initializer_list<const char*> names) {
  const auto written = chords(names);
  std::string out;
  for (NoteName name : spell_roots(written, signature_of(written, {})))
    out += (out.empty() ? "" : " ") + text(name);
  return out;
}

TEST(WrittenSpelling, FlatKeysAreWrittenWithFlatsAndSharpKeysWithSharps) {
  EXPECT_EQ(roots({"Eb:maj7", "C:min7", "F:min7", "Bb:7", "Eb:maj7"}), "Eb C F Bb Eb");
  EXPECT_EQ(roots({"E:maj7", "C#:min7", "F#:min7", "B:7", "E:maj7"}), "E C# F# B E");
  EXPECT_EQ(roots({"Db:maj", "Gb:maj", "Ab:7", "Db:maj"}), "Db Gb Ab Db");
}

TEST(WrittenSpelling, ALeadingTonesChordIsSpelledAsOne) {
  EXPECT_EQ(roots({"C:maj", "C#:dim7", "D:min7", "G:7", "C:maj"}), "C C# D G C");
  EXPECT_EQ(roots({"F:maj", "F#:dim7", "G:min7", "C:7", "F:maj"}), "F F# G C F");
}

TEST(WrittenSpelling, MelodyTakesItsLettersFromTheChord) {
  const auto written = chords({"C:maj", "E:7", "A:min", "Ab:maj", "G:7", "C:maj"});
  const std::vector<WrittenNote> melody{{0, 4, Pitch(67)},   {4, 8, Pitch(68)},   {8, 12, Pitch(69)},
                                        {12, 16, Pitch(68)}, {16, 20, Pitch(67)}, {20, 24, Pitch(72)}};
  const int signature = signature_of(written, melody);
  EXPECT_EQ(signature, 0);
  const auto names = spell_melody(melody, written, spell_roots(written, signature), signature);
  EXPECT_EQ(text(names[1]), "G#");
  EXPECT_EQ(text(names[3]), "Ab");
}

TEST(WrittenSpelling, ALoneNoteIsSpelledByKeyAndChord) {
  const auto chord = *parse_harte("F:min7");
  EXPECT_EQ(text(spell_note(PitchClass(8), 0, &chord.chord, &chord.root)), "Ab");
  const auto dominant = *parse_harte("E:7");
  EXPECT_EQ(text(spell_note(PitchClass(8), 0, &dominant.chord, &dominant.root)), "G#");
  EXPECT_EQ(text(spell_note(PitchClass(10), -3, nullptr, nullptr)), "Bb");
}

TEST(WrittenSpelling, NothingIsSpelledAsNothing) {
  EXPECT_EQ(signature_of({}, {}), 0);
  EXPECT_TRUE(spell_roots({}, 0).empty());
  EXPECT_TRUE(spell_melody({}, {}, {}, 0).empty());
}

TEST(WrittenSpelling, EveryNameHasThePitchClassItStandsFor) {
  unsigned state = 11;
  for (int round = 0; round < 300; ++round) {
    std::vector<WrittenNote> melody;
    for (int i = 0; i < 30; ++i) {
      state = state * 1664525u + 1013904223u;
      melody.push_back({i * 1.0, i + 1.0, Pitch(48 + static_cast<int>(state >> 20) % 36)});
    }
    const auto names = spell_melody(melody, {}, {}, round % 13 - 6);
    for (std::size_t i = 0; i < names.size(); ++i)
      EXPECT_EQ(names[i].pitch_class(), melody[i].pitch.pitch_class());
  }
}

}  // namespace
}  // namespace undersong::harmony
