// Every row of the vocabulary is read back from its MusicXML by independent rules, which were written from
// the text of the standard.
#include "daemon/song/harmony_kind.h"

#include <gtest/gtest.h>

#include <map>
#include <pugixml.hpp>
#include <set>
#include <sstream>

#include "daemon/song/lead_sheet.h"

namespace undersong::song {
namespace {

// MusicXML 4.0, kind-value: degrees as (number, semitones above the root).
const std::map<std::string, std::map<int, int>> kKinds{
    {"major", {{1, 0}, {3, 4}, {5, 7}}},
    {"minor", {{1, 0}, {3, 3}, {5, 7}}},
    {"augmented", {{1, 0}, {3, 4}, {5, 8}}},
    {"diminished", {{1, 0}, {3, 3}, {5, 6}}},
    {"dominant", {{1, 0}, {3, 4}, {5, 7}, {7, 10}}},
    {"major-seventh", {{1, 0}, {3, 4}, {5, 7}, {7, 11}}},
    {"minor-seventh", {{1, 0}, {3, 3}, {5, 7}, {7, 10}}},
    {"diminished-seventh", {{1, 0}, {3, 3}, {5, 6}, {7, 9}}},
    {"augmented-seventh", {{1, 0}, {3, 4}, {5, 8}, {7, 10}}},
    {"half-diminished", {{1, 0}, {3, 3}, {5, 6}, {7, 10}}},
    {"major-minor", {{1, 0}, {3, 3}, {5, 7}, {7, 11}}},
    {"major-sixth", {{1, 0}, {3, 4}, {5, 7}, {6, 9}}},
    {"minor-sixth", {{1, 0}, {3, 3}, {5, 7}, {6, 9}}},
    {"dominant-ninth", {{1, 0}, {3, 4}, {5, 7}, {7, 10}, {9, 14}}},
    {"major-ninth", {{1, 0}, {3, 4}, {5, 7}, {7, 11}, {9, 14}}},
    {"minor-ninth", {{1, 0}, {3, 3}, {5, 7}, {7, 10}, {9, 14}}},
    {"dominant-11th", {{1, 0}, {3, 4}, {5, 7}, {7, 10}, {9, 14}, {11, 17}}},
    {"major-11th", {{1, 0}, {3, 4}, {5, 7}, {7, 11}, {9, 14}, {11, 17}}},
    {"minor-11th", {{1, 0}, {3, 3}, {5, 7}, {7, 10}, {9, 14}, {11, 17}}},
    {"dominant-13th", {{1, 0}, {3, 4}, {5, 7}, {7, 10}, {9, 14}, {11, 17}, {13, 21}}},
    {"major-13th", {{1, 0}, {3, 4}, {5, 7}, {7, 11}, {9, 14}, {11, 17}, {13, 21}}},
    {"minor-13th", {{1, 0}, {3, 3}, {5, 7}, {7, 10}, {9, 14}, {11, 17}, {13, 21}}},
    {"suspended-second", {{1, 0}, {2, 2}, {5, 7}}},
    {"suspended-fourth", {{1, 0}, {4, 5}, {5, 7}}},
    {"power", {{1, 0}, {5, 7}}},
};
// Added degrees count from a dominant chord: major and perfect intervals, but a minor seventh.
const std::map<int, int> kAdded{{1, 0}, {2, 2},  {3, 4},  {4, 5},   {5, 7},
                                {6, 9}, {7, 10}, {9, 14}, {11, 17}, {13, 21}};

int class_of(pugi::xml_node node, const std::string& what) {
  const std::map<std::string, int> steps{{"C", 0}, {"D", 2}, {"E", 4}, {"F", 5},
                                         {"G", 7}, {"A", 9}, {"B", 11}};
  return (steps.at(node.child_value((what + "-step").c_str())) +
          node.child((what + "-alter").c_str()).text().as_int() + 24) %
         12;
}

std::set<int> tones_of(pugi::xml_node harmony) {
  std::multimap<int, int> degrees;
  for (const auto& [number, semitones] : kKinds.at(harmony.child_value("kind")))
    degrees.emplace(number, semitones);
  for (const pugi::xml_node degree : harmony.children("degree")) {
    const int number = degree.child("degree-value").text().as_int(),
              alter = degree.child("degree-alter").text().as_int();
    const std::string type = degree.child_value("degree-type");
    if (type == "add") {
      degrees.emplace(number, kAdded.at(number) + alter);
      continue;
    }
    const auto found = degrees.find(number);
    EXPECT_NE(found, degrees.end()) << type << " of a degree that is not there";
    if (found == degrees.end()) continue;
    if (type == "alter")
      found->second += alter;
    else
      degrees.erase(found);
  }
  std::set<int> out;
  for (const auto& [number, semitones] : degrees)
    out.insert((class_of(harmony.child("root"), "root") + semitones) % 12);
  return out;
}

TEST(HarmonyKind, EveryQualityOnEveryRootIsReadBackWithItsTonesAndBass) {
  int chords = 0;
  for (std::size_t i = 0; i < harmony::chord_vocabulary().size(); ++i) {
    const harmony::Quality quality(static_cast<int>(i));
    Form form;
    Part part;
    std::vector<harmony::Chord> wanted;
    for (int fifths = -6; fifths <= 6; ++fifths) {
      const harmony::NoteName root(fifths);
      for (const harmony::Degree degree : harmony::row(quality).degrees) {
        const harmony::Chord chord{root.pitch_class(), quality,
                                   transpose(root.pitch_class(), harmony::semitones(degree))};
        part.chords.push_back({chord, root, part.length, 4 * kBeat});
        wanted.push_back(chord);
        part.length += 4 * kBeat;
      }
    }
    form.parts.push_back(part);
    pugi::xml_document document;
    std::istringstream in(lead_sheet(form));
    ASSERT_TRUE(document.load(in));
    std::size_t at = 0;
    for (const auto& found : document.select_nodes("//harmony")) {
      ASSERT_LT(at, wanted.size());
      const harmony::Chord& chord = wanted[at++];
      std::set<int> tones;
      for (int interval = 0; interval < 12; ++interval)
        if (harmony::row(quality).tones.contains(PitchClass(interval)))
          tones.insert((chord.root.value() + interval) % 12);
      std::set<int> read = tones_of(found.node());
      // Players leave out the eleventh of a thirteenth chord (common practice, no source).
      const int eleventh = (chord.root.value() + 5) % 12;
      if (std::string(found.node().child_value("kind")).ends_with("13th") && !tones.contains(eleventh))
        read.erase(eleventh);
      EXPECT_EQ(read, tones) << harmony::row(quality).harte;
      EXPECT_EQ(class_of(found.node().child("root"), "root"), chord.root.value());
      const pugi::xml_node bass = found.node().child("bass");
      EXPECT_EQ(bass ? class_of(bass, "bass") : chord.root.value(), chord.bass.value())
          << harmony::row(quality).harte;
      EXPECT_EQ(found.node().child("kind").attribute("text").value(), harmony::row(quality).letters);
      ++chords;
    }
    EXPECT_EQ(at, wanted.size());
  }
  EXPECT_GT(chords, 2000);
}

// The kinds by which musicians call them: G13 and not G9 with an added 13 (MusicXML 4.0, kind-value: a
// thirteenth chord has an eleventh, which players leave out).
TEST(HarmonyKind, ThirteenthChordsAreWrittenAsThirteenths) {
  const std::map<std::string, std::string> wanted{
      {"9(13)", "dominant-13th"},           {"maj9(13)", "major-13th"}, {"9(#11,13)", "dominant-13th"},
      {"7(b9,13)", "dominant-13th"},        {"7(13)", "dominant"},      {"min9(11,13)", "minor-13th"},
      {"sus4(b7,9,13)", "suspended-fourth"}};
  std::size_t found = 0;
  for (const auto& row : harmony::chord_vocabulary())
    if (const auto kind = wanted.find(std::string(row.harte)); kind != wanted.end()) {
      EXPECT_EQ(harmony_kind(row).kind, kind->second) << row.harte;
      for (const DegreeChange& change : harmony_kind(row).degrees)
        EXPECT_FALSE(change.type == "subtract" && change.value == 11) << row.harte << " is not \"no 11\"";
      ++found;
    }
  EXPECT_EQ(found, wanted.size());
}

}  // namespace
}  // namespace undersong::song
