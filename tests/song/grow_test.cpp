// Contrasting sections: for every kind of loop in every key they can be written, differ, and lead in and
// back.
#include "daemon/song/grow.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <map>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/chord_line.h"
#include "daemon/song/sketch_grow.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

std::vector<WrittenChord> loop_of(const std::vector<std::string>& chords, int up, int meter) {
  std::vector<WrittenChord> out;
  for (const std::string& text : chords) {
    const auto parsed = harmony::parse_chord(text);
    EXPECT_TRUE(parsed) << text;
    harmony::Chord chord = parsed->chord;
    chord.root = transpose(chord.root, up), chord.bass = transpose(chord.bass, up);
    const Ticks bar = meter * kBeat;
    out.push_back({chord, harmony::spell_within(chord.root, -5), static_cast<int>(out.size()) * bar, bar});
  }
  return out;
}

int kind_of_chord(const harmony::Chord& chord) {
  using harmony::Family;
  const Family family = harmony::row(chord.quality).family;
  const bool diminished = family == Family::kDiminished || family == Family::kHalfDiminished;
  return chord.root.value() * 3 + (family == Family::kMinor ? 1 : diminished ? 2 : 0);
}
std::size_t grown_differences(const GrownSection& a, const GrownSection& b) {
  std::size_t out = 0;
  for (std::size_t i = 0; i < a.chords.size(); ++i)
    out += kind_of_chord(a.chords[i].chord) != kind_of_chord(b.chords[i].chord);
  return out;
}

void expect_contrasts(const std::vector<WrittenChord>& loop, harmony::Key key, int meter) {
  const Growth growth = grow(loop, key, meter);
  ASSERT_EQ(growth.sections.size(), kGrownBridges + kGrownInterludes);
  EXPECT_TRUE(growth.exact);
  for (std::size_t i = 0; i < growth.sections.size(); ++i) {
    const GrownSection& made = growth.sections[i];
    SCOPED_TRACE(made.reason + ": " + chord_line_of(made.chords));
    EXPECT_EQ(made.bridge, i < kGrownBridges);
    ASSERT_EQ(made.chords.size(), static_cast<std::size_t>(made.bridge ? kBridgeBars : kInterludeBars));
    EXPECT_NE(made.reason.find("the way in: "), std::string::npos);
    EXPECT_NE(made.reason.find("the way back: "), std::string::npos);
    const int in = ascending(loop.back().chord.root, made.chords.front().chord.root),
              back = ascending(made.chords.back().chord.root, loop.front().chord.root);
    EXPECT_TRUE(in == 5 || in == 1 || in == 2 || in == 10 || in == 11 || in == 3 || in == 4 || in == 8 ||
                in == 9);
    EXPECT_TRUE(back == 5 || back == 11);
    if (made.bridge) {
      EXPECT_NE(made.key, key);
      EXPECT_EQ(made.chords[2].chord.root, made.key.tonic);
    } else {
      EXPECT_EQ(made.key.tonic, key.tonic);
    }
    if (made.pedal) {
      for (std::size_t bar = 0; bar + 1 < made.chords.size(); ++bar)
        EXPECT_EQ(made.chords[bar].chord.bass, *made.pedal);
    }
    for (const WrittenChord& chord : made.chords)
      EXPECT_LE(std::count_if(made.chords.begin(), made.chords.end(),
                              [&](const auto& other) {
                                return kind_of_chord(other.chord) == kind_of_chord(chord.chord);
                              }),
                made.bridge ? 3 : 2)
          << "the way back may repeat a chord once more";
    for (std::size_t k = i + 1; k < growth.sections.size(); ++k)
      if (growth.sections[k].bridge == made.bridge) {
        EXPECT_GE(grown_differences(made, growth.sections[k]), made.chords.size() / 2) << k;
        EXPECT_TRUE(growth.sections[k].key != made.key || growth.sections[k].pedal != made.pedal ||
                    growth.sections[k].reason != made.reason);
      }
    // What is written is what was meant.
    const auto line = read_chord_line(chord_line_of(made.chords), meter);
    ASSERT_TRUE(line) << line.error().message;
    ASSERT_EQ(line->chords.size(), made.chords.size());
    for (std::size_t bar = 0; bar < made.chords.size(); ++bar) {
      EXPECT_EQ(line->chords[bar].chord, made.chords[bar].chord);
      EXPECT_EQ(line->chords[bar].at, made.chords[bar].at);
    }
  }
}

TEST(Grow, EightContrastsForLoopsInAllKeys) {
  struct Loop {
    std::vector<std::string> chords;
    harmony::Key key;
  };
  const harmony::Key c{PitchClass(0), harmony::Mode::kMajor}, c_minor{PitchClass(0), harmony::Mode::kMinor};
  const std::vector<Loop> loops{{{"Cmaj7", "Am7", "Dm7", "G7"}, c},
                                {{"C", "G", "Am", "F"}, c},
                                {{"Dm9", "G13", "Cmaj9"}, c},
                                {{"C7", "F7", "C7", "G7"}, c},
                                {{"Cm7", "Ab", "Eb", "Bb"}, c_minor},
                                {{"Cm9", "F7"}, c_minor},
                                {{"Ebmaj9", "Cm7", "Abmaj7", "G7sus4"}, c_minor},
                                {{"Cm", "Fm", "Dm7b5", "G7b9"}, c_minor},
                                {{"C5"}, c},
                                {{"Cm11"}, c_minor}};
  for (const Loop& loop : loops)
    for (int up = 0; up < 12; ++up) {
      const int meter = up % 3 == 1 ? 3 : 4;
      const harmony::Key key{transpose(loop.key.tonic, up), loop.key.mode};
      SCOPED_TRACE(loop.chords.front() + " up " + std::to_string(up));
      expect_contrasts(loop_of(loop.chords, up, meter), key, meter);
    }
}

TEST(Grow, TheKeyMovesWithTheLoop) {
  const auto lines = [](int up) {
    const harmony::Key key{PitchClass(up), harmony::Mode::kMajor};
    std::vector<int> out;
    for (const auto& made : grow(loop_of({"Cmaj7", "Am7", "Dm7", "G7"}, up, 4), key, 4).sections)
      out.push_back(ascending(PitchClass(up), made.key.tonic));
    return out;
  };
  const auto home = lines(0);
  EXPECT_EQ(std::vector<int>(home.begin(), home.begin() + 4), (std::vector<int>{5, 4, 8, 7}))
      << "A minor is no contrast: the loop has its tonic chord and none of its notes is outside";
  for (int up = 1; up < 12; ++up) EXPECT_EQ(lines(up), home) << up;
}

TEST(Grow, EveryProposalCanBeWrittenIntoTheSketchWhichKeepsItsComments) {
  const std::string text =
      "title = \"Rounds\"\n\n[[section]]\nname = \"Verse\"\nkind = \"verse\"\nsource = \"demo.mid\"\nlabel = "
      "\"A\"\n"
      "ends = \"to coda\"\n\n# the middle\n[[section]]\nname = \"Solo\"\nkind = \"solo\"\nsource = "
      "\"demo.mid\"\nlabel = "
      "\"C\"\nends = \"D.C. al coda\"\n\n[[section]]\nname = \"End\"\nkind = \"ending\"\nsource = "
      "\"demo.mid\"\n"
      "begins = \"coda\"\n";
  const auto sketch = read_sketch(text, "song.toml");
  ASSERT_TRUE(sketch) << sketch.error().message;
  const auto grown = grow_sketch(*sketch, from_configs);
  ASSERT_TRUE(grown) << grown.error().message;
  EXPECT_EQ(grown->from, 0u);
  ASSERT_EQ(grown->sections.size(), 8u);
  for (std::size_t i = 0; i < 8; ++i) {
    const auto now = grown_text(text, "song.toml", *sketch, *grown, i, from_configs);
    ASSERT_TRUE(now) << now.error().message;
    EXPECT_EQ(now->find(text.substr(0, text.find("\n# the middle"))), 0u);
    EXPECT_TRUE(now->ends_with(text.substr(text.find("\n# the middle")))) << *now;
    const auto read = read_sketch(*now, "song.toml");
    ASSERT_TRUE(read) << read.error().message;
    ASSERT_EQ(read->sections.size(), 5u);
    EXPECT_EQ(read->sections[1].kind, i < 4 ? SketchKind::kBridge : SketchKind::kInterlude);
    EXPECT_EQ(read->sections[2].name, "Verse again");
    const auto form = form_of_sketch(*read, from_configs);
    ASSERT_TRUE(form) << form.error().message;
    const Part& part = form->parts[1];
    EXPECT_TRUE(part.melody.empty());
    EXPECT_EQ(part.length, (i < 4 ? kBridgeBars : kInterludeBars) * 4 * kBeat);
    EXPECT_EQ(harmony::signature(grown->growth.sections[i].key), key_of(*form, part).signature);
    EXPECT_EQ(key_of(*form, form->parts[2]).signature, form->signature);
    for (std::size_t bar = 0; bar < part.chords.size(); ++bar)
      EXPECT_EQ(part.chords[bar].chord, grown->growth.sections[i].chords[bar].chord);
  }
  EXPECT_EQ(grown_text(text, "song.toml", *sketch, *grown, 8, from_configs).error().message,
            "there is no proposal 9; there are 8");
  EXPECT_EQ(grow_sketch(*sketch, from_configs, 3).error().message, "there is no section 4; there are 3");
  // From the last section, at the end of the text.
  const auto last = grow_sketch(*sketch, from_configs, 2);
  ASSERT_TRUE(last) << last.error().message;
  const auto now = grown_text(text, "song.toml", *sketch, *last, 0, from_configs);
  ASSERT_TRUE(now) << now.error().message;
  EXPECT_EQ(now->find(text), 0u);
}

}  // namespace
}  // namespace undersong::song
