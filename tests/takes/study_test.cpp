#include "daemon/takes/study.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace undersong::takes {
namespace {

constexpr double kBar = 60. / 144 * 4;

// Four chords, each held for a bar, with a melody note now and then: fewer strikes than beats.
std::vector<midi::Event> held_chords(const std::vector<double>& bars) {
  constexpr int kChords[4][4] = {{45, 60, 64, 67}, {41, 57, 60, 64}, {50, 57, 60, 65}, {40, 56, 59, 62}};
  struct Note {
    double begin, end;
    int pitch;
  };
  std::vector<Note> notes;
  for (std::size_t bar = 0; bar + 1 < bars.size(); ++bar) {
    const double at = bars[bar], length = bars[bar + 1] - at;
    // People are never quite even: some hundredths of a second, the same in each run.
    const double late = .006 * static_cast<double>((bar * 7) % 5);
    for (const int pitch : kChords[bar % 4]) notes.push_back({at + late, at + .9 * length, pitch});
    if (bar % 2 == 0)
      notes.push_back({at + length / 2 + late, at + .9 * length, 76 - static_cast<int>(bar % 4)});
  }
  struct Change {
    double at;
    bool on;
    int pitch;
  };
  std::vector<Change> changes;
  for (const Note& n : notes) {
    changes.push_back({n.begin, true, n.pitch});
    changes.push_back({n.end, false, n.pitch});
  }
  std::stable_sort(changes.begin(), changes.end(),
                   [](const Change& a, const Change& b) { return a.at < b.at; });
  std::vector<midi::Event> events;
  for (const Change& c : changes) {
    const Micros at(static_cast<std::int64_t>(c.at * 1e6));
    events.push_back(c.on ? midi::note_on(at, 0, Pitch(c.pitch), Velocity(70))
                          : midi::note_off(at, 0, Pitch(c.pitch)));
  }
  return events;
}

TEST(Study, ChordsThatComeBackAfterWholeBarsHaveAPulseThoughFewNotesAreStruck) {
  std::vector<double> bars;
  for (int i = 0; i <= 24; ++i) bars.push_back(1 + kBar * i);
  const Study study = study_of(held_chords(bars));
  ASSERT_TRUE(study.loop);
  EXPECT_EQ(study.loop->chords.size(), 4u);
  EXPECT_TRUE(study.beats.pulse());
  for (const LoopChord& chord : study.loop->chords) EXPECT_GT(chord.beats, 0);
}

TEST(Study, TheSameChordsInNoTimeHaveNone) {
  std::vector<double> bars{1};
  for (int i = 0; i < 24; ++i) bars.push_back(bars.back() + 1. + .37 * static_cast<double>((i * 11) % 7));
  EXPECT_FALSE(study_of(held_chords(bars)).beats.pulse());
}

}  // namespace
}  // namespace undersong::takes
