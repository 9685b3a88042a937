// The chord that sounds, held on a MIDI channel.
#include "daemon/live/chord_output.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::live {
namespace {

// Collects what is sent, and knows what is held.
struct Instrument {
  bool connected = true;
  std::vector<midi::Event> sent;
  std::vector<int> held;
  bool take(const midi::Event& event) {
    if (!connected) return false;
    sent.push_back(event);
    const int key = event.bytes[1];
    if ((event.bytes[0] & 0xF0) == 0x90)
      held.push_back(key);
    else
      std::erase(held, key);
    std::sort(held.begin(), held.end());
    return true;
  }
};

listen::Moment sounding(int root, const char* quality, int bass, bool sounds = true) {
  listen::Moment moment;
  moment.harmony.emplace();
  moment.harmony->reading.chord = {PitchClass(root), harmony::quality(quality), PitchClass(bass)};
  moment.harmony->sounding = sounds;
  return moment;
}

struct Following {
  explicit Following(Carries carries)
      : output({.carries = carries, .channel = 2, .velocity = Velocity(40)},
               [this](const midi::Event& event) { return instrument.take(event); }) {}
  void follow(const listen::Moment& moment) {
    output.follow(moment, harmony::Hands(), harmony::Style::kOpen, Micros(++now));
  }
  Instrument instrument;
  ChordOutput output;
  std::int64_t now = 0;
};

TEST(ChordOutput, CarriesTheBassOfTheChordThatSoundsAndReleasesItWithTheChord) {
  Following following(Carries::kBass);
  following.follow(sounding(0, "maj", 4));
  EXPECT_EQ(following.instrument.held, (std::vector<int>{40})) << "C/E: the bass, not the root";
  EXPECT_EQ(following.instrument.sent[0].bytes[0], 0x92) << "channel 3";
  EXPECT_EQ(following.instrument.sent[0].bytes[2], 40);
  following.follow(sounding(0, "maj", 4));
  EXPECT_EQ(following.instrument.sent.size(), 1u) << "nothing has changed";
  following.follow(sounding(4, "min7", 4));
  EXPECT_EQ(following.instrument.sent.size(), 1u) << "another chord over the same bass: it is held on";
  following.follow(sounding(9, "min", 9));
  EXPECT_EQ(following.instrument.held, (std::vector<int>{45}));
  following.follow(sounding(9, "min", 9, false));
  EXPECT_TRUE(following.instrument.held.empty());
}

TEST(ChordOutput, CarriesTheWholeChordUnderTheMelodyAndHoldsOnWhatBothChordsHave) {
  Following following(Carries::kVoicing);
  auto moment = sounding(0, "maj7", 0);
  listen::MelodyNote melody;
  melody.pitch = Pitch(76);
  moment.melody.push_back(melody);
  following.follow(moment);
  const auto first = following.instrument.held;
  ASSERT_GE(first.size(), 3u);
  EXPECT_EQ(first.back(), 76);
  for (const int key : first) EXPECT_TRUE((std::set<int>{0, 4, 7, 11}).contains(key % 12)) << key;
  auto next = sounding(9, "min7", 9);
  next.melody.push_back(melody);
  const std::size_t before = following.instrument.sent.size();
  following.follow(next);
  EXPECT_EQ(
      std::count_if(following.instrument.sent.begin() + static_cast<std::ptrdiff_t>(before),
                    following.instrument.sent.end(), [](const auto& event) { return event.bytes[1] == 76; }),
      0)
      << "the melody belongs to both";
  following.output.stop(Micros(1'000));
  EXPECT_TRUE(following.instrument.held.empty());
}

TEST(ChordOutput, WhatCouldNotBeSentIsSentWithTheNextMoment) {
  Following following(Carries::kBass);
  following.instrument.connected = false;
  following.follow(sounding(5, "maj", 5));
  following.instrument.connected = true;
  following.follow(sounding(5, "maj", 5));
  EXPECT_EQ(following.instrument.held, (std::vector<int>{41}));
}

TEST(ChordOutput, CarriesNothingUnlessAskedTo) {
  Following following(Carries::kNothing);
  following.follow(sounding(5, "maj", 5));
  EXPECT_TRUE(following.instrument.sent.empty());
}

}  // namespace
}  // namespace undersong::live
