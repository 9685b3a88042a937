#include "daemon/listen/meetings.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/durations.h"
#include "daemon/midi/smf.h"
#include "tests/base/times.h"

namespace undersong::listen {
namespace {

using midi::control_change;
using midi::Event;
using midi::note_off;
using midi::note_on;

struct Take {
  std::vector<Event> events;
  void press(int at, const std::vector<int>& keys) {
    int offset = 0;
    for (int key : keys) events.push_back(note_on(ms(at + 2 * offset++), 0, Pitch(key), Velocity(74)));
  }
  void release(int at, const std::vector<int>& keys) {
    for (int key : keys) events.push_back(note_off(ms(at), 0, Pitch(key)));
  }
  std::vector<Event> sorted() const {
    auto out = events;
    std::stable_sort(out.begin(), out.end(), [](const Event& a, const Event& b) { return a.at < b.at; });
    return out;
  }
};

struct MetChord {
  Micros at;
  harmony::Chord chord;
};

struct Heard {
  std::vector<Meeting> meetings;
  std::vector<MetChord> chords;  // as found, including brief names
  std::vector<MelodyNote> melody;
};

Heard hear(const std::vector<Event>& events, Micros end, Settings settings = {}, int look_every_ms = 0) {
  Analysis analysis(settings);
  Meetings meetings;
  Heard out;
  int looked = 0;
  const auto each = [&](const Analysis& a) {
    for (const Meeting& met : meetings.hear(a)) out.meetings.push_back(met);
    if (a.findings().harmony)
      out.chords.push_back({a.moment().harmony->since, a.moment().harmony->reading.chord});
    for (const auto& note : a.findings().melody) out.melody.push_back(note);
  };
  for (const Event& event : events) {
    if (look_every_ms > 0)
      for (; ms(looked) < event.at; looked += look_every_ms) drive(analysis, ms(looked), each);
    drive(analysis, event, each);
  }
  drive(analysis, end, each);
  for (const Meeting& met : meetings.end_take(end)) out.meetings.push_back(met);
  return out;
}

std::string said(const Meeting& met) {
  return std::to_string(met.at.count()) + "+" + std::to_string(met.length.count()) + " " +
         harmony::text(met.name, met.pitch) + " " + harmony::text(met.degree) + " " +
         harmony::harte(met.chord.chord, met.chord.root_name) + " x" + std::to_string(met.time);
}
std::vector<std::string> said(const std::vector<Meeting>& all) {
  std::vector<std::string> out;
  for (const Meeting& met : all) out.push_back(said(met));
  return out;
}

// G is held. Under it, major sevenths and dominants on other roots last 1.2 s each; the third one comes back
// at the end.
Take held_note() {
  Take take;
  take.press(0, {79});
  int at = 500;
  for (const auto& keys : std::vector<std::vector<int>>{
           {48, 52, 55, 59}, {53, 57, 60, 64}, {49, 53, 56, 60}, {51, 55, 58, 62}, {49, 53, 56, 60}}) {
    take.press(at, keys);
    take.release(at + 1150, keys);
    at += 1200;
  }
  take.release(at, {79});
  return take;
}

TEST(Meetings, AHeldNoteMeetsEveryChordThatIsTriedUnderItAndWhatIsReturnedToIsKnown) {
  const auto heard = hear(held_note().sorted(), ms(12'000));
  std::vector<std::pair<int, std::uint32_t>> roots;
  for (const Meeting& met : heard.meetings) {
    EXPECT_EQ(met.pitch, Pitch(79)) << said(met);
    EXPECT_GE(met.length, harmony::kPassing);
    if (roots.empty() || roots.back().first != met.chord.chord.root.value())
      roots.emplace_back(met.chord.chord.root.value(), met.time);
  }
  const std::vector<std::pair<int, std::uint32_t>> wanted{{0, 1}, {5, 1}, {1, 1}, {3, 1}, {1, 2}};
  EXPECT_EQ(roots, wanted) << testing::PrintToString(said(heard.meetings));
  const auto flat = std::find_if(heard.meetings.begin(), heard.meetings.end(),
                                 [](const Meeting& m) { return m.chord.chord.root == PitchClass(1); });
  ASSERT_NE(flat, heard.meetings.end());
  EXPECT_EQ(harmony::text(flat->degree), "#11");
}

TEST(Meetings, ANoteThatJoinsOverAChordMeetsItFromItsOwnBeginning) {
  Take take;
  take.press(0, {36, 52, 55, 59, 71});
  take.release(1000, {71});
  take.press(1000, {74});
  take.release(1990, {74});
  take.press(2000, {76});
  take.release(4000, {36, 52, 55, 59, 76});
  const auto heard = hear(take.sorted(), ms(9000));
  const auto joined = std::find_if(heard.meetings.begin(), heard.meetings.end(),
                                   [](const Meeting& m) { return m.pitch == Pitch(74); });
  ASSERT_NE(joined, heard.meetings.end()) << testing::PrintToString(said(heard.meetings));
  EXPECT_EQ(joined->at, ms(1000));
  EXPECT_EQ(joined->length, ms(990));
  EXPECT_EQ(harmony::text(joined->degree), "9");
}

TEST(Meetings, ByThePedalANoteSoundsUntilTheNextOfTheMelody) {
  Take take;
  take.events.push_back(control_change(ms(0), 0, 64, 127));
  take.press(10, {36, 52, 55, 59, 74});
  take.release(400, {74});
  take.press(1500, {76});
  take.release(3000, {36, 52, 55, 59, 76});
  take.events.push_back(control_change(ms(3100), 0, 64, 0));
  const auto heard = hear(take.sorted(), ms(9000));
  const auto of = [&](int key) {
    Micros length{};
    for (const Meeting& met : heard.meetings)
      if (met.pitch == Pitch(key)) length += met.length;
    return length;
  };
  EXPECT_GT(of(74), ms(1300)) << "the pedal carries it";
  EXPECT_LE(of(74), ms(1500)) << "the next note ends it";
  EXPECT_GT(of(76), ms(1500));
}

TEST(Meetings, TheEndOfATakeCutsWhatSoundsAndTheNextTakeBeginsAnew) {
  Analysis analysis;
  Meetings meetings;
  std::vector<Meeting> met;
  const auto each = [&](const Analysis& a) {
    for (const Meeting& m : meetings.hear(a)) met.push_back(m);
  };
  Take take;
  take.press(0, {36, 52, 55, 59, 74});
  for (const Event& event : take.sorted()) drive(analysis, event, each);
  drive(analysis, ms(3000), each);
  EXPECT_TRUE(met.empty()) << "nothing has ended";
  for (const Meeting& m : meetings.end_take(ms(3000))) met.push_back(m);
  ASSERT_EQ(met.size(), 1u);
  EXPECT_EQ(met[0].at + met[0].length, ms(3000));
  met.clear();
  meetings.begin_take(ms(5000));
  drive(analysis, note_off(ms(6000), 0, Pitch(74)), each);
  for (const Meeting& m : meetings.end_take(ms(9000))) met.push_back(m);
  ASSERT_EQ(met.size(), 2u) << testing::PrintToString(said(met));
  EXPECT_EQ(met[1].pitch, Pitch(59)) << "the top of what is held stands for the melody";
  EXPECT_GE(met[1].at, ms(6000)) << "but only from when it does";
  EXPECT_EQ(met[0].at, ms(5000));
  EXPECT_EQ(met[0].length, ms(1000));
  EXPECT_EQ(met[0].time, 1u);
}

// The expected meetings, from the raw findings: brief names are joined as the timeline of takes does it.
std::vector<MetChord> settled(const std::vector<MetChord>& raw) {
  std::vector<MetChord> out;
  for (MetChord next : raw) {
    while (!out.empty() && next.at - out.back().at < harmony::kPassing) {
      next.at = std::min(next.at, out.back().at);
      out.pop_back();
    }
    if (out.empty() || !(out.back().chord == next.chord)) out.push_back(next);
  }
  return out;
}

TEST(Meetings, AreThoseOfTheSettledChordsAndNeverOverlapForOneNote) {
  std::mt19937 random(7);
  const auto pick = [&](int below) { return static_cast<int>(random() % static_cast<unsigned>(below)); };
  for (int round = 0; round < 20; ++round) {
    Take take;
    int at = 0;
    for (int bar = 0; bar < 24; ++bar) {
      const int root = 36 + pick(12), length = 300 + pick(1500);
      take.press(at, {root, root + 7, root + 16, root + 22});
      take.release(at + length - 20 + pick(40), {root, root + 7, root + 16, root + 22});
      for (int t = at + pick(200); t < at + length;) {
        const int key = 72 + pick(12), held = 80 + pick(900);
        take.press(t, {key});
        take.release(t + held, {key});
        t += held + pick(100) - 30;
      }
      at += length;
    }
    const auto heard = hear(take.sorted(), ms(at + 6000));
    const auto chords = settled(heard.chords);
    ASSERT_FALSE(heard.meetings.empty());
    std::vector<Meeting> by_note = heard.meetings;
    std::sort(by_note.begin(), by_note.end(), [](const Meeting& a, const Meeting& b) {
      return std::pair(a.pitch, a.at) < std::pair(b.pitch, b.at);
    });
    for (std::size_t i = 0; i < by_note.size(); ++i) {
      const Meeting& met = by_note[i];
      ASSERT_GE(met.length, harmony::kPassing);
      if (i > 0 && by_note[i - 1].pitch == met.pitch) {
        ASSERT_LE(by_note[i - 1].at + by_note[i - 1].length, met.at) << said(met);
      }
      // Each meeting lies within one settled chord of the same name.
      auto chord = std::upper_bound(chords.begin(), chords.end(), met.at,
                                    [](Micros t, const MetChord& c) { return t < c.at; });
      ASSERT_NE(chord, chords.begin());
      --chord;
      EXPECT_TRUE(chord->chord == met.chord.chord) << said(met);
      if (chord + 1 != chords.end()) {
        EXPECT_LE(met.at + met.length, (chord + 1)->at) << said(met);
      }
    }
  }
}

TEST(Meetings, AreTheSameWheneverOneLooksAndWithNamesOnly) {
  auto file = midi::read_smf_file(UNDERSONG_SOURCE_DIR "/configs/demo.mid");
  ASSERT_TRUE(file);
  const auto events = midi::merged_events(*file);
  const Micros end = events.back().at + ms(8000);
  const auto once = said(hear(events, end).meetings);
  ASSERT_GT(once.size(), 60u);
  EXPECT_EQ(once, said(hear(events, end, {}, 370).meetings));
  Settings names;
  names.names_only = true;
  auto names_only = said(hear(events, end, names).meetings), all = once;
  std::sort(names_only.begin(), names_only.end());
  std::sort(all.begin(), all.end());
  EXPECT_EQ(names_only, all);
}

}  // namespace
}  // namespace undersong::listen
