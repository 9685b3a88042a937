#include "daemon/midi/audition.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <random>
#include <set>
#include <vector>

namespace undersong::midi {
namespace {

class AuditionTest : public testing::Test {
 protected:
  Audition::Send send = [this](const Event& e) { sent.push_back(e); };
  std::vector<Event> take() { return std::exchange(sent, {}); }
  Audition audition;
  std::vector<Event> sent;
  std::vector<Pitch> chord{Pitch(64), Pitch(48), Pitch(55)};
  Strike strike{Velocity(50), ms(1000), ms(0), 2};
};

TEST_F(AuditionTest, StrikesTheChordTogetherAndReleasesIt) {
  audition.play(chord, strike, ms(10), send);
  EXPECT_EQ(take(), (std::vector<Event>{note_on(ms(10), 2, Pitch(48), Velocity(50)),
                                        note_on(ms(10), 2, Pitch(55), Velocity(50)),
                                        note_on(ms(10), 2, Pitch(64), Velocity(50))}));
  EXPECT_EQ(audition.next_deadline(), ms(1010));
  audition.advance(ms(1009), send);
  EXPECT_TRUE(take().empty());
  audition.advance(ms(1010), send);
  EXPECT_EQ(take(), (std::vector<Event>{note_off(ms(1010), 2, Pitch(48)), note_off(ms(1010), 2, Pitch(55)),
                                        note_off(ms(1010), 2, Pitch(64))}));
  EXPECT_EQ(audition.next_deadline(), std::nullopt);
}

TEST_F(AuditionTest, RollsFromTheBottomUp) {
  strike.roll = ms(40);
  audition.play(chord, strike, ms(0), send);
  EXPECT_EQ(take().size(), 1u);
  EXPECT_EQ(audition.next_deadline(), ms(40));
  audition.advance(ms(40), send);
  EXPECT_EQ(take(), (std::vector<Event>{note_on(ms(40), 2, Pitch(55), Velocity(50))}));
  audition.advance(ms(500), send);
  EXPECT_EQ(take(), (std::vector<Event>{note_on(ms(80), 2, Pitch(64), Velocity(50))}))
      << "late, but with its own time";
  EXPECT_EQ(audition.next_deadline(), ms(1080));
}

TEST_F(AuditionTest, StoppingARollReleasesOnlyWhatWasStruck) {
  strike.roll = ms(40);
  audition.play(chord, strike, ms(0), send);
  take();
  audition.stop(ms(20), send);
  EXPECT_EQ(take(), (std::vector<Event>{note_off(ms(20), 2, Pitch(48))}));
  audition.advance(ms(2000), send);
  EXPECT_TRUE(take().empty());
}

TEST_F(AuditionTest, AnotherChordReplacesTheFirst) {
  audition.play(chord, strike, ms(0), send);
  take();
  const std::vector<Pitch> other{Pitch(50)};
  audition.play(other, strike, ms(100), send);
  const auto events = take();
  ASSERT_EQ(events.size(), 4u);
  for (int i = 0; i < 3; ++i) EXPECT_EQ(events[static_cast<std::size_t>(i)].kind(), kNoteOff);
  EXPECT_EQ(events[3], note_on(ms(100), 2, Pitch(50), Velocity(50)));
}

TEST_F(AuditionTest, NeverLeavesANoteHangingWhateverIsAsked) {
  std::mt19937 rng(3);
  std::multiset<int> sounding;
  int strikes = 0;
  const Audition::Send count = [&](const Event& e) {
    if (e.kind() == kNoteOn) {
      EXPECT_GT(e.bytes[2], 0);
      sounding.insert(e.channel() * 128 + e.bytes[1]);
      ++strikes;
    } else {
      EXPECT_EQ(sounding.erase(e.channel() * 128 + e.bytes[1]), 1u) << "a note-off for each note-on";
    }
  };
  for (int i = 0; i < 5000; ++i) {
    const Micros now = ms(i * 7);
    if (rng() % 10 == 0) {
      std::vector<Pitch> some(rng() % 24);
      for (Pitch& p : some) p = Pitch(static_cast<int>(rng() % 128));
      audition.play(some,
                    {Velocity(static_cast<int>(rng() % 128)), ms(int(rng() % 300)), ms(int(rng() % 50)),
                     std::uint8_t(rng())},
                    now, count);
    } else if (rng() % 20 == 0) {
      audition.stop(now, count);
      EXPECT_TRUE(sounding.empty());
    } else {
      audition.advance(now, count);
    }
    EXPECT_EQ(audition.next_deadline().has_value(), audition.playing());
  }
  audition.stop(ms(40'000), count);
  EXPECT_TRUE(sounding.empty());
  EXPECT_GT(strikes, 1000);
}

}  // namespace
}  // namespace undersong::midi
