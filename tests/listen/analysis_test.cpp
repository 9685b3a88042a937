#include "daemon/listen/analysis.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "tests/base/times.h"

namespace undersong::listen {
namespace {

using midi::control_change;
using midi::Event;
using midi::note_off;
using midi::note_on;

std::string name(const Analysis& analysis) {
  const auto& harmony = analysis.moment().harmony;
  return harmony ? harmony::harte(harmony->reading.chord, harmony->reading.root_name) : "N";
}

// A chord under a melody note, with the small delays of real fingers.
std::vector<Event> chord(int at, std::initializer_list<int> keys, int length) {
  std::vector<Event> out;
  int offset = 0;
  for (int key : keys) out.push_back(note_on(ms(at + 3 * offset++), 0, Pitch(key), Velocity(70)));
  offset = 0;
  for (int key : keys) out.push_back(note_off(ms(at + length + offset++), 0, Pitch(key)));
  return out;
}

std::vector<Event> sorted(std::vector<Event> events) {
  std::stable_sort(events.begin(), events.end(), [](const Event& a, const Event& b) { return a.at < b.at; });
  return events;
}

std::vector<Event> cadence() {
  std::vector<Event> out;
  for (int round = 0; round < 3; ++round)
    for (const auto& part : {chord(round * 4000 + 0, {38, 53, 57, 60, 77}, 900),
                             chord(round * 4000 + 1000, {43, 53, 59, 74}, 900),
                             chord(round * 4000 + 2000, {36, 52, 55, 59, 76}, 1900)})
      out.insert(out.end(), part.begin(), part.end());
  return sorted(out);
}

void play(Analysis& analysis, const std::vector<Event>& events) {
  for (const Event& event : events) drive(analysis, event, [](const Analysis&) {});
}

TEST(Analysis, NamesABlockChordOnItsLastNote) {
  Analysis analysis;
  for (const Event& event : cadence()) {
    drive(analysis, event, [](const Analysis&) {});
    if (event == note_on(ms(9), 0, Pitch(60), Velocity(70))) {
      EXPECT_EQ(name(analysis), "D:min7");
    }
  }
  EXPECT_EQ(name(analysis), "C:maj7");
  ASSERT_TRUE(analysis.moment().key);
  EXPECT_EQ(harmony::harte(analysis.moment().key->key), "C:maj");
}

TEST(Analysis, TheHeldNoteAndItsDegreeAreShown) {
  Analysis analysis;
  auto events = chord(0, {36, 52, 55, 59, 74}, 3000);
  play(analysis, {events.begin(), events.begin() + 5});
  drive(analysis, ms(200), [](const Analysis&) {});
  const auto& melody = analysis.moment().melody;
  ASSERT_FALSE(melody.empty());
  EXPECT_EQ(melody[0].pitch.value(), 74);
  EXPECT_TRUE(melody[0].held);
  EXPECT_EQ(text(melody[0].degree), "9");
  EXPECT_GE(analysis.moment().alternatives.size(), 24u);
}

TEST(Analysis, OnlyTheTimesOfEventsMatterNotWhenOneLooks) {
  // A second analysis is asked for its deadlines early and often, as a live daemon would do.
  Analysis file, live;
  std::vector<std::string> told_file, told_live;
  const auto tell = [](std::vector<std::string>& out) {
    return [&out](const Analysis& a) {
      const Moment& m = a.moment();
      std::string line = std::to_string(m.at.count()) + " " + std::to_string(m.number) + " " + name(a) + " " +
                         std::to_string(m.alternatives_number);
      for (const auto& note : m.melody) line += " " + std::to_string(note.pitch.value());
      out.push_back(line);
    };
  };
  Micros last{};
  for (const Event& event : cadence()) {
    drive(file, event, tell(told_file));
    for (Micros t = last; t < event.at; t += Micros(7'000)) drive(live, t, tell(told_live));
    drive(live, event, tell(told_live));
    last = event.at;
  }
  drive(file, last + ms(5000), tell(told_file));
  for (Micros t = last; t <= last + ms(5000); t += Micros(7'000)) drive(live, t, tell(told_live));
  EXPECT_EQ(told_file, told_live);
  EXPECT_GT(told_file.size(), 40u);
}

TEST(Analysis, HearsTheSameWheneverTheStreamBegins) {
  Analysis early, late;
  const Micros shift = std::chrono::hours(900);
  for (Event event : cadence()) {
    std::vector<std::string> told[2];
    drive(early, event,
          [&](const Analysis& a) { told[0].push_back(std::to_string(a.moment().at.count()) + name(a)); });
    event.at += shift;
    drive(late, event, [&](const Analysis& a) {
      told[1].push_back(std::to_string((a.moment().at - shift).count()) + name(a));
    });
    EXPECT_EQ(told[0], told[1]);
  }
}

TEST(Analysis, TheListKeepsStillWhileNeitherMelodyNorChordChanges) {
  Analysis analysis;
  auto events = chord(0, {36, 52, 55, 59, 74}, 3000);
  play(analysis, {events.begin(), events.begin() + 5});
  drive(analysis, ms(1000), [](const Analysis&) {});
  const auto number = analysis.moment().alternatives_number;
  const auto chord_before = name(analysis);
  play(analysis, {note_on(ms(1200), 0, Pitch(48), Velocity(50)), note_off(ms(1300), 0, Pitch(48))});
  EXPECT_EQ(name(analysis), chord_before);
  EXPECT_EQ(analysis.moment().alternatives_number, number);
}

TEST(Analysis, HeldStillTheListStaysUntilLetGo) {
  Analysis analysis;
  play(analysis, cadence());
  const auto number = analysis.moment().alternatives_number;
  EXPECT_TRUE(analysis.hold_still(ms(13000), true));
  play(analysis, chord(14000, {41, 57, 60, 64, 79}, 500));
  EXPECT_EQ(analysis.moment().alternatives_number, number);
  EXPECT_TRUE(analysis.moment().still);
  EXPECT_TRUE(analysis.hold_still(ms(15000), false));
  EXPECT_NE(analysis.moment().alternatives_number, number);
}

TEST(Analysis, AWishReordersTheListAtOnce) {
  Analysis analysis;
  play(analysis, cadence());
  const auto first = analysis.moment().alternatives[0].chord;
  EXPECT_TRUE(analysis.set_wishes(ms(13000), {-1, 1, 1}));
  EXPECT_NE(analysis.moment().alternatives[0].chord, first);
  EXPECT_FALSE(analysis.set_wishes(ms(13000), {-1, 1, 1}));
}

TEST(Analysis, AnOfferedChordThatIsPlayedUnderTheHeldNoteCountsAsTried) {
  Analysis analysis;
  std::vector<Event> events = chord(0, {36, 52, 55, 59}, 900);
  events.push_back(note_on(ms(12), 0, Pitch(76), Velocity(90)));  // held on top from here on
  for (const Event& event : chord(1500, {45, 55, 60}, 900)) events.push_back(event);
  bool tried = false;
  const auto look = [&](const Analysis& a) {
    if (!a.findings().tried) return;
    tried = true;
    EXPECT_EQ(a.findings().tried->alternative.chord.root.value(), 9);
  };
  for (const Event& event : sorted(events)) drive(analysis, event, look);
  EXPECT_TRUE(tried);
  // Another chord under the same note, while the tried ones are remembered.
  play(analysis, chord(3000, {41, 53, 57}, 900));
  const auto& list = analysis.moment().alternatives;
  EXPECT_TRUE(std::any_of(list.begin(), list.end(), [](const auto& offered) { return offered.tried; }));
}

TEST(Analysis, AMarkedChordIsLikedUntilTheTakeEnds) {
  const auto liked = [](const Analysis& a) {
    const auto& list = a.moment().alternatives;
    return std::any_of(list.begin(), list.end(),
                       [](const auto& offered) { return offered.reason.liked > 0; });
  };
  Analysis analysis;
  play(analysis, chord(0, {36, 52, 55, 59, 74}, 3000));
  analysis.mark();
  play(analysis, chord(3500, {41, 57, 60, 64, 79}, 1000));
  EXPECT_TRUE(liked(analysis));
  analysis.begin_take();
  play(analysis, chord(5500, {43, 59, 62, 65, 77}, 1000));
  EXPECT_FALSE(liked(analysis));
}

TEST(Analysis, AChordThatIsComeBackToIsLiked) {
  Analysis analysis;
  play(analysis, chord(0, {36, 52, 55, 59, 74}, 1500));
  play(analysis, chord(2000, {41, 57, 60, 64, 74}, 1500));
  play(analysis, chord(4000, {36, 52, 55, 59, 74}, 1500));
  play(analysis, chord(6000, {41, 57, 60, 64, 79}, 1500));
  const auto& list = analysis.moment().alternatives;
  EXPECT_TRUE(std::any_of(list.begin(), list.end(), [](const auto& offered) {
    return offered.chord.root == PitchClass(0) && offered.reason.liked > 0;
  }));
}

TEST(Analysis, WhatThePlayerCameBackToStandsBesideTheListWithHowOftenAndWhen) {
  Analysis analysis;
  std::vector<Event> events;
  int at = 0;
  const auto add = [&](std::initializer_list<int> keys) {
    const auto part = chord(at, keys, 900);
    events.insert(events.end(), part.begin(), part.end());
    at += 1000;
  };
  for (int round = 0; round < 3; ++round) {
    add({48, 52, 55, 72});                      // C
    add({45, 52, 57, 60, 72});                  // Am
    if (round == 1) add({41, 53, 57, 60, 72});  // F, once
  }
  play(analysis, sorted(events));
  const auto& returned = analysis.moment().returned;
  ASSERT_EQ(returned.size(), 2u) << "F was played once and is not in the row";
  EXPECT_EQ(harmony::harte(returned[0].chord, returned[0].root_name), "A:min");
  EXPECT_EQ(returned[0].times, 3);
  EXPECT_GT(returned[0].last, ms(6000));
  EXPECT_EQ(harmony::harte(returned[1].chord, returned[1].root_name), "C:maj");
  EXPECT_EQ(returned[1].times, 3);
  EXPECT_LT(returned[1].last, returned[0].last);
  analysis.begin_take();
  drive(analysis, ms(at + 5000), [](const Analysis&) {});
  play(analysis, chord(at + 6000, {40, 55, 59, 71}, 500));
  EXPECT_TRUE(analysis.moment().returned.empty()) << "a new take begins without returns";
}

TEST(Returns, CountAChordAgainOnlyAfterAnotherAndKeepThoseThatArePlayedMost) {
  const auto named = [](int root, const char* harte) {
    return harmony::Chord{PitchClass(root), *harmony::find_quality(harte), PitchClass(root)};
  };
  Returns returns;
  returns.settled(named(0, "maj"), ms(0));
  returns.settled(named(0, "maj"), ms(100));
  EXPECT_TRUE(returns.most().empty());
  returns.settled(named(0, "maj7"), ms(200));
  returns.settled(named(0, "maj"), ms(300));
  ASSERT_EQ(returns.most().size(), 1u);
  EXPECT_EQ(returns.most()[0].times, 2) << "Cmaj7 is another chord";
  // More chords than are remembered, each once: what was returned to stays.
  for (const char* quality : {"min", "7", "min7", "sus4", "dim", "aug"})
    for (int root = 0; root < 12; ++root) returns.settled(named(root, quality), ms(400 + root));
  ASSERT_EQ(returns.most().size(), 1u);
  // Seven are returned to; the six that were played most often and last are told.
  for (int time = 0; time < 2; ++time)
    for (int root = 1; root < 8; ++root) returns.settled(named(root, "maj9"), ms(1000 + 10 * time + root));
  const auto most = returns.most();
  ASSERT_EQ(most.size(), Returns::kShown);
  for (std::size_t i = 0; i < most.size(); ++i) {
    EXPECT_EQ(most[i].chord, named(7 - static_cast<int>(i), "maj9"));
    EXPECT_EQ(most[i].times, 2);
  }
}

TEST(Analysis, ThePhraseMayBeAskedAboutInPlaceOfTheHeldNoteAlone) {
  Settings settings, newest;
  settings.under = Under::kBar;
  settings.bar = Micros(4'000'000);
  newest.under = Under::kNote;
  Analysis held(newest), phrase(settings);
  play(held, cadence());
  play(phrase, cadence());
  ASSERT_FALSE(phrase.moment().alternatives.empty());
  bool differs = false;
  for (std::size_t i = 0; i < held.moment().alternatives.size(); ++i)
    differs |= held.moment().alternatives[i].score != phrase.moment().alternatives[i].score;
  EXPECT_TRUE(differs);
  phrase.set_under(ms(13000), Under::kNote);
  EXPECT_EQ(phrase.moment().alternatives[0].chord, held.moment().alternatives[0].chord);
}

// E and C alternate over a held left hand.
std::vector<midi::Event> to_and_fro() {
  std::vector<midi::Event> out;
  for (int key : {45, 52, 57}) out.push_back(note_on(ms(0), 0, Pitch(key), Velocity(60)));
  for (int i = 0; i < 8; ++i) {
    const Pitch note(i % 2 == 0 ? 76 : 72);
    out.push_back(note_on(ms(10 + 400 * i), 0, note, Velocity(80)));
    out.push_back(midi::note_off(ms(390 + 400 * i), 0, note));
  }
  return out;
}

TEST(Analysis, TwoNotesThatAlternateAreAskedAboutTogetherAndTheListKeepsStill) {
  Analysis analysis;
  std::vector<std::uint32_t> lists;
  std::size_t both = 0;
  for (const auto& event : to_and_fro())
    drive(analysis, event, [&](const Analysis& now) {
      if (now.moment().at < ms(1800)) return;
      lists.push_back(now.moment().alternatives_number);
      both += now.moment().under.size() == 2 && now.moment().under[0] == Pitch(76) &&
              now.moment().under[1] == Pitch(72);
    });
  ASSERT_GT(lists.size(), 4u);
  EXPECT_EQ(both, lists.size());
  EXPECT_EQ(lists.front(), lists.back());
  for (const auto& offered : analysis.moment().alternatives) {
    EXPECT_EQ(offered.degrees.size(), 2u);
    EXPECT_EQ(offered.voicing.right.back(), Pitch(76));
  }
  analysis.set_under(ms(3500), Under::kNote);
  EXPECT_EQ(analysis.moment().under.size(), 1u);
}

TEST(Analysis, AlternativesAreLaidOutInTheStyleThatWasChosenWhereItCanBeHad) {
  Analysis analysis;
  play(analysis, cadence());
  ASSERT_TRUE(analysis.set_style(ms(13000), harmony::Style::kRootlessA));
  const auto& moment = analysis.moment();
  std::size_t styled = 0;
  for (const auto& offered : moment.alternatives) {
    const auto wanted = harmony::voice(offered.chord, {moment.under.begin(), moment.under.size()},
                                       analysis.hands(), harmony::Style::kRootlessA);
    if (!wanted) continue;
    ++styled;
    EXPECT_EQ(offered.voicing, *wanted);
  }
  EXPECT_GT(styled, 3u);
  const auto ways = analysis.voicings(moment.alternatives[0].chord);
  EXPECT_EQ(ways[0].style, harmony::Style::kOpen);
  for (const auto& way : ways) EXPECT_EQ(way.voicing.right.back(), moment.under[0]);
}

TEST(Analysis, DrumsClockAndSensingAreNotHeard) {
  Analysis analysis;
  EXPECT_FALSE(analysis.event(note_on(ms(0), midi::kDrumChannel, Pitch(38), Velocity(100))));
  EXPECT_FALSE(analysis.event({ms(1), {0xF8, 0, 0}, 1, 0}));
  EXPECT_FALSE(analysis.event({ms(2), {0xFE, 0, 0}, 1, 0}));
  EXPECT_EQ(analysis.moment().number, 0u);
}

TEST(Analysis, TheTopOfAHeldChordStandsForTheMelodyOnceTheTuneHasPassed) {
  Analysis analysis;
  play(analysis, cadence());
  const auto held = chord(14000, {36, 52, 55, 59}, 9000);
  play(analysis, {held.begin(), held.begin() + 4});
  drive(analysis, ms(18000), [](const Analysis&) {});
  ASSERT_EQ(analysis.moment().melody.size(), 1u);
  EXPECT_EQ(analysis.moment().melody[0].pitch.value(), 59);
  EXPECT_TRUE(analysis.moment().melody[0].held);
}

TEST(Analysis, WhenAllIsLetGoTheLastChordStaysButNoLongerSounds) {
  Analysis analysis;
  play(analysis, cadence());
  drive(analysis, ms(20000), [](const Analysis&) {});
  ASSERT_TRUE(analysis.moment().harmony);
  EXPECT_EQ(name(analysis), "C:maj7");
  EXPECT_FALSE(analysis.moment().harmony->sounding);
  EXPECT_TRUE(analysis.moment().held.empty());
}

TEST(PinnedKey, CountsFromTheStartAndWhateverIsHeardUntilItIsFreed) {
  const harmony::Key pinned{PitchClass(6), harmony::Mode::kMajor};
  Settings settings;
  settings.key = pinned;
  Analysis analysis(settings);
  ASSERT_TRUE(analysis.moment().key);
  EXPECT_TRUE(analysis.moment().key->pinned);
  bool told = false;
  for (const Event& event : cadence())  // in C
    drive(analysis, event, [&](const Analysis& changed) { told |= changed.findings().key; });
  EXPECT_FALSE(told);
  EXPECT_EQ(analysis.moment().key->key, pinned);
  EXPECT_TRUE(analysis.pin_key(ms(13000), std::nullopt));
  EXPECT_TRUE(analysis.findings().key);
  EXPECT_FALSE(analysis.moment().key->pinned);
  EXPECT_EQ(harmony::harte(analysis.moment().key->key), "C:maj");
  EXPECT_FALSE(analysis.pin_key(ms(13000), std::nullopt));  // nothing new
}

TEST(PinnedKey, RulesNamesAndTheListAtOnce) {
  Analysis analysis;
  auto events = chord(0, {37, 53, 56, 61, 68}, 9000);
  play(analysis, {events.begin(), events.begin() + 5});
  drive(analysis, ms(500), [](const Analysis&) {});
  const auto list = [&] {
    std::string out;
    for (const auto& offered : analysis.moment().alternatives)
      out += harmony::symbol(offered.chord, offered.root_name) + " ";
    return out;
  };
  ASSERT_TRUE(analysis.pin_key(ms(600), harmony::parse_key("Db")));
  EXPECT_EQ(text(analysis.moment().harmony->reading.root_name), "Db");
  EXPECT_EQ(text(analysis.moment().melody[0].name), "Ab");
  const auto number = analysis.moment().alternatives_number;
  const std::string in_flats = list();
  ASSERT_TRUE(analysis.pin_key(ms(700), harmony::parse_key("F#m")));
  EXPECT_EQ(text(analysis.moment().harmony->reading.root_name), "C#");
  EXPECT_EQ(text(analysis.moment().melody[0].name), "G#");
  EXPECT_GT(analysis.moment().alternatives_number, number);
  EXPECT_NE(list(), in_flats);
}

// A note has the same name in the headline, in every reason of the list and everywhere else, and no name has
// two accidentals.
TEST(Names, AHeldNoteHasOneNameWhereverItIsShown) {
  std::size_t offers = 0, others = 0, lists = 0;
  const auto plainly = [](const std::string& shown) {
    return shown.find("##") == std::string::npos && shown.find("bb") == std::string::npos;
  };
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const auto mode : {harmony::Mode::kMajor, harmony::Mode::kMinor})
      for (int note = 0; note < 12; ++note) {
        Settings settings;
        settings.key = harmony::Key{PitchClass(tonic), mode};
        Analysis analysis(settings);
        const int root = 36 + (tonic + 5 * note) % 12;  // another chord under each note
        auto events =
            chord(0, {root, 48 + (root + 4) % 12, 48 + (root + 10) % 12, 67 + (note + 5) % 12}, 9000);
        play(analysis, {events.begin(), events.begin() + 4});
        drive(analysis, ms(500), [](const Analysis&) {});
        const Moment& moment = analysis.moment();
        if (moment.melody.empty() || moment.alternatives.empty()) continue;
        ++lists;
        ASSERT_EQ(moment.under.size(), moment.under_names.size());
        EXPECT_TRUE(plainly(text(moment.melody[0].name)));
        EXPECT_TRUE(
            plainly(harmony::symbol(moment.harmony->reading.chord, moment.harmony->reading.root_name)));
        for (const Reading& reading : moment.readings)
          EXPECT_TRUE(plainly(harmony::symbol(reading.chord, reading.root_name)));
        for (const auto& offered : moment.alternatives) {
          std::string reason;
          harmony::append_reason(reason, offered, moment.under, moment.under_names);
          ++offers;
          others += !reason.starts_with(text(moment.melody[0].name) + " is its ");
          EXPECT_TRUE(plainly(reason.substr(0, reason.find(" is its ")))) << reason;
          EXPECT_TRUE(plainly(harmony::symbol(offered.chord, offered.root_name)));
        }
      }
  EXPECT_GT(lists, 250u);
  EXPECT_EQ(others, 0u) << "of " << offers;
}

}  // namespace
}  // namespace undersong::listen
