// Written rhythms are played with human jitter and must be found again.
#include "daemon/song/quantise.h"

#include <gtest/gtest.h>

#include <random>

namespace undersong::song {
namespace {

// What a beat of a melody can contain, as ticks at which notes begin.
const std::vector<std::vector<int>> kBeats{{0},
                                           {0},
                                           {0},
                                           {0},
                                           {0, 240},
                                           {0, 240},
                                           {0, 240},
                                           {240},
                                           {},
                                           {},
                                           {0, 120, 240, 360},
                                           {0, 240, 360},
                                           {0, 360},
                                           {0, 120, 240},
                                           {0, 160, 320},
                                           {0, 320}};

std::vector<Ticks> invent(std::mt19937& random, int beats) {
  std::vector<Ticks> out;
  for (int b = 0; b < beats; ++b)
    for (int tick : kBeats[random() % kBeats.size()]) out.push_back(Ticks(480 * b + tick));
  return out;
}

std::vector<PlayedInBeats> play_rhythm(std::mt19937& random, const std::vector<Ticks>& written, int beats,
                                       double seconds, double jitter) {
  std::normal_distribution<double> normal(0, jitter / seconds);
  std::vector<PlayedInBeats> out;
  for (std::size_t i = 0; i < written.size(); ++i) {
    const double end = i + 1 < written.size() ? written[i + 1].beats() : beats;
    const double length = end - written[i].beats(), at = written[i].beats() + normal(random);
    out.push_back({at, at + .88 * length, Pitch(60 + static_cast<int>(i % 20)), Velocity(80)});
  }
  std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return out;
}

struct Share {
  int notes = 0, right = 0, lengths = 0;
};

Share written_back(double jitter) {
  std::mt19937 random(11);
  Share share;
  for (int piece = 0; piece < 300; ++piece) {
    const double seconds = 60. / static_cast<double>(56 + random() % 80);
    const auto written = invent(random, 16);
    const auto notes = quantise(play_rhythm(random, written, 16, seconds, jitter), 16 * kBeat, seconds);
    share.notes += static_cast<int>(written.size());
    for (std::size_t i = 0; i < written.size(); ++i)
      for (const WrittenNote& note : notes) {
        if (note.pitch != Pitch(60 + static_cast<int>(i % 20)) || note.at != written[i]) continue;
        ++share.right;
        share.lengths += note.at + note.length == (i + 1 < written.size() ? written[i + 1] : 16 * kBeat);
      }
  }
  std::printf("jitter %.0f ms: %.2f %% of %d notes in their place, %.2f %% with their length too\n",
              1000 * jitter, 100. * share.right / share.notes, share.notes,
              100. * share.lengths / share.notes);
  return share;
}

TEST(Quantise, WritesBackWhatWasPlayedWithAPersonsJitter) {
  for (const auto& [jitter, least] : {std::pair{.015, .985}, {.02, .97}, {.025, .93}}) {
    const Share share = written_back(jitter);
    EXPECT_GE(share.right, least * share.notes) << jitter;
    EXPECT_GE(share.lengths, (least - .02) * share.notes) << jitter;
  }
}

TEST(Quantise, ExactPlayingIsWrittenExactly) {
  const Share share = written_back(0);
  // In a fast beat, a single note on a third is about as close to a quarter as people play.
  EXPECT_GE(share.right, .998 * share.notes);
  EXPECT_GE(share.lengths, .997 * share.notes);
}

TEST(Quantise, EveryBeatIsDividedInOneWayOnly) {
  std::mt19937 random(5);
  for (int piece = 0; piece < 200; ++piece) {
    std::vector<PlayedInBeats> notes;  // random notes
    double at = -.05;
    while (at < 16) {
      const double length = .02 + static_cast<double>(random() % 1000) / 700;
      notes.push_back({at, at + length * static_cast<double>(random() % 100) / 60, Pitch(60), Velocity(1)});
      at += length;
    }
    const auto written = quantise(notes, 16 * kBeat, .6);
    for (int b = 0; b < 16; ++b) {
      bool halves = true, thirds = true;
      const auto see = [&](Ticks t) {
        if (t < b * kBeat || t > (b + 1) * kBeat) return;
        halves = halves && t % Ticks(60) == Ticks(0);
        thirds = thirds && t % Ticks(80) == Ticks(0);
      };
      for (const WrittenNote& note : written) {
        see(note.at);
        see(note.at + note.length);
      }
      EXPECT_TRUE(halves || thirds) << "piece " << piece << " beat " << b;
    }
    Ticks end;
    for (const WrittenNote& note : written) {
      EXPECT_GE(note.at, end);
      EXPECT_GT(note.length, Ticks(0));
      end = note.at + note.length;
    }
    EXPECT_LE(end, 16 * kBeat);
  }
}

TEST(Quantise, ANoteJustBeforeTheBeatBelongsToIt) {
  const std::vector<PlayedInBeats> notes{{-.03, .9, Pitch(60), Velocity(80)},
                                         {.96, 1.9, Pitch(62), Velocity(80)}};
  const auto written = quantise(notes, 4 * kBeat, .5);
  ASSERT_EQ(written.size(), 2u);
  EXPECT_EQ(written[0].at, Ticks(0));
  EXPECT_EQ(written[1].at, kBeat);
  EXPECT_EQ(written[1].length, kBeat);
}

TEST(Quantise, SilenceIsARestAndDetachedPlayingIsNot) {
  const std::vector<PlayedInBeats> notes{
      {0, .7, Pitch(60), Velocity(80)}, {1, 2, Pitch(62), Velocity(80)}, {4, 4.1, Pitch(64), Velocity(80)}};
  const auto written = quantise(notes, 8 * kBeat, .5);
  ASSERT_EQ(written.size(), 3u);
  EXPECT_EQ(written[0].length, kBeat);
  EXPECT_EQ(written[1].length, kBeat);
  EXPECT_EQ(written[2].length, Ticks(240));
}

TEST(Quantise, NothingGivesNothing) {
  EXPECT_TRUE(quantise({}, 4 * kBeat, .5).empty());
  EXPECT_TRUE(quantise({}, Ticks(0), .5).empty());
}

TEST(Quantise, WithoutAPulseTheOrderIsKeptAndNothingIsLost) {
  std::vector<PlayedInBeats> notes;
  for (int i = 0; i < 16; ++i) notes.push_back({3.9 + .005 * i, 4, Pitch(60 + i), Velocity(80)});
  const auto written = place_freely(notes, 4 * kBeat);
  ASSERT_EQ(written.size(), 16u);
  for (std::size_t i = 0; i < 16; ++i) {
    EXPECT_EQ(written[i].pitch, Pitch(60 + static_cast<int>(i)));
    EXPECT_EQ(written[i].at, static_cast<std::int64_t>(i) * Ticks(120));
  }
}

}  // namespace
}  // namespace undersong::song
