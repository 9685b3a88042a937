#include "daemon/server/music_wire.h"

#include <gtest/gtest.h>

#include <string>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/server/wire.h"
#include "protocol/json.h"
#include "tests/base/times.h"
#include "tests/takes/store_fixture.h"

namespace undersong::server {
namespace {

using takes::reading;

// As a client puts it together.
std::string composed(const protocol::Chord& chord, harmony::SymbolStyle style) {
  std::string out = chord.root_name;
  for (const auto& part : style == harmony::SymbolStyle::kLetters ? chord.letters : chord.signs) out += part;
  return chord.bass_name ? out + "/" + *chord.bass_name : out;
}

TEST(MusicWire, TheSymbolOfEveryChordCanBePutTogetherFromItsParts) {
  for (std::size_t i = 0; i < harmony::chord_vocabulary().size(); ++i)
    for (int root = 0; root < 12; ++root)
      for (int bass = 0; bass < 12; ++bass) {
        const harmony::Chord chord{PitchClass(root), harmony::Quality(static_cast<int>(i)), PitchClass(bass)};
        const auto name = harmony::spell_within(chord.root, -5);
        const protocol::Chord parts = chord_parts(chord, name);
        for (const auto style : {harmony::SymbolStyle::kLetters, harmony::SymbolStyle::kSigns})
          ASSERT_EQ(composed(parts, style), harmony::symbol(chord, name, style));
        ASSERT_EQ(parts.bass.has_value(), bass != root);
        ASSERT_EQ(parts.harte, harmony::harte(chord, name));
        const auto again = chord_named(parts.harte);
        ASSERT_TRUE(again);
        ASSERT_EQ(protocol::to_json(*again), protocol::to_json(parts));
      }
  EXPECT_EQ(chord_named("Cm7/Bb")->harte, "C:min7/b7");
  EXPECT_FALSE(chord_named("N"));
  EXPECT_FALSE(chord_named(""));
}

// Lines as older versions kept them, with a rendered symbol or the Harte text alone.
TEST(MusicWire, LinesOfBeforeReadAsLinesOfNow) {
  struct {
    takes::LineKind kind;
    std::string before;
    takes::Entry now;
  } const kLines[] = {
      {takes::LineKind::kChord,
       R"({"symbol":"Bm7b5/D","harte":"B:hdim7/b3","root":11,"quality":"hdim7","family":"half_diminished","bass":2,"confidence":8.13E-1})",
       takes::chord_in_force(
           us(1), {{PitchClass(11), harmony::quality("hdim7"), PitchClass(2)}, harmony::NoteName(5), .813f})},
      {takes::LineKind::kTried, R"({"list":12,"harte":"Db:9","place":3})",
       [] {
         harmony::Alternative alternative;
         alternative.chord = {PitchClass(1), harmony::quality("9"), PitchClass(1)};
         alternative.root_name = harmony::NoteName(-5);
         return takes::alternative_tried(us(1), 12, alternative, 3);
       }()},
      {takes::LineKind::kMeeting,
       R"({"pitch":79,"name":"G5","degree":"#11","symbol":"Dbmaj7","harte":"Db:maj7","root":1,"family":"major","bass":1,"length_us":1180000,"time":2,"key":"F:min"})",
       [] {
         listen::Meeting met;
         met.at = us(1);
         met.length = us(1'180'000);
         met.pitch = Pitch(79);
         met.name = harmony::NoteName(1);
         met.degree = {11, 1};
         met.chord = {{PitchClass(1), harmony::quality("maj7"), PitchClass(1)}, harmony::NoteName(-5), 1};
         met.key = harmony::Key{PitchClass(5), harmony::Mode::kMinor};
         met.time = 2;
         return takes::meeting(met);
       }()}};
  for (const auto& line : kLines) {
    EXPECT_EQ(line.now.data.find("symbol"), std::string::npos);
    const auto message = [&](const std::string& data) {
      return *log_message(takes::Line{7, 1, us(1), line.kind, data});
    };
    EXPECT_EQ(message(line.before), message(line.now.data));
    const auto read = protocol::read_text<protocol::Log>(params_of(message(line.before)), "log",
                                                         protocol::Unknown::kRefuse);
    EXPECT_TRUE(read) << read.error().sentence;
    // Search knows the same of both.
    EXPECT_EQ(takes::facts_of(line.kind, line.before).index(),
              takes::facts_of(line.kind, line.now.data).index());
  }
  const auto before = take_chord(9, kLines[0].before), now = take_chord(9, kLines[0].now.data);
  EXPECT_EQ(protocol::to_json(before), protocol::to_json(now));
  EXPECT_EQ(composed(now, harmony::SymbolStyle::kSigns), "Bø7/D");
  EXPECT_EQ(now.at, 9);
}

TEST(MusicWire, ADamagedLineGoesOutAsItWasKept) {
  EXPECT_EQ(logged_chord("{"), "{");
  EXPECT_EQ(logged_trial(R"({"harte":5})"), R"({"harte":5})");
  EXPECT_EQ(take_chord(3, "").harte, "");
  // A chord that nobody can name is still told by its text.
  EXPECT_EQ(
      protocol::read_text<protocol::LoggedTrial>(logged_trial(R"({"list":1,"harte":"X","place":0})"), "")
          ->harte,
      "X");
}

TEST(MusicWire, ColourComesInAWordForEachNumber) {
  EXPECT_EQ(colour_words(-.3f, .7f), (std::vector<std::string>{"dark", "leaning"}));
}

}  // namespace
}  // namespace undersong::server
