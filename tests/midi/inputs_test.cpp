// The inputs and the file player, through the real queues, the real descriptor and a real file.
#include "daemon/midi/inputs.h"

#include <unistd.h>

#include <gtest/gtest.h>
#include <poll.h>
#include <atomic>

#include <filesystem>
#include <thread>

#include "daemon/midi/ears.h"
#include "daemon/midi/ports_source.h"
#include "daemon/midi/smf.h"
#include "daemon/midi/sources.h"
#include "tests/midi/drained.h"

namespace undersong::midi {
namespace {

bool readable(int fd, int milliseconds) {
  pollfd p{fd, POLLIN, 0};
  return ::poll(&p, 1, milliseconds) == 1;
}

TEST(Inputs, GiveEventsOfAllLanesInOrderOfTime) {
  Inputs inputs;
  Lane* a = inputs.lane("a");
  Lane* b = inputs.lane("b");
  a->push(note_on(Micros(10), 0, Pitch(60), Velocity(1)));
  a->push(note_on(Micros(30), 0, Pitch(61), Velocity(1)));
  b->push(note_on(Micros(20), 0, Pitch(62), Velocity(1)));
  b->push(note_on(Micros(40), 0, Pitch(63), Velocity(1)));
  std::vector<std::pair<int, int>> order;
  for (const Event& e : drain(inputs)) order.emplace_back(e.port, e.bytes[1]);
  EXPECT_EQ(order, (std::vector<std::pair<int, int>>{{0, 60}, {1, 62}, {0, 61}, {1, 63}}));
}

TEST(Inputs, WakeTheConsumerAndOnlyWhenThereIsSomething) {
  Inputs inputs;
  Lane* lane = inputs.lane("keys");
  EXPECT_FALSE(readable(inputs.wake_fd(), 0));
  lane->push(note_on(Micros(1), 0, Pitch(60), Velocity(1)));
  EXPECT_TRUE(readable(inputs.wake_fd(), 0));
  EXPECT_EQ(drain(inputs).size(), 1u);
  EXPECT_FALSE(readable(inputs.wake_fd(), 0));
  lane->push(note_on(Micros(2), 0, Pitch(60), Velocity(1)));
  EXPECT_TRUE(readable(inputs.wake_fd(), 0)) << "wakes again after a drain";
}

TEST(Inputs, TimeNeverGoesBack) {
  Inputs inputs;
  Lane* a = inputs.lane("a");
  Lane* b = inputs.lane("b");
  a->push(note_on(Micros(100), 0, Pitch(60), Velocity(1)));
  EXPECT_EQ(drain(inputs)[0].at, Micros(100));
  b->push(note_on(Micros(99), 0, Pitch(62), Velocity(1)));
  EXPECT_EQ(drain(inputs)[0].at, Micros(100));
}

TEST(Inputs, ANameKeepsItsNumber) {
  Inputs inputs;
  Lane* keys = inputs.lane("keys");
  inputs.announce(Notice::kPortCame, *keys);
  inputs.lane("pads");
  inputs.announce(Notice::kPortGone, *keys);
  EXPECT_EQ(inputs.lane("keys"), keys);
  const auto ports = inputs.ports();
  ASSERT_EQ(ports.size(), 2u);
  EXPECT_EQ(ports[0].name, "keys");
  EXPECT_FALSE(ports[0].connected);
  const auto events = drain(inputs);
  ASSERT_EQ(events.size(), 2u);
  EXPECT_EQ(notice_of(events[0]), Notice::kPortCame);
  EXPECT_EQ(notice_of(events[1]), Notice::kPortGone);
  EXPECT_EQ(events[1].port, keys->port());
}

TEST(Inputs, RefuseMoreInputsThanTheBound) {
  Inputs inputs(16);
  for (std::size_t i = 0; i < Inputs::kMostInputs; ++i) EXPECT_NE(inputs.lane(std::to_string(i)), nullptr);
  EXPECT_EQ(inputs.lane("one more"), nullptr);
  EXPECT_NE(inputs.lane("7"), nullptr);
}

TEST(Inputs, AFullLaneIsToldOnceAndCounted) {
  Inputs inputs(8);
  Lane* lane = inputs.lane("keys");
  for (int i = 0; i < 20; ++i) lane->push(note_on(Micros(i), 0, Pitch(60 + i), Velocity(1)));
  auto events = drain(inputs);
  ASSERT_EQ(events.size(), 9u);
  EXPECT_EQ(notice_of(events.back()), Notice::kLost);
  EXPECT_EQ(events.back().port, lane->port());
  EXPECT_EQ(inputs.dropped(), 12u);
  EXPECT_TRUE(drain(inputs).empty());
}

TEST(Inputs, ALossStandsWhereTheGapIsSoThatWhatWasStruckAfterItIsKnown) {
  Inputs inputs(8);
  Lane* lane = inputs.lane("keys");
  for (int i = 0; i < 12; ++i) lane->push(note_on(Micros(i), 0, Pitch(60 + i), Velocity(1)));
  EXPECT_EQ(inputs.dropped(lane->port()), 4u);
  // While the consumer drains, room appears and the player goes on.
  std::vector<Event> events;
  bool played_on = false;
  inputs.drain([&](const Event& e) {
    events.push_back(e);
    if (!played_on && e.at == Micros(4)) {
      played_on = true;
      EXPECT_TRUE(lane->push(note_on(Micros(100), 0, Pitch(90), Velocity(1))));
    }
  });
  ASSERT_EQ(events.size(), 10u) << "8, the notice, and the one after it";
  EXPECT_EQ(notice_of(events[8]), Notice::kLost);
  EXPECT_EQ(lost_events(events[8]), 4u);
  EXPECT_EQ(events[8].port, lane->port());
  EXPECT_EQ(events[9].bytes[1], 90) << "struck after the gap, so it is still held";
  EXPECT_TRUE(drain(inputs).empty()) << "one loss is told once";
  // A second loss on the same input, with nothing after it.
  for (int i = 0; i < 9; ++i) lane->push(note_on(Micros(200 + i), 0, Pitch(60 + i), Velocity(1)));
  events = drain(inputs);
  ASSERT_EQ(events.size(), 9u);
  EXPECT_EQ(notice_of(events.back()), Notice::kLost);
  EXPECT_EQ(lost_events(events.back()), 1u);
  EXPECT_EQ(inputs.dropped(lane->port()), 5u);
}

TEST(Inputs, HoweverWriterAndConsumerMeetEachGapHasItsNoticeWithTheExactNumber) {
  Inputs inputs(16);
  Lane* lane = inputs.lane("keys");
  constexpr std::int64_t kEvents = 60'000;  // a notice counts exactly up to kManyLost
  std::atomic<bool> over{false};
  std::thread player([&] {
    for (std::int64_t i = 1; i <= kEvents; ++i) {
      lane->push(note_on(Micros(i), 0, Pitch(60), Velocity(1)));
      if (i % 64 == 0) std::this_thread::yield();
    }
    over = true;
  });
  std::int64_t next = 1, gaps = 0;
  for (bool last = false; !last;) {
    last = over;
    inputs.drain([&](const Event& e) {
      if (notice_of(e) == Notice::kLost) {
        next += static_cast<std::int64_t>(lost_events(e));
        ++gaps;
      } else {
        ASSERT_EQ(e.at, Micros(next)) << "after " << gaps << " gaps";
        ++next;
      }
    });
  }
  player.join();
  EXPECT_EQ(next, kEvents + 1) << "every event was given or told of";
  EXPECT_GT(gaps, 0) << "or nothing was lost, and this tests nothing";
}

TEST(Inputs, AFloodIsGivenInPortionsAndNothingIsForgotten) {
  Inputs inputs(10'000);
  Lane* lane = inputs.lane("keys");
  for (int i = 0; i < 9'000; ++i) lane->push(note_on(Micros(i), 0, Pitch(60), Velocity(1)));
  std::size_t total = 0;
  int rounds = 0;
  while (readable(inputs.wake_fd(), 0)) total += drain(inputs).size(), ++rounds;
  EXPECT_EQ(total, 9'000u);
  EXPECT_EQ(rounds, 3);
}

TEST(Inputs, FourWritersAtOnceLoseNothing) {
  Inputs inputs(1 << 16);
  std::vector<Lane*> lanes;
  for (const char* name : {"a", "b", "c", "d"}) lanes.push_back(inputs.lane(name));
  constexpr int kEach = 20'000;
  std::vector<std::thread> writers;
  for (Lane* lane : lanes) {
    writers.emplace_back([lane] {
      for (int i = 0; i < kEach; ++i) {
        lane->push({steady_now(), {0x90, std::uint8_t(i & 0x7F), std::uint8_t(i >> 7 & 0x7F)}, 3, kNoPort});
      }
    });
  }
  std::array<int, 4> next{};
  Micros last{0};
  bool good = true;
  int total = 0;
  while (total < 4 * kEach && readable(inputs.wake_fd(), 10'000)) {
    inputs.drain([&](const Event& e) {
      int& n = next[e.port];
      good = good && e.at >= last && e.bytes[1] == (n & 0x7F) && e.bytes[2] == (n >> 7 & 0x7F);
      last = e.at, ++n, ++total;
    });
  }
  for (auto& writer : writers) writer.join();
  EXPECT_EQ(total, 4 * kEach);
  EXPECT_TRUE(good) << "in order within each lane, and in time";
}

TEST(ArrivalClock, TrustsDeltasOnlyNearTheMomentOfArrival) {
  ArrivalClock clock;
  EXPECT_EQ(clock.at(0.0, Micros(1'000'000)), Micros(1'000'000));
  EXPECT_EQ(clock.at(0.010, Micros(1'012'000)), Micros(1'010'000)) << "the callback came 2 ms late";
  EXPECT_EQ(clock.at(0.010, Micros(1'019'000)), Micros(1'019'000)) << "never later than arrival";
  EXPECT_EQ(clock.at(0.001, Micros(2'000'000)), Micros(2'000'000)) << "a message was swallowed in between";
  EXPECT_EQ(clock.at(-1.0, Micros(2'000'001)), Micros(2'000'001));
  EXPECT_EQ(clock.at(0.0, Micros(1'000)), Micros(2'000'001)) << "never back";
}

TEST(Ports, MessagesThatSayNothingOfHarmonyDoNotReachTheQueue) {
  const auto wanted = [](std::vector<std::uint8_t> bytes, bool clock = false) {
    return is_wanted_message(bytes.data(), bytes.size(), clock);
  };
  EXPECT_TRUE(wanted({0x90, 60, 1}));
  EXPECT_TRUE(wanted({0xC0, 5}));
  EXPECT_TRUE(wanted({0x99, 36, 100})) << "pads pass; the note state leaves them out of the harmony";
  for (int status : {0xFE, 0xFF, 0xF6, 0xF8}) EXPECT_FALSE(wanted({std::uint8_t(status)})) << status;
  EXPECT_FALSE(wanted({0xF0, 0x7E, 0x7F, 0xF7}));
  EXPECT_FALSE(wanted({}));
  EXPECT_FALSE(wanted({0x90, 60}));
  EXPECT_FALSE(wanted({0x90, 0x90, 60}));
  EXPECT_FALSE(wanted({60, 60, 60}));
  for (int status : {0xF8, 0xFA, 0xFB, 0xFC}) EXPECT_TRUE(wanted({std::uint8_t(status)}, true)) << status;
  EXPECT_TRUE(wanted({0xF2, 1, 2}, true));
  EXPECT_FALSE(wanted({0xFE}, true));
}

TEST(Ports, AreChosenByPartOfTheNameOrByExpression) {
  auto names = PortNames::parse({"stage", "/^keys [0-9]+$/"});
  ASSERT_TRUE(names);
  EXPECT_TRUE(names->match("My Stage Piano"));
  EXPECT_TRUE(names->match("Keys 12"));
  EXPECT_FALSE(names->match("Keys x"));
  EXPECT_TRUE(PortNames::parse({})->match("anything"));
  auto bad = PortNames::parse({"/((/"});
  ASSERT_FALSE(bad);
  EXPECT_NE(bad.error().message.find("The port name /((/ is not a valid regular expression"),
            std::string::npos);
}

TEST(Ports, OurOwnAreKnownByTheirClient) {
  for (const char* ours :
       {"Undersong:Undersong in", "Undersong out:Undersong out", "Undersong-01:x", "Undersong ear-03:in"}) {
    EXPECT_TRUE(is_own_port(ours, "Undersong")) << ours;
  }
  EXPECT_FALSE(is_own_port("Undersongs of old:out", "Undersong"));
  EXPECT_FALSE(is_own_port("keys:Undersong", "Undersong"));
  EXPECT_EQ(without_alsa_numbers("Keys:Keys MIDI 1 20:0"), "Keys:Keys MIDI 1");
  EXPECT_EQ(without_alsa_numbers("Keys:MIDI 1"), "Keys:MIDI 1");
}

TEST(Sources, AnUnknownKindIsRefusedWithTheList) {
  Inputs inputs;
  auto source = make_source("telegraph", {}, inputs);
  ASSERT_FALSE(source);
  EXPECT_EQ(source.error().message,
            "There is no kind of input called \"telegraph\"; there are: ports, file.");
}

class FilePlayer : public testing::Test {
 protected:
  void SetUp() override {
    for (int i = 0; i < 5'000; ++i) {
      played.push_back(note_on(Micros(i * 1000), 0, Pitch(i % 128), Velocity(1 + i % 127)));
    }
    Smf smf = smf_from_events(played, "test", 1000);
    // Its own file for each process: CTest runs the tests of this fixture beside each other.
    path = std::filesystem::path(testing::TempDir()) /
           ("undersong-file-player-" + std::to_string(::getpid()) + ".mid");
    ASSERT_TRUE(write_smf_file(smf, path));
    events = merged_events(*read_smf_file(path));
  }
  void TearDown() override { std::filesystem::remove(path); }
  std::vector<Event> played, events;
  std::filesystem::path path;
};

TEST_F(FilePlayer, GivesEveryEventWithTheFilesOwnTimesHoweverFastAndSaysWhenItEnds) {
  Inputs inputs(64);  // far smaller than the file: the player must wait and lose nothing
  SourceOptions options;
  options.file = {path, 1000.0};
  auto source = make_source("file", options, inputs);
  ASSERT_TRUE(source);
  ASSERT_TRUE((*source)->start());
  std::vector<Event> heard;
  bool ended = false;
  while (!ended && readable(inputs.wake_fd(), 10'000)) {
    inputs.drain([&](const Event& e) {
      // Empty events only tell the position.
      if (notice_of(e) == Notice::kNone && e.size > 0) heard.push_back(e);
      ended = ended || notice_of(e) == Notice::kEnded;
    });
  }
  EXPECT_TRUE(ended);
  EXPECT_EQ(inputs.dropped(), 0u);
  ASSERT_EQ(heard.size(), events.size());
  for (std::size_t i = 0; i < events.size(); ++i) {
    ASSERT_EQ(heard[i].at - heard[0].at, events[i].at);
    ASSERT_EQ(heard[i].bytes, events[i].bytes);
  }
}

TEST_F(FilePlayer, StopsAtOnceWhenAskedInTheMiddle) {
  Inputs inputs;
  FileSource source({path, 0.001}, inputs);  // playing it all would take more than an hour
  ASSERT_TRUE(source.start());
  source.stop();
  const auto events_heard = drain(inputs);
  ASSERT_FALSE(events_heard.empty());
  EXPECT_EQ(notice_of(events_heard.back()), Notice::kPortGone);
  EXPECT_LT(events_heard.size(), 10u);
}

TEST_F(FilePlayer, SaysWhatIsWrongWithTheFileOrTheSpeed) {
  Inputs inputs;
  EXPECT_FALSE(FileSource({"/nonexistent.mid", 1.0}, inputs).start());
  auto result = FileSource({path, 0.0}, inputs).start();
  ASSERT_FALSE(result);
  EXPECT_EQ(result.error().message, "The playback speed must be above 0, not 0.");
}

}  // namespace
}  // namespace undersong::midi
