#include "daemon/takes/replay.h"

#include <gtest/gtest.h>

#include "daemon/midi/source.h"

namespace undersong::takes {
namespace {

using midi::control_change, midi::note_off, midi::note_on;
constexpr Micros s(double seconds) {
  return Micros(static_cast<std::int64_t>(seconds * 1e6));
}

TEST(Replay, GivesASpanFromItsBeginningWithThePedalThatWasDown) {
  const std::vector<midi::Event> take{note_on(s(10), 0, Pitch(60), Velocity(40)),
                                      control_change(s(10.5), 0, 64, 127),
                                      note_off(s(11), 0, Pitch(60)),
                                      note_on(s(12), 0, Pitch(64), Velocity(40)),
                                      note_off(s(12.5), 0, Pitch(64)),
                                      note_on(s(14), 0, Pitch(67), Velocity(40))};
  const auto score = replay(take, s(10.75), s(13), Velocity(100));
  EXPECT_EQ(score.length, s(2.25));
  EXPECT_FALSE(score.repeat_from);
  EXPECT_EQ(score.events, (std::vector<midi::Event>{control_change(s(0), 0, 64, 127),
                                                    note_on(s(1.25), 0, Pitch(64), Velocity(40)),
                                                    note_off(s(1.75), 0, Pitch(64))}))
      << "the note-off of a note that isn't struck here is no use";
}

TEST(Replay, IsBroughtDownToTheLoudnessAskedForAndNeverUp) {
  const std::vector<midi::Event> take{note_on(s(0), 0, Pitch(60), Velocity(120)),
                                      note_off(s(1), 0, Pitch(60)), note_on(s(1), 0, Pitch(62), Velocity(40)),
                                      note_off(s(2), 0, Pitch(62))};
  const auto soft = replay(take, s(0), s(3), Velocity(40));
  EXPECT_EQ(soft.events[0].bytes[2], 60);
  EXPECT_EQ(soft.events[2].bytes[2], 20);
  EXPECT_EQ(replay(take, s(0), s(3), Velocity(127)).events[0].bytes[2], 120);
}

TEST(Replay, StrikesWhatSoundsAlreadyWhereThatIsWanted) {
  const std::vector<midi::Event> take{note_on(s(1), 0, Pitch(79), Velocity(50)),
                                      note_on(s(1), 0, Pitch(60), Velocity(50)),
                                      note_off(s(2), 0, Pitch(60)),
                                      control_change(s(3), 0, 64, 127),
                                      note_on(s(3), 0, Pitch(64), Velocity(40)),
                                      note_off(s(4), 0, Pitch(64)),
                                      note_on(s(5), 0, Pitch(67), Velocity(40)),
                                      note_off(s(6), 0, Pitch(79))};
  const auto score = replay(take, s(4.5), s(7), Velocity(100), true);
  EXPECT_EQ(score.events,
            (std::vector<midi::Event>{
                control_change(s(0), 0, 64, 127), note_on(s(0), 0, Pitch(64), Velocity(40)),
                note_on(s(0), 0, Pitch(64), Velocity(0)), note_on(s(0), 0, Pitch(79), Velocity(50)),
                note_on(s(0.5), 0, Pitch(67), Velocity(40)), note_off(s(1.5), 0, Pitch(79))}));
}

TEST(Replay, LeavesTheInstrumentsSoundAndVolumeAsTheyAre) {
  const std::vector<midi::Event> take{
      {s(0), {0xC0, 5, 0}, 2, 0},    control_change(s(0), 0, 7, 127),
      control_change(s(0), 0, 0, 1), control_change(s(0), 0, 1, 30),
      {s(0), {0xF8, 0, 0}, 1, 0},    midi::make_notice(midi::Notice::kEnded, 0, s(1))};
  const auto score = replay(take, s(0), s(1), Velocity(50));
  ASSERT_EQ(score.events.size(), 1u);
  EXPECT_EQ(score.events[0].bytes[1], 1) << "the modulation wheel belongs to the playing";
}

}  // namespace
}  // namespace undersong::takes
