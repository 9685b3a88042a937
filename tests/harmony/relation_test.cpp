#include "daemon/harmony/relation.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::harmony {
namespace {

struct Case {
  const char* before;  // newest last
  const char* next;
  bool in_c;  // true: in C major; false: without a key
  Relation want;
};

// Common practice, no source. Each case is tested in all twelve keys.
constexpr Case kCases[] = {
    {"D:min7", "G:7", true, Relation::kFallingFifth},
    {"G:7", "C:maj7", true, Relation::kFallingFifth},
    {"E:hdim7", "A:7(b9)", true, Relation::kFallingFifth},
    {"G:7", "A:min", true, Relation::kDeceptive},
    {"G:7(b9)", "A:min7", true, Relation::kDeceptive},
    {"G:7", "Ab:maj7", true, Relation::kDeceptive},
    {"G:7", "A:min", false, Relation::kDeceptive},
    {"C:7", "D:min7", true, Relation::kStep},  // C7 is not the dominant of C
    {"G:7", "A:7", true, Relation::kStep},     // a major chord a whole step above is not deceptive
    {"G:7", "Db:7", true, Relation::kTritoneSubstitute},
    {"D:min7", "Db:7", true, Relation::kTritoneSubstitute},
    {"D:hdim7", "Db:9(#11)", true, Relation::kTritoneSubstitute},
    {"Db:7", "C:maj7", true, Relation::kSubstituteResolves},
    {"C:maj", "A:min", true, Relation::kRelative},
    {"A:min7", "C:maj7", true, Relation::kRelative},
    {"A:min", "F:maj", true, Relation::kMediant},
    {"C:maj", "A:maj", true, Relation::kMediant},
    {"C:maj", "Ab:maj", true, Relation::kMediant},
    {"C:maj", "E:min", true, Relation::kMediant},
    {"C:maj", "Eb:maj", true, Relation::kMediant},
    {"C:maj7", "C:min7", true, Relation::kParallel},
    {"F:min6", "F:maj6", false, Relation::kParallel},
    {"C:maj", "C:7", true, Relation::kSameRoot},
    {"C:maj", "C:sus4", true, Relation::kSameRoot},
    {"C#:dim7", "D:min7", true, Relation::kChromaticApproach},
    {"Eb:maj7", "D:min7", true, Relation::kChromaticApproach},
    {"F:min7", "Bb:7", true, Relation::kBackdoor},
    {"Bb:7", "C:maj7", true, Relation::kBackdoor},
    {"Bb:7", "C:maj7", false, Relation::kStep},  // without a key, C is not known to be the tonic
    {"F:min7", "Bb:7", false, Relation::kFallingFifth},
    {"Bb:maj7", "C:maj7", true, Relation::kStep},
    {"C:maj/5", "G:7", true, Relation::kPedalPoint},
    {"F:maj/5", "C:maj", true, Relation::kPedalPoint},
    {"F:maj", "C:maj", true, Relation::kRisingFifth},
    {"C:maj", "F#:hdim7", true, Relation::kTritone},
    {"C:maj", "D:min", true, Relation::kStep},
};

TEST(Relation, EveryWordOfTheTradeInEveryKey) {
  for (const Case& c : kCases)
    for (int up = 0; up < 12; ++up) {
      const auto moved = [&](const char* text) {
        Chord chord = parse_harte(text)->chord;
        return Chord{transpose(chord.root, up), chord.quality, transpose(chord.bass, up)};
      };
      const auto key = c.in_c ? std::optional(Key{PitchClass(up), Mode::kMajor}) : std::nullopt;
      EXPECT_EQ(text(relation({moved(c.before)}, moved(c.next), key)), text(c.want))
          << c.before << " " << c.next << " up " << up;
    }
}

TEST(Relation, NothingBeforeHasNoName) {
  EXPECT_EQ(relation({}, {PitchClass(0), Quality(0), PitchClass(0)}, std::nullopt), Relation::kNone);
  EXPECT_EQ(text(Relation::kNone), "");
}

}  // namespace
}  // namespace undersong::harmony
