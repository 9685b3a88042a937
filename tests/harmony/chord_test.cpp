#include <gtest/gtest.h>

#include <regex>
#include <set>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

PitchClassSet set_of(std::initializer_list<int> tones) {
  PitchClassSet out;
  for (int tone : tones) out.insert(PitchClass(tone));
  return out;
}

// Source: Harte, Sandler, Abdallah & Gomez (2005), table of shorthands: the degrees of all sixteen.
TEST(Vocabulary, HoldsTheSixteenPublishedShorthands) {
  const std::pair<const char*, PitchClassSet> kTable[] = {
      {"maj", set_of({0, 4, 7})},         {"min", set_of({0, 3, 7})},
      {"dim", set_of({0, 3, 6})},         {"aug", set_of({0, 4, 8})},
      {"maj7", set_of({0, 4, 7, 11})},    {"min7", set_of({0, 3, 7, 10})},
      {"7", set_of({0, 4, 7, 10})},       {"dim7", set_of({0, 3, 6, 9})},
      {"hdim7", set_of({0, 3, 6, 10})},   {"minmaj7", set_of({0, 3, 7, 11})},
      {"maj6", set_of({0, 4, 7, 9})},     {"min6", set_of({0, 3, 7, 9})},
      {"9", set_of({0, 4, 7, 10, 2})},    {"maj9", set_of({0, 4, 7, 11, 2})},
      {"min9", set_of({0, 3, 7, 10, 2})}, {"sus4", set_of({0, 5, 7})}};
  for (const auto& [name, tones] : kTable) {
    const auto found = find_quality(name);
    ASSERT_TRUE(found) << name;
    EXPECT_EQ(row(*found).tones, tones) << name;
  }
}

TEST(Vocabulary, NamesAndSymbolsAreUnique) {
  std::set<std::string_view> harte, letters, signs;
  for (const QualityRow& made : chord_vocabulary()) {
    EXPECT_TRUE(harte.insert(made.harte).second) << made.harte;
    EXPECT_TRUE(letters.insert(made.letters).second) << made.letters;
    EXPECT_TRUE(signs.insert(made.signs).second) << made.signs;
    EXPECT_TRUE((made.essential - made.tones).empty());
    EXPECT_TRUE(made.essential.contains(PitchClass(0)));
  }
}

TEST(ChordSymbol, ASuffixIsTheTextInTheTwoPartsAMusicianWrites) {
  for (const auto style : {SymbolStyle::kLetters, SymbolStyle::kSigns})
    for (std::size_t i = 0; i < chord_vocabulary().size(); ++i) {
      const QualityRow& made = chord_vocabulary()[i];
      const Suffix parts = suffix(Quality(static_cast<int>(i)), style);
      EXPECT_EQ(std::string(parts.beside) + std::string(parts.raised),
                style == SymbolStyle::kLetters ? made.letters : made.signs);
      for (const char* sign : {"°", "ø", "+", "dim", "aug"})
        EXPECT_FALSE(parts.raised.starts_with(sign)) << parts.raised;
    }
  struct {
    const char *harte, *beside, *raised, *sign, *raised_after_sign;
  } const kShown[] = {{"maj", "", "", "", ""},
                      {"min", "m", "", "-", ""},
                      {"maj7", "", "maj7", "Δ", "7"},
                      {"min7", "m", "7", "-", "7"},
                      {"hdim7", "m", "7b5", "ø", "7"},
                      {"dim7", "dim", "7", "°", "7"},
                      {"minmaj7", "m", "(maj7)", "-", "Δ7"},
                      {"aug(7)", "", "maj7#5", "+", "Δ7"},
                      {"sus4", "", "sus4", "", "sus4"},
                      {"maj6(9)", "", "6/9", "", "6/9"}};
  for (const auto& shown : kShown) {
    const Suffix letters = suffix(quality(shown.harte), SymbolStyle::kLetters);
    const Suffix signs = suffix(quality(shown.harte), SymbolStyle::kSigns);
    EXPECT_EQ(letters.beside, shown.beside) << shown.harte;
    EXPECT_EQ(letters.raised, shown.raised) << shown.harte;
    EXPECT_EQ(signs.beside, shown.sign) << shown.harte;
    EXPECT_EQ(signs.raised, shown.raised_after_sign) << shown.harte;
  }
}

TEST(ChordSymbol, NotesAreCalledAsTheChordHasThem) {
  const auto name = [](const char* harte, int pitch_class) {
    const auto chord = parse_harte(harte);
    return text(name_in(chord->chord, chord->root, PitchClass(pitch_class)));
  };
  EXPECT_EQ(name("C:min7", 3), "Eb");
  EXPECT_EQ(name("B:maj", 3), "D#");
  EXPECT_EQ(name("G:aug(b7,#9)", 10), "A#");
  EXPECT_EQ(name("E:maj/3", 8), "G#");
  EXPECT_EQ(name("C:maj/b3", 3), "Eb") << "the bass as in the symbol";
}

// Source: the grammar of Harte et al. (2005) as a regular expression (JAMS schema), with sus2 and 5 of JAMS's
// chord namespace.
TEST(ChordSymbol, EveryChordOfTheVocabularyIsHarteSyntaxAndReadsBack) {
  const std::regex grammar(
      "[A-G][b#]*((:(maj|min|dim|aug|maj7|min7|7|dim7|hdim7|minmaj7|maj6|min6|9|maj9|min9|sus4|sus2|5)"
      "(\\((\\*?([b#]*([1-9]|1[0-3]?))(,\\*?([b#]*([1-9]|1[0-3]?)))*)\\))?)|"
      "(:\\((\\*?([b#]*([1-9]|1[0-3]?))(,\\*?([b#]*([1-9]|1[0-3]?)))*)\\)))(/[b#]*([1-9]|1[0-3]?))?");
  int cases = 0;
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
    for (int r = 0; r < 12; ++r)
      for (int b = 0; b < 12; ++b) {
        const Chord chord{PitchClass(r), Quality(static_cast<int>(i)), PitchClass(b)};
        const std::string text = harte(chord, spell_within(chord.root, -5));
        EXPECT_TRUE(std::regex_match(text, grammar)) << text;
        const auto back = parse_harte(text);
        ASSERT_TRUE(back) << text;
        EXPECT_EQ(back->chord.root, chord.root) << text;
        EXPECT_EQ(back->chord.bass, chord.bass) << text;
        EXPECT_TRUE(back->exact) << text;
        EXPECT_EQ(row(back->chord.quality).tones, row(chord.quality).tones) << text;
        ++cases;
      }
  EXPECT_GE(cases, 12 * 12 * 50);
}

// Source: valid and invalid labels of mir_eval's chord tests.
TEST(ChordSymbol, ReadsAndRefusesThePublishedExamples) {
  for (const char* good :
       {"C", "Eb:min/5", "A#:dim7", "B:maj(*1,*5)/3", "A#:sus4", "A:(9,11)", "G:dim(4)/6", "Ab:aug7"})
    EXPECT_TRUE(parse_harte(good)) << good;
  for (const char* bad : {"", "N", "X", "C::maj", "C//5", "C((4)", "C5))", "C:maj(*3/3", "Cmaj*3/3)", "asdf",
                          "C(*5)", "C:", "C/", "C:maj()", "C:maj(3,)", "C:maj(x)"})
    EXPECT_FALSE(parse_harte(bad)) << bad;
}

TEST(ChordSymbol, ShowsWhatMusiciansWrite) {
  const auto show = [](const char* text, SymbolStyle style) {
    const auto parsed = *parse_harte(text);
    return symbol(parsed.chord, parsed.root, style);
  };
  EXPECT_EQ(show("Bb:min7", SymbolStyle::kLetters), "Bbm7");
  EXPECT_EQ(show("F#:hdim7", SymbolStyle::kSigns), "F#ø7");
  EXPECT_EQ(show("Db:maj9(#11)/3", SymbolStyle::kLetters), "Dbmaj9#11/F");
  EXPECT_EQ(show("C:maj/2", SymbolStyle::kLetters), "C/D");
  EXPECT_EQ(show("G:7(b9)", SymbolStyle::kLetters), "G7b9");
}

TEST(ChordSymbol, IsReadBackInLettersAndSigns) {
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
    for (int fifths = -8; fifths <= 8; ++fifths) {
      const NoteName root(fifths);
      for (const int bass : {0, 3, 7}) {
        const Chord chord{root.pitch_class(), Quality(static_cast<int>(i)),
                          transpose(root.pitch_class(), bass)};
        for (const auto style : {SymbolStyle::kLetters, SymbolStyle::kSigns}) {
          const auto read = parse_symbol(symbol(chord, root, style));
          ASSERT_TRUE(read) << symbol(chord, root, style);
          EXPECT_EQ(read->chord, chord) << symbol(chord, root, style);
          EXPECT_EQ(read->root, root);
        }
      }
    }
  for (const char* text : {"", "H", "c", "Cm77", "C/", "C/X", "C//E", "6/9", "N", "Cmaj7/"})
    EXPECT_FALSE(parse_symbol(text)) << text;
  EXPECT_EQ(parse_chord("A:min7")->chord, parse_chord("Am7")->chord);
}

// Source: available tensions and avoid notes by the whole-step rule, Nettles, Berklee harmony course; table
// worked out from that rule.
TEST(Vocabulary, TensionsAndAvoidNotesFollowTheRule) {
  struct Row {
    const char* chord;
    std::initializer_list<int> tensions;
    std::initializer_list<int> avoid;
  };
  for (const Row& want :
       {Row{"maj7", {2, 6, 9}, {1, 5, 8}}, Row{"sus4(b7)", {2, 9}, {1, 8}}, Row{"min7", {2, 5, 9}, {1, 8}},
        Row{"hdim7", {2, 5, 8}, {1}}, Row{"dim7", {2, 5, 8, 11}, {1}}, Row{"7", {2, 6, 9, 1, 3, 8}, {5}},
        Row{"aug(7)", {2, 6}, {1, 5, 9}}}) {
    for (int interval : want.tensions)
      EXPECT_EQ(role(quality(want.chord), interval), Role::kTension) << want.chord << interval;
    for (int interval : want.avoid)
      EXPECT_EQ(role(quality(want.chord), interval), Role::kAvoid) << want.chord << interval;
  }
}

std::string slash(const char* root, const char* kind, int bass) {
  const NoteName name = *parse_note_name(root);
  return symbol({name.pitch_class(), quality(kind), PitchClass(bass)}, name);
}

// Common practice, no source.
TEST(ChordSymbol, ABassThatIsNoToneOfTheChordIsNamedPlainly) {
  EXPECT_EQ(slash("F#", "maj", 0), "F#/C");
  EXPECT_EQ(slash("B", "maj", 5), "B/F");
  EXPECT_EQ(slash("Db", "maj", 2), "Db/D");
  EXPECT_EQ(slash("Db", "maj", 9), "Db/A");
  EXPECT_EQ(slash("Ab", "maj", 4), "Ab/E");
  EXPECT_EQ(slash("A", "maj", 0), "A/C");
  EXPECT_EQ(slash("C", "maj", 6), "C/F#");
  EXPECT_EQ(slash("F", "maj", 7), "F/G");
}

TEST(ChordSymbol, ABassThatIsAToneOfTheChordHasItsLetterButNeverTwoAccidentals) {
  EXPECT_EQ(slash("E", "maj", 8), "E/G#");
  EXPECT_EQ(slash("F#", "maj", 10), "F#/A#");
  EXPECT_EQ(slash("C#", "7", 5), "C#7/E#");
  EXPECT_EQ(slash("Ab", "min", 11), "Abm/Cb");
  EXPECT_EQ(slash("C", "dim7", 9), "Cdim7/A");
  EXPECT_EQ(slash("D#", "7", 7), "D#7/G");
}

TEST(ChordSymbol, NoBassHasTwoAccidentals) {
  for (int root = -7; root <= 11; ++root)
    for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
      for (int bass = 0; bass < 12; ++bass) {
        const NoteName name = bass_name(
            {NoteName(root).pitch_class(), Quality(static_cast<int>(i)), PitchClass(bass)}, NoteName(root));
        EXPECT_EQ(name.pitch_class(), PitchClass(bass));
        EXPECT_LE(text(name).size(), 2u) << text(name);
      }
}

}  // namespace
}  // namespace undersong::harmony
