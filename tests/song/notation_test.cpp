// The written notation sounds exactly as the notes that were given.
#include "daemon/song/notation.h"

#include <gtest/gtest.h>

#include <map>
#include <random>

#include "daemon/song/quantise.h"

namespace undersong::song {
namespace {

const std::map<std::string_view, int> kTypes{{"whole", 1920}, {"half", 960}, {"quarter", 480},
                                             {"eighth", 240}, {"16th", 120}, {"32nd", 60}};

int sounding(const Symbol& symbol) {
  const int type = kTypes.at(symbol.type);
  return (symbol.dots == 0   ? type
          : symbol.dots == 1 ? type * 3 / 2
                             : type * 7 / 4) *
         symbol.normal / symbol.actual;
}

std::vector<WrittenNote> anything(std::mt19937& random, Ticks length) {
  std::vector<PlayedInBeats> notes;
  for (double at = 0; at < length.beats();) {
    const double next = .05 + static_cast<double>(random() % 1000) / 500;
    notes.push_back({at, at + next * static_cast<double>(random() % 100) / 70,
                     Pitch(60 + static_cast<int>(random() % 20)), Velocity(80)});
    at += next;
  }
  return quantise(notes, length, .55);
}

TEST(Notation, ValuesTiesAndTupletsSayExactlyWhatSounds) {
  std::mt19937 random(3);
  for (const int meter : {2, 3, 4, 5})
    for (int piece = 0; piece < 200; ++piece) {
      const Ticks length = 4 * meter * kBeat;
      const auto notes = anything(random, length);
      std::vector<WrittenNote> back;
      for (Ticks bar; bar < length; bar += meter * kBeat) {
        Ticks at = bar;
        int in_tuplet = 0;
        for (const Symbol& symbol : write_bar(notes, bar, meter * kBeat)) {
          EXPECT_EQ(symbol.at, at);
          at += symbol.length;
          if (!symbol.whole_bar) {
            ASSERT_TRUE(kTypes.contains(symbol.type))
                << symbol.length.count() << " ticks at " << (symbol.at - bar).count();
            EXPECT_EQ(sounding(symbol), symbol.length.count());
          }
          if (symbol.tuplet == Mark::kBegin) {
            EXPECT_EQ(in_tuplet++, 0);
          }
          EXPECT_EQ(in_tuplet, symbol.actual > 1 ? 1 : 0);
          if (symbol.tuplet == Mark::kEnd) --in_tuplet;
          if (!symbol.note) continue;
          if (symbol.tied_before) {
            ASSERT_FALSE(back.empty());
            EXPECT_EQ(back.back().at + back.back().length, symbol.at);
            back.back().length += symbol.length;
          } else {
            back.push_back(*symbol.note);
            back.back().at = symbol.at;
            back.back().length = symbol.length;
          }
        }
        EXPECT_EQ(in_tuplet, 0);
        EXPECT_EQ(at, bar + meter * kBeat);
      }
      EXPECT_EQ(back, notes);
    }
}

WrittenNote note(std::int64_t at, std::int64_t length) {
  return {Pitch(72), {}, Ticks(at), Ticks(length), Velocity(80)};
}

std::string words(const std::vector<Symbol>& symbols) {
  std::string out;
  for (const Symbol& s : symbols) {
    out += (out.empty() ? "" : " ") + std::string(s.note ? "" : "rest-") + std::string(s.type);
    for (int i = 0; i < s.dots; ++i) out += '.';
    if (s.tied_after) out += '~';
  }
  return out;
}

TEST(Notation, ShowsTheBeat) {
  const std::vector<WrittenNote> off_beat{note(240, 960), note(1200, 720)};
  EXPECT_EQ(words(write_bar(off_beat, Ticks(0), 4 * kBeat)),
            "rest-eighth eighth~ quarter~ eighth eighth~ quarter");
  const std::vector<WrittenNote> plain{note(0, 1440), note(1440, 480)};
  EXPECT_EQ(words(write_bar(plain, Ticks(0), 4 * kBeat)), "half. quarter");
  const std::vector<WrittenNote> waltz{note(0, 1440)};
  EXPECT_EQ(words(write_bar(waltz, Ticks(0), 3 * kBeat)), "half.");
}

TEST(Notation, RestsAreCutWhereAChordBegins) {
  const std::vector<Ticks> cuts{Ticks(0), Ticks(960)};
  EXPECT_EQ(words(write_bar({}, Ticks(0), 4 * kBeat, {}, cuts)), "rest-half rest-half");
  EXPECT_TRUE(write_bar({}, Ticks(0), 4 * kBeat).front().whole_bar);
}

}  // namespace
}  // namespace undersong::song
