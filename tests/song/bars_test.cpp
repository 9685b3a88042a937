// Written bars for takes of any length.
#include "daemon/song/bars.h"

#include <gtest/gtest.h>

#include "daemon/song/take_study.h"

namespace undersong::song {
namespace {

// Four even chords, four times, beginning at `at`.
void play_bar(std::vector<midi::Event>& out, Micros at, bool even) {
  for (int i = 0; i < 16; ++i) {
    const Micros length = even ? Micros(500'000) : Micros(300'000 + 170'000 * (i * 7 % 11));
    for (const int key : {48 + 5 * (i % 4), 64 + i % 3, 67, 72}) {
      out.push_back(midi::note_on(at, 0, Pitch(key), Velocity(70)));
      out.push_back(midi::note_off(at + length - Micros(20'000), 0, Pitch(key)));
    }
    at += length;
  }
}

// A file of a kilobyte may be silent for years: the bars must grow with the notes.
TEST(Bars, ASilenceOfYearsIsWrittenAsAThousandBars) {
  constexpr Micros kYears{300'000'000'000'000};
  for (const bool even : {true, false}) {
    std::vector<midi::Event> events;
    play_bar(events, kYears, even);
    play_bar(events, 2 * kYears, even);
    events.push_back(midi::note_on(2 * kYears + Micros(20'000'000), 0, Pitch(60), Velocity(70)));
    events.push_back(midi::note_off(3 * kYears, 0, Pitch(60)));
    const auto study = study_take({events});
    const Bars& bars = study.bars;
    EXPECT_LT(bars.bars.size(), 3'500u) << even;
    EXPECT_GT(bars.bars.size(), 1'000u) << even;
    EXPECT_GE(bars.end().beats(), bars.map.beats_at(3 * kYears) - 0.001) << "they cover everything";
    for (std::size_t i = 1; i < bars.bars.size(); ++i)
      ASSERT_EQ(bars.bars[i].at, bars.bars[i - 1].at + bars.bars[i - 1].beats * kBeat);
  }
}

}  // namespace
}  // namespace undersong::song
