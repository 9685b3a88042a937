#include "daemon/listen/controls.h"

#include <gtest/gtest.h>

#include <random>

#include "daemon/midi/source.h"
#include "tests/base/times.h"

namespace undersong::listen {
namespace {

using midi::control_change;
using midi::note_off;
using midi::note_on;
using Orders = std::vector<Order>;

Mapping map(std::string_view message, std::string_view press, std::string_view action) {
  auto mapping = parse_mapping(message, press, action);
  EXPECT_TRUE(mapping) << mapping.error().message;
  return *mapping;
}
Controls controls(const std::vector<Mapping>& mappings) {
  auto made = Controls::make(mappings);
  EXPECT_TRUE(made) << made.error().message;
  return *made;
}
Orders copy(std::span<const Order> orders) {
  return {orders.begin(), orders.end()};
}
Orders pedal(Controls& c, int at, int value, midi::PortNumber port = 0) {
  const auto heard = c.apply(control_change(ms(at), 0, 67, std::uint8_t(value), port));
  EXPECT_TRUE(heard.consumed);
  return copy(heard.orders);
}

TEST(Controls, ASinglePressActsAtOnceWhenNothingElseIsMapped) {
  Controls c = controls({map("cc 67", "single", "mark")});
  EXPECT_EQ(pedal(c, 100, 127), (Orders{{Action::kMark, ms(100), ms(100)}}));
  EXPECT_EQ(pedal(c, 110, 90), Orders{}) << "still above";
  EXPECT_EQ(pedal(c, 200, 0), Orders{});
  EXPECT_EQ(pedal(c, 300, 63), Orders{}) << "below the middle is no press";
  EXPECT_EQ(pedal(c, 400, 64), (Orders{{Action::kMark, ms(400), ms(400)}}));
  EXPECT_EQ(c.next_deadline(), std::nullopt);
}

TEST(Controls, TellSingleFromDouble) {
  Controls c = controls({map("cc 67", "single", "mark"), map("cc 67", "double", "end_take")});
  EXPECT_EQ(pedal(c, 1000, 127), Orders{});
  EXPECT_EQ(pedal(c, 1100, 0), Orders{});
  EXPECT_EQ(c.next_deadline(), ms(1400));
  EXPECT_EQ(copy(c.advance(ms(1399))), Orders{});
  EXPECT_EQ(copy(c.advance(ms(1400))), (Orders{{Action::kMark, ms(1000), ms(1400)}}));
  pedal(c, 2000, 127), pedal(c, 2100, 0);
  EXPECT_EQ(pedal(c, 2399, 127), (Orders{{Action::kEndTake, ms(2000), ms(2399)}}));
  EXPECT_EQ(pedal(c, 2500, 0), Orders{});
  EXPECT_EQ(c.next_deadline(), std::nullopt) << "a double is no beginning of another";
}

TEST(Controls, TellSingleFromLong) {
  Controls c = controls({map("cc 67", "single", "mark"), map("cc 67", "long", "end_take")});
  pedal(c, 1000, 127);
  EXPECT_EQ(c.next_deadline(), ms(1600));
  EXPECT_EQ(pedal(c, 1599, 0), (Orders{{Action::kMark, ms(1000), ms(1599)}}));
  pedal(c, 2000, 127);
  EXPECT_EQ(copy(c.advance(ms(2600))), (Orders{{Action::kEndTake, ms(2000), ms(2600)}}));
  EXPECT_EQ(pedal(c, 2700, 0), Orders{});
}

TEST(Controls, TellAllThreeApart) {
  Controls c = controls({map("cc 67", "single", "mark"), map("cc 67", "double", "hear_next"),
                         map("cc 67", "long", "hold still")});
  pedal(c, 1000, 127), pedal(c, 1050, 0);
  EXPECT_EQ(pedal(c, 1200, 127), (Orders{{Action::kHearNext, ms(1000), ms(1200)}}));
  pedal(c, 1300, 0);
  pedal(c, 2000, 127);
  EXPECT_EQ(pedal(c, 2500, 0), (Orders{{Action::kMark, ms(2000), ms(2500)}}))
      << "too long for a double, too short for long";
  pedal(c, 3000, 127);
  EXPECT_EQ(pedal(c, 3700, 0), (Orders{{Action::kHoldStill, ms(3000), ms(3600)}}))
      << "found when the release comes late";
}

TEST(Controls, OnlyADoubleMappedSaysNothingOnASinglePress) {
  Controls c = controls({map("note 108", "double", "end_take")});
  EXPECT_TRUE(c.apply(note_on(ms(0), 0, Pitch(108), Velocity(9))).consumed);
  EXPECT_TRUE(c.apply(note_off(ms(50), 0, Pitch(108))).consumed);
  EXPECT_EQ(copy(c.advance(ms(1000))), Orders{});
  EXPECT_EQ(c.next_deadline(), std::nullopt);
}

TEST(Controls, AMappedMessageIsNotMusicAndAllOthersAre) {
  Controls c = controls({map("pad 36", "single", "mark"), map("cc 67 channel 2", "single", "mark"),
                         map("program 5", "single", "mark")});
  EXPECT_TRUE(c.apply(note_on(ms(0), 9, Pitch(36), Velocity(9))).consumed);
  EXPECT_TRUE(c.apply(note_off(ms(1), 9, Pitch(36))).consumed);
  EXPECT_FALSE(c.apply(note_on(ms(2), 0, Pitch(36), Velocity(9))).consumed);
  EXPECT_FALSE(c.apply(note_on(ms(3), 9, Pitch(37), Velocity(9))).consumed);
  EXPECT_TRUE(c.apply(control_change(ms(4), 1, 67, 1)).consumed);
  EXPECT_FALSE(c.apply(control_change(ms(5), 0, 67, 127)).consumed);
  EXPECT_FALSE(c.apply(control_change(ms(6), 1, 64, 127)).consumed);
  const auto program = c.apply({ms(7), {0xC3, 5, 0}, 2, 0});
  EXPECT_TRUE(program.consumed);
  EXPECT_EQ(copy(program.orders), (Orders{{Action::kMark, ms(7), ms(7)}}));
  EXPECT_FALSE(c.apply({ms(8), {0xF8, 0, 0}, 1, 0}).consumed);
}

TEST(Controls, APortNameLimitsAMappingToInputsOfThatName) {
  Controls c = controls({map("note 36 port Pad Box", "single", "mark")});
  EXPECT_FALSE(c.apply(note_on(ms(0), 0, Pitch(36), Velocity(9), 1)).consumed) << "before its name is known";
  c.set_port_name(1, "The PAD box:out");
  c.set_port_name(2, "Stage piano");
  EXPECT_TRUE(c.apply(note_on(ms(1), 0, Pitch(36), Velocity(9), 1)).consumed);
  EXPECT_FALSE(c.apply(note_on(ms(2), 0, Pitch(36), Velocity(9), 2)).consumed);
}

TEST(Controls, APadThatSendsNoNoteOffStillPresses) {
  Controls c = controls({map("pad 36", "single", "mark"), map("pad 36", "double", "hear_next")});
  const auto hit = [&](int at) { return copy(c.apply(note_on(ms(at), 9, Pitch(36), Velocity(99))).orders); };
  hit(0);
  EXPECT_EQ(hit(200), (Orders{{Action::kHearNext, ms(0), ms(200)}}));
  hit(1000);
  EXPECT_EQ(copy(c.advance(ms(1400))), (Orders{{Action::kMark, ms(1000), ms(1400)}}));
  hit(2000);
  EXPECT_EQ(hit(2900), (Orders{{Action::kMark, ms(2000), ms(2400)}}));
}

TEST(Controls, AnInputThatGoesWithAPedalDownIsForgotten) {
  Controls c = controls({map("cc 67", "long", "end_take")});
  pedal(c, 0, 127, 3);
  EXPECT_FALSE(c.apply(midi::make_notice(midi::Notice::kPortGone, 3, ms(100))).consumed);
  EXPECT_EQ(copy(c.advance(ms(5000))), Orders{});
  pedal(c, 6000, 127, 3);
  EXPECT_EQ(copy(c.advance(ms(6600))), (Orders{{Action::kEndTake, ms(6000), ms(6600)}}))
      << "after it came back";
}

TEST(Controls, TheResultDoesNotDependOnWhenDeadlinesAreLookedAt) {
  std::mt19937 rng(9);
  for (int round = 0; round < 200; ++round) {
    const std::vector<Mapping> mappings{map("cc 67", "single", "mark"), map("cc 67", "double", "hear_next"),
                                        map("cc 67", "long", "hold_still"),
                                        map("note 21", "double", "end_take"),
                                        map("note 21", "single", "mark")};
    Controls lazy = controls(mappings), eager = controls(mappings);
    Orders from_lazy, from_eager;
    const auto add = [](Orders& to, std::span<const Order> orders) {
      to.insert(to.end(), orders.begin(), orders.end());
    };
    Micros now{};
    for (int i = 0; i < 100; ++i) {
      now += ms(static_cast<int>(rng() % 500));
      const midi::Event e = rng() % 2   ? control_change(now, 0, 67, std::uint8_t(rng() % 2 * 127))
                            : rng() % 2 ? note_on(now, 0, Pitch(21), Velocity(50))
                                        : note_off(now, 0, Pitch(21));
      while (eager.next_deadline() && *eager.next_deadline() <= now)
        add(from_eager, eager.advance(*eager.next_deadline()));
      add(from_eager, eager.apply(e).orders);
      add(from_lazy, lazy.apply(e).orders);
    }
    add(from_lazy, lazy.advance(now + ms(1000)));
    while (eager.next_deadline()) add(from_eager, eager.advance(*eager.next_deadline()));
    ASSERT_EQ(from_lazy, from_eager) << round;
    ASSERT_GT(from_lazy.size(), 10u);
  }
}

TEST(ControlsText, ReadsEveryForm) {
  using Kind = ControlMessage::Kind;
  EXPECT_EQ(map("cc 67", "double", "mark"),
            (Mapping{{Kind::kController, 67, std::nullopt, ""}, Press::kDouble, Action::kMark}));
  EXPECT_EQ(map("note 108", "single", "end-take"),
            (Mapping{{Kind::kNote, 108, std::nullopt, ""}, Press::kSingle, Action::kEndTake}));
  EXPECT_EQ(map("pad 36 channel 10", "long", "hear next"),
            (Mapping{{Kind::kNote, 36, 9, ""}, Press::kLong, Action::kHearNext}));
  EXPECT_EQ(map(" PROGRAM  0 port My Pads ", "single", "hold_still"),
            (Mapping{{Kind::kProgram, 0, std::nullopt, "my pads"}, Press::kSingle, Action::kHoldStill}));
  for (int i = 0; i < 4; ++i) {
    const auto action = static_cast<Action>(i);
    EXPECT_EQ(map("cc 1", "single", to_text(action)).action, action);
  }
}

TEST(ControlsText, RefusesWithOneSentence) {
  const auto error = [](std::string_view message, std::string_view press = "single",
                        std::string_view action = "mark") {
    auto mapping = parse_mapping(message, press, action);
    return mapping ? std::string("accepted") : mapping.error().message;
  };
  EXPECT_EQ(error("cc 128"), "The control \"cc 128\" needs a number from 0 to 127 after cc.");
  EXPECT_EQ(error("cc"), "The control \"cc\" needs a number from 0 to 127 after cc.");
  EXPECT_EQ(error("cc 67x"), "The control \"cc 67x\" needs a number from 0 to 127 after cc.");
  EXPECT_EQ(error(""), "The control \"\" must begin with cc, note, pad or program.");
  EXPECT_EQ(error("knob 3"), "The control \"knob 3\" must begin with cc, note, pad or program.");
  EXPECT_EQ(error("cc 123"),
            "The control \"cc 123\" is a channel mode message (120 to 127), which has a meaning of its own.");
  EXPECT_EQ(error("note 3 channel 17"),
            "The control \"note 3 channel 17\" needs a number from 1 to 16 after channel.");
  EXPECT_EQ(error("note 3 chanel 1"),
            "The control \"note 3 chanel 1\" has \"chanel\" where channel or port may stand.");
  EXPECT_EQ(error("note 3 port "),
            "The control \"note 3 port \" needs a part of the input's name after port.");
  EXPECT_EQ(error("note 3", "twice"),
            "The press \"twice\" of the control \"note 3\" is none of single, double and long.");
  EXPECT_EQ(
      error("note 3", "single", "dance"),
      "The action \"dance\" of the control \"note 3\" is none of mark, hold_still, hear_next, end_take, "
      "tap, beat_one, pin_key, undo_mark, hear_previous, hear_again, brighter, darker, more_tense, "
      "more_resolved, more_surprising, more_familiar, no_wishes, along and find_played.");
  EXPECT_EQ(error("program 3", "long"),
            "The control \"program 3\" cannot be pressed long, because a program change has no end.");
}

TEST(ControlsText, RefusesMappingsThatCollide) {
  auto same = Controls::make({map("cc 67", "single", "mark"), map("cc 67", "single", "end_take")});
  ASSERT_FALSE(same);
  EXPECT_EQ(same.error().message, "The controls 1 and 2 are the same message with the same press.");
  auto overlap =
      Controls::make({map("cc 67", "single", "mark"), map("cc 67 channel 1", "double", "end_take")});
  ASSERT_FALSE(overlap);
  EXPECT_EQ(overlap.error().message, "The controls 1 and 2 overlap: one message could be both.");
  EXPECT_TRUE(Controls::make(
      {map("note 36", "single", "mark"), map("note 37", "single", "mark"), map("cc 36", "single", "mark")}));
}

}  // namespace
}  // namespace undersong::listen
