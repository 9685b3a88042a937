// What every MIDI service passes on: which messages are heard, system reset, lost messages, and which ports
// count.
#include "daemon/midi/ears.h"

#include <gtest/gtest.h>

#include "daemon/midi/inputs.h"
#include "daemon/midi/ports_source.h"
#include "tests/midi/drained.h"

namespace undersong::midi {
namespace {

TEST(Received, SystemResetEndsEverySoundAndLiftsThePedalsOfEveryChannel) {
  Inputs inputs;
  Lane& lane = *inputs.lane("Keys");
  const std::uint8_t reset[] = {0xFF};
  push_received(lane, Micros(5), reset, 1, false);
  const auto events = drain(inputs);
  ASSERT_EQ(events.size(), 32u);
  for (std::uint8_t channel = 0; channel < 16; ++channel) {
    EXPECT_EQ(events[2u * channel], control_change(Micros(5), channel, 120, 0, lane.port()));
    EXPECT_EQ(events[2u * channel + 1], control_change(Micros(5), channel, 121, 0, lane.port()));
  }
}

TEST(Received, MessagesThatSayNothingAboutHarmonyDoNotReachTheQueue) {
  Inputs inputs;
  Lane& lane = *inputs.lane("Keys");
  const std::uint8_t sensing[] = {0xFE}, clock[] = {0xF8}, torn[] = {0x90, 0x3C}, on[] = {0x90, 0x3C, 0x40};
  push_received(lane, Micros(1), sensing, 1, true);
  push_received(lane, Micros(2), clock, 1, false);
  push_received(lane, Micros(3), torn, 2, true);
  push_received(lane, Micros(4), on, 3, false);
  push_received(lane, Micros(5), clock, 1, true);
  const auto events = drain(inputs);
  ASSERT_EQ(events.size(), 2u);
  EXPECT_EQ(events[0], note_on(Micros(4), 0, Pitch(60), Velocity(64), lane.port()));
  EXPECT_EQ(events[1].status(), 0xF8);
}

TEST(Received, WhatTheServiceLostIsToldEvenIfNothingComesAfterIt) {
  Inputs inputs;
  Lane& lane = *inputs.lane("Keys");
  lane.push(note_on(Micros(1), 0, Pitch(60), Velocity(64)));
  drain(inputs);
  lane.lose();
  const auto events = drain(inputs);
  ASSERT_EQ(events.size(), 1u);
  EXPECT_EQ(notice_of(events[0]), Notice::kLost);
  EXPECT_EQ(events[0].port, lane.port());
  EXPECT_EQ(lost_events(events[0]), 1u);
  EXPECT_TRUE(drain(inputs).empty()) << "a loss is told once";
}

TEST(PortNames, MidiThroughIsHeardOnlyIfItIsNamed) {
  const auto all = PortNames::parse({}), named = PortNames::parse({"midi through"});
  ASSERT_TRUE(all && named);
  for (const char* through :
       {"Midi Through:Midi Through Port-0", "Midi-Bridge:Midi Through:(capture_0) Midi Through Port-0",
        "a2j:Midi Through [14] (capture): Midi Through Port-0"}) {
    EXPECT_FALSE(all->match(through)) << through;
    EXPECT_TRUE(named->match(through)) << through;
  }
  EXPECT_TRUE(all->match("Stage keyboard:Stage keyboard MIDI 1"));
}

TEST(Inputs, TellTheConsumerWhyNoServiceIsThereAndOnlyWhenThatChanges) {
  Inputs inputs;
  inputs.set_trouble("No JACK server answers.");
  EXPECT_EQ(drain(inputs).size(), 1u);
  inputs.set_trouble("No JACK server answers.");
  EXPECT_TRUE(drain(inputs).empty());
  EXPECT_EQ(inputs.trouble(), "No JACK server answers.");
  inputs.set_trouble({});
  EXPECT_EQ(drain(inputs).size(), 1u);
  EXPECT_TRUE(inputs.trouble().empty());
}

}  // namespace
}  // namespace undersong::midi
