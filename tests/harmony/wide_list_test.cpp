// The list stays wide and musical at any point of a take: roots, families, functions, notes to avoid.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// What an analysis remembers of a take, and the list under a melody note.
class Take {
 public:
  void chord(const Chord& chord, Pitch melody) {
    if (std::any_of(settled_.begin(), settled_.end(),
                    [&](const Chord& other) { return is_played_as(chord, other); }))
      liked_.add(chord);
    if (settled_.full()) settled_.pop_back();
    settled_.insert(0, chord);
    const PitchClass under = melody.pitch_class();
    memory_.add(chord, under, PitchClassSet(1u << under.value()));
    tried_[static_cast<std::size_t>(under.value())].add(chord);
  }
  Question question(const MelodyPitches& melody, std::optional<Key> key) const {
    Question out;
    out.melody = melody;
    out.key = key;
    if (!settled_.empty()) {
      out.previous = settled_[0];
      for (std::size_t i = 1; i < settled_.size(); ++i) out.earlier.push_back(settled_[i]);
    }
    out.liked = liked_;
    out.tried = tried_[static_cast<std::size_t>(melody[0].pitch_class().value())];
    out.take = &memory_;
    return out;
  }

 private:
  std::array<Tried, 12> tried_;
  Liked liked_;
  TakeMemory memory_;
  FixedVector<Chord, kChordsBefore> settled_;
};

std::string printed(const Alternatives& list) {
  std::string out;
  for (std::size_t i = 0; i < 12; ++i) out += symbol(list[i].chord, list[i].root_name) + ' ';
  return out;
}

void expect_wide(const Question& question) {
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  std::map<int, int> on_root;
  for (std::size_t i = 0; i < 12; ++i) ++on_root[list[i].chord.root.value()];
  ASSERT_GE(on_root.size(), 10u) << printed(list);
  for (const auto& [root, times] : on_root) ASSERT_LE(times, 2) << printed(list);
}

Chord chord_from(std::string_view text) {
  const auto read = parse_chord(text);
  EXPECT_TRUE(read) << text;
  return read ? read->chord : Chord{};
}

TEST(WideList, ALoopThatGoesOnLeavesTheFirstDozenWide) {
  const Key c{PitchClass(0), Mode::kMajor};
  Take take;
  for (int round = 1; round <= 12; ++round) {
    for (const char* name : {"C", "Am", "F", "G"}) take.chord(chord_from(name), Pitch(72));
    expect_wide(take.question({Pitch(72)}, c));
  }
}

TEST(WideList, AtAnyPointOfAnyTakeTheFirstDozenHoldsTenRoots) {
  std::mt19937 engine(7);
  const auto upto = [&](int most) { return static_cast<int>(engine() % static_cast<unsigned>(most + 1)); };
  const std::vector<const char*> kKinds{"maj",  "min", "7",    "maj7", "min7",
                                        "sus4", "9",   "maj9", "min9", "dim7"};
  for (int piece = 0; piece < 60; ++piece) {
    const Key key{PitchClass(upto(11)), upto(1) ? Mode::kMajor : Mode::kMinor};
    const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(key));
    std::vector<std::pair<Chord, Pitch>> loop;
    for (int i = 2 + upto(4); i > 0; --i) {
      PitchClass root(upto(11));
      while (upto(5) > 0 && !scale.contains(root)) root = PitchClass(upto(11));
      loop.push_back(
          {{root, quality(kKinds[static_cast<std::size_t>(upto(9))]), upto(4) ? root : transpose(root, 7)},
           Pitch(60 + upto(23))});
    }
    Take take;
    const bool one_note = upto(2) == 0;  // the same note on top throughout
    for (int round = 0; round <= 12; ++round)
      for (const auto& [chord, melody] : loop) {
        const Pitch top = one_note ? loop[0].second : melody;
        if (round > 0) take.chord(chord, top);
        MelodyPitches held{top};
        if (upto(2) == 0) held.push_back(Pitch(60 + upto(23)));
        expect_wide(take.question(held, upto(3) ? std::optional(key) : std::nullopt));
      }
  }
}

TEST(WideList, AHeldNoteIsAChordToneOrATension) {
  Alternatives list;
  for (int tonic = -1; tonic < 12; tonic += 3)
    for (int top = 60; top < 72; ++top)
      for (int below = 0; below < 12; ++below)
        for (const char* before : {"", "C", "F#m7"}) {
          Question question;
          question.melody = {Pitch(top)};
          if (below > 0) question.melody.push_back(Pitch(top - below));
          if (tonic >= 0) question.key = Key{PitchClass(tonic), Mode::kMajor};
          if (*before) question.previous = chord_from(before);
          rank_alternatives(question, nullptr, list);
          for (const Alternative& offered : list)
            for (const Pitch note : question.melody) {
              const int interval = ascending(offered.chord.root, note.pitch_class());
              ASSERT_TRUE(note.pitch_class() == offered.chord.bass ||
                          role(offered.chord.quality, interval) != Role::kAvoid)
                  << symbol(offered.chord, offered.root_name) << " under " << top << " and " << top - below;
              // A third under a suspended fourth.
              ASSERT_FALSE(interval == 4 && row(offered.chord.quality).family == Family::kSuspended &&
                           row(offered.chord.quality).tones.contains(PitchClass(5)));
            }
        }
}

TEST(WideList, NoRootAndFamilyCrowdsIt) {
  std::mt19937 engine(8);
  Alternatives list;
  for (int round = 0; round < 1500; ++round) {
    Question question;
    question.melody = {Pitch(60 + static_cast<int>(engine() % 24))};
    if (engine() % 3) question.key = Key{PitchClass(static_cast<int>(engine() % 12)), Mode::kMajor};
    for (unsigned i = engine() % 4; i > 0; --i) {
      const PitchClass root(static_cast<int>(engine() % 12));
      const Chord chord{root, Quality(static_cast<int>(engine() % chord_vocabulary().size())), root};
      if (question.previous)
        question.earlier.push_back(chord);
      else
        question.previous = chord;
    }
    rank_alternatives(question, nullptr, list);
    std::map<std::pair<int, Family>, int> in_all;
    int in_a_row = 0;
    for (std::size_t i = 0; i < list.size(); ++i) {
      const auto kin = [&](std::size_t at) {
        return std::pair(list[at].chord.root.value(), row(list[at].chord.quality).family);
      };
      in_a_row = i > 0 && kin(i) == kin(i - 1) ? in_a_row + 1 : 1;
      EXPECT_LE(in_a_row, 3) << symbol(list[i].chord, list[i].root_name);
      EXPECT_LE(++in_all[kin(i)], 6) << symbol(list[i].chord, list[i].root_name);
    }
  }
}

// Chords that a composer would miss. Common practice, no source.
struct Case {
  const char* key;
  std::vector<int> held;
  std::vector<const char*> before;  // the newest last
  std::vector<const char*> wanted;
};

int missing(const std::vector<Case>& cases, std::string& which) {
  int out = 0;
  for (const Case& each : cases) {
    Question question;
    for (const int note : each.held) question.melody.push_back(Pitch(note));
    if (*each.key) question.key = parse_key(each.key);
    for (std::size_t i = each.before.size(); i-- > 0;)
      if (question.previous)
        question.earlier.push_back(chord_from(each.before[i]));
      else
        question.previous = chord_from(each.before[i]);
    Alternatives list;
    rank_alternatives(question, nullptr, list);
    for (const char* wanted : each.wanted) {
      if (std::any_of(list.begin(), list.end(),
                      [&](const Alternative& offered) { return offered.chord == chord_from(wanted); }))
        continue;
      ++out;
      which += std::string(wanted) + " in " + each.key + "; ";
    }
  }
  return out;
}

TEST(WideList, FunctionsOfThePlaceAreThere) {
  std::string which;
  EXPECT_EQ(missing({{"C", {76}, {"C", "Am", "F", "G"}, {"Dm9", "A7", "E7", "F#m7b5"}},
                     {"C", {78}, {"C"}, {"Cmaj7#11", "Am6", "Em9", "D/C"}},
                     {"Eb", {74}, {"Eb"}, {"F9sus4", "Cm9", "Fm13"}},
                     {"Eb", {67}, {"Eb"}, {"Fm9", "C7"}},
                     {"C", {67}, {"C"}, {"Am7", "Fmaj9"}}},
                    which),
            0)
      << which;
}

// Of twenty more places, in as many keys as there are, the list holds more than six in seven of the chords
// that were written down for them by hand. What it lacks are mostly bare triads whose seventh chord it has.
TEST(WideList, AtOtherPlacesTheFunctionsAreMostlyThere) {
  std::string which;
  const std::vector<Case> cases{
      {"G", {71}, {"G", "Em", "C", "D"}, {"Em7", "B7", "Am9", "Cmaj7", "E7"}},
      {"C", {68}, {"C", "Am", "F"}, {"Fm", "Bb7", "Fm6", "Abmaj7", "Dm7b5"}},
      {"G", {74}, {"G", "C", "Am7"}, {"D7", "G", "Bm7", "Em7"}},
      {"Ab", {73}, {"Fm", "Ab"}, {"Dbmaj7", "Bbm7", "Gm7b5", "Ebm7"}},
      {"F", {69}, {"F"}, {"Dm7", "Bbmaj7", "Gm9", "A7", "F"}},
      {"C", {69, 72}, {"C", "G"}, {"Am7", "Fmaj7", "D7", "Dm7"}},
      {"C", {71}, {"C", "F"}, {"G7", "Em7", "Cmaj7", "Am9", "E7"}},
      {"", {72}, {"F"}, {"F7", "Am7", "Dm7", "Bbmaj9"}},
      {"Bb", {70}, {"Bbmaj7", "Gm7", "Cm7", "F7"}, {"Bb7", "Gm7", "Ebmaj7", "C7"}},
      {"D", {78}, {"D", "A", "Bm", "G"}, {"D", "F#m7", "Bm7", "Em9", "Gmaj7"}},
      {"Ab", {72}, {"Ab", "Fm", "Db", "Eb"}, {"Fm7", "Abmaj7", "F7", "Bbm9", "C7"}},
      {"A", {76}, {"A", "F#m", "D"}, {"A", "C#m7", "F#m7", "E7", "Dmaj9"}},
      {"F", {79}, {"F", "Dm"}, {"Gm7", "C7", "Am7", "Fmaj9", "Bb6"}},
      {"Bb", {75}, {"Bbmaj7", "Cm7"}, {"F7", "Ebmaj7", "Am7b5", "Cm7b5", "Bb7sus4"}},
      {"B", {70}, {"B", "F#"}, {"Bmaj7", "F#", "G#m9", "D#m7"}},
      {"C", {74}, {"C", "Em", "F"}, {"G7", "Dm7", "Bm7b5", "Cmaj9", "Fm6"}},
      {"G", {71, 74}, {"G", "Em"}, {"G", "Em7", "Bm7", "E7"}},
      {"C", {77}, {}, {"Dm7", "G7", "Fmaj7", "Bbmaj9"}},
      {"E", {78}, {"E", "C#m", "A", "B"}, {"F#m7", "B7", "Amaj13", "C#m11", "G#m7"}},
      {"Db", {78}, {"Bbm", "Gb"}, {"Gbmaj7", "Ebm7", "Cm7b5", "F7b9"}}};
  std::size_t wanted = 0;
  for (const Case& each : cases) wanted += each.wanted.size();
  EXPECT_EQ(wanted, 91u);
  EXPECT_LE(missing(cases, which), 12) << which;
}

}  // namespace
}  // namespace undersong::harmony
