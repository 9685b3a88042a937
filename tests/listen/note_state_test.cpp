#include "daemon/listen/note_state.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <random>

#include "daemon/midi/source.h"

namespace undersong::listen {
namespace {

using midi::control_change;
using midi::note_off;
using midi::note_on;
using Kind = NoteChange::Kind;

class NoteStateTest : public testing::Test {
 protected:
  std::vector<NoteChange> on(int key, int velocity = 80, int channel = 0, int port = 0) {
    return send(
        note_on(now(), std::uint8_t(channel), Pitch(key), Velocity(velocity), midi::PortNumber(port)));
  }
  std::vector<NoteChange> off(int key, int channel = 0, int port = 0) {
    return send(note_off(now(), std::uint8_t(channel), Pitch(key), midi::PortNumber(port)));
  }
  std::vector<NoteChange> cc(int controller, int value, int channel = 0, int port = 0) {
    return send(control_change(now(), std::uint8_t(channel), std::uint8_t(controller), std::uint8_t(value),
                               midi::PortNumber(port)));
  }
  std::vector<NoteChange> send(const midi::Event& e) {
    const auto changes = state.apply(e);
    return {changes.begin(), changes.end()};
  }
  Micros now() { return time += Micros(1000); }
  static NoteChange change(Kind kind, int key, int velocity = 80) {
    return {kind, Pitch(key), Velocity(velocity)};
  }
  using Changes = std::vector<NoteChange>;

  NoteState state;
  Micros time{};
};

TEST_F(NoteStateTest, AKeySoundsUntilItIsReleased) {
  EXPECT_EQ(on(60, 90), (Changes{change(Kind::kStruck, 60, 90)}));
  EXPECT_TRUE(state.is_down(Pitch(60)));
  EXPECT_EQ(state.onset(Pitch(60)), Micros(1000));
  EXPECT_EQ(state.velocity(Pitch(60)), Velocity(90));
  EXPECT_EQ(off(60), (Changes{change(Kind::kReleased, 60, 90), change(Kind::kStopped, 60, 90)}));
  EXPECT_TRUE(state.silent());
  EXPECT_EQ(state.onset(Pitch(60)), std::nullopt);
  EXPECT_EQ(off(60), Changes{}) << "a note-off for a key that isn't down says nothing";
}

TEST_F(NoteStateTest, NoteOnWithVelocityZeroReleases) {
  on(60);
  EXPECT_EQ(on(60, 0), (Changes{change(Kind::kReleased, 60), change(Kind::kStopped, 60)}));
}

TEST_F(NoteStateTest, TheDamperHoldsFromValue64AndLetsGoBelow) {
  on(60);
  cc(64, 63);
  EXPECT_FALSE(state.damper_down());
  cc(64, 64);
  EXPECT_TRUE(state.damper_down());
  EXPECT_EQ(off(60), (Changes{change(Kind::kReleased, 60)}));
  EXPECT_TRUE(state.is_sounding(Pitch(60)) && !state.is_down(Pitch(60)));
  EXPECT_EQ(cc(64, 127), Changes{}) << "a continuous pedal sends many values";
  EXPECT_EQ(cc(64, 63), (Changes{change(Kind::kStopped, 60)}));
}

TEST_F(NoteStateTest, SostenutoHoldsOnlyKeysThatWereDownWhenItWasPressed) {
  on(48);
  cc(66, 127);
  on(60);
  EXPECT_EQ(off(60), (Changes{change(Kind::kReleased, 60), change(Kind::kStopped, 60)}));
  EXPECT_EQ(off(48), (Changes{change(Kind::kReleased, 48)}));
  cc(66, 100);  // still down: no further note is caught
  on(62), off(62);
  EXPECT_FALSE(state.is_sounding(Pitch(62)));
  EXPECT_EQ(cc(66, 0), (Changes{change(Kind::kStopped, 48)}));
}

TEST_F(NoteStateTest, LiftingOnePedalLeavesWhatTheOtherHolds) {
  on(48);
  cc(66, 127), cc(64, 127);
  on(60);
  off(48), off(60);
  EXPECT_EQ(cc(64, 0), (Changes{change(Kind::kStopped, 60)}));
  EXPECT_TRUE(state.is_sounding(Pitch(48)));
  cc(64, 127);
  EXPECT_EQ(cc(66, 0), Changes{}) << "the damper was pressed again before";
  EXPECT_EQ(cc(64, 0), (Changes{change(Kind::kStopped, 48)}));
}

TEST_F(NoteStateTest, AKeyStruckAgainIsOneKeyWithANewOnset) {
  on(60, 50);
  on(60, 70);
  EXPECT_EQ(state.onset(Pitch(60)), Micros(2000));
  EXPECT_EQ(state.velocity(Pitch(60)), Velocity(70));
  off(60);
  EXPECT_TRUE(state.silent());
}

TEST_F(NoteStateTest, AllNotesOffReleasesKeysButPedalsHold) {
  for (int mode : {123, 124, 125, 126, 127}) {
    on(60), cc(64, 127), on(64);
    EXPECT_EQ(cc(mode, 0), (Changes{change(Kind::kReleased, 60), change(Kind::kReleased, 64)})) << mode;
    EXPECT_TRUE(state.is_sounding(Pitch(60)));
    EXPECT_EQ(cc(64, 0), (Changes{change(Kind::kStopped, 60), change(Kind::kStopped, 64)}));
    EXPECT_TRUE(state.silent());
  }
}

TEST_F(NoteStateTest, AllSoundOffSilencesEvenUnderPedals) {
  on(60), cc(64, 127), off(60), on(67);
  EXPECT_EQ(cc(120, 0),
            (Changes{change(Kind::kStopped, 60), change(Kind::kReleased, 67), change(Kind::kStopped, 67)}));
  EXPECT_TRUE(state.silent());
}

TEST_F(NoteStateTest, ResetAllControllersLiftsBothPedalsAndKeepsKeys) {
  on(48), cc(66, 127), off(48), cc(64, 127), on(60), off(60), on(72);
  EXPECT_EQ(cc(121, 0), (Changes{change(Kind::kStopped, 48), change(Kind::kStopped, 60)}));
  EXPECT_TRUE(state.is_down(Pitch(72)));
  EXPECT_FALSE(state.damper_down());
}

TEST_F(NoteStateTest, PortsAndChannelsAreFollowedApartAndMergedByPitch) {
  on(60, 80, 0, 0), on(60, 81, 1, 0), on(60, 82, 0, 1);
  EXPECT_EQ(off(60, 0, 0), Changes{});
  EXPECT_EQ(off(60, 1, 0), Changes{});
  EXPECT_TRUE(state.is_down(Pitch(60)));
  cc(64, 127, 0, 0);  // another input's pedal holds nothing here
  EXPECT_EQ(off(60, 0, 1), (Changes{change(Kind::kReleased, 60, 82), change(Kind::kStopped, 60, 82)}));
}

TEST_F(NoteStateTest, AnInputThatGoesReleasesAllItsNotesAndPedals) {
  on(60, 80, 0, 2), on(64, 80, 1, 2), cc(64, 127, 0, 2), off(60, 0, 2), on(67, 80, 0, 0);
  EXPECT_EQ(send(midi::make_notice(midi::Notice::kPortGone, 2, now())),
            (Changes{change(Kind::kStopped, 60), change(Kind::kReleased, 64), change(Kind::kStopped, 64)}));
  EXPECT_TRUE(state.is_down(Pitch(67)));
  EXPECT_FALSE(state.damper_down());
  EXPECT_EQ(send(midi::make_notice(midi::Notice::kPortCame, 2, now())), Changes{});
  on(60, 80, 0, 2), off(60, 0, 2);
  EXPECT_FALSE(state.is_sounding(Pitch(60))) << "the pedal of before is forgotten";
}

TEST_F(NoteStateTest, LostEventsReleaseTheInputRatherThanLeaveANoteHanging) {
  on(60);
  EXPECT_EQ(send(midi::make_notice(midi::Notice::kLost, 0, now())).size(), 2u);
  EXPECT_TRUE(state.silent());
}

TEST_F(NoteStateTest, TheDrumChannelIsNotHarmony) {
  EXPECT_EQ(on(36, 100, 9), Changes{});
  EXPECT_TRUE(state.silent());
}

TEST_F(NoteStateTest, IgnoresWhatIsNoNote) {
  on(60);
  EXPECT_EQ(send({now(), {0xF8, 0, 0}, 1, 0}), Changes{});
  EXPECT_EQ(send({now(), {0xC0, 5, 0}, 2, 0}), Changes{});
  EXPECT_EQ(send({now(), {0xE0, 0, 64}, 3, 0}), Changes{});
  EXPECT_EQ(send({now(), {0xA0, 60, 0}, 3, 0}), Changes{}) << "pressure 0 is no release";
  EXPECT_TRUE(state.is_down(Pitch(60)));
}

// The same rules in the simplest way: a list of voices, each of which is asked after every event whether it
// still sounds.
class NaiveNotes {
 public:
  void apply(const midi::Event& e) {
    const auto notice = midi::notice_of(e);
    if (notice == midi::Notice::kPortGone || notice == midi::Notice::kLost ||
        notice == midi::Notice::kEnded) {
      std::erase_if(voices_, [&](const Voice& v) { return v.port == e.port; });
      std::erase_if(pedals_, [&](const auto& p) { return std::get<0>(p.first) == e.port; });
      return;
    }
    if (e.size != 3 || e.channel() == 9) return;
    const auto mine = [&](const Voice& v) { return v.port == e.port && v.channel == e.channel(); };
    const int kind = e.kind(), one = e.bytes[1], two = e.bytes[2];
    if (kind == 0x90 && two > 0) {
      auto it = std::find_if(voices_.begin(), voices_.end(),
                             [&](const Voice& v) { return mine(v) && v.key == one; });
      if (it == voices_.end()) it = voices_.insert(voices_.end(), Voice{e.port, e.channel(), one});
      it->down = true;
      last_[one] = {e.at, two};
    } else if (kind == 0x80 || kind == 0x90) {
      for (Voice& v : voices_) v.down = v.down && !(mine(v) && v.key == one);
    } else if (kind == 0xB0) {
      bool& damper = pedals_[{e.port, e.channel(), 64}];
      bool& sostenuto = pedals_[{e.port, e.channel(), 66}];
      if (one == 64) damper = two >= 64;
      if (one == 66) {
        if (two >= 64 && !sostenuto) {
          for (Voice& v : voices_) v.caught = v.caught || (mine(v) && v.down);
        }
        sostenuto = two >= 64;
      }
      if (one == 120) std::erase_if(voices_, mine);
      if (one == 121) damper = sostenuto = false;
      if (one >= 123) {
        for (Voice& v : voices_) v.down = v.down && !mine(v);
      }
    }
    for (Voice& v : voices_) v.caught = v.caught && pedals_[{v.port, v.channel, 66}];
    std::erase_if(voices_, [&](const Voice& v) {
      return !v.down && !v.caught && !pedals_[{v.port, v.channel, 64}];
    });
  }
  PitchSet down() const {
    return set([](const Voice& v) { return v.down; });
  }
  PitchSet sounding() const {
    return set([](const Voice&) { return true; });
  }
  bool pedal(int controller) const {
    return std::any_of(pedals_.begin(), pedals_.end(),
                       [&](const auto& p) { return std::get<2>(p.first) == controller && p.second; });
  }
  std::pair<Micros, int> last(int key) const { return last_.at(key); }

 private:
  struct Voice {
    int port, channel, key;
    bool down = true, caught = false;
  };
  template <class Which>
  PitchSet set(Which which) const {
    PitchSet s;
    for (const Voice& v : voices_) {
      if (which(v)) s.set(static_cast<std::size_t>(v.key));
    }
    return s;
  }
  std::vector<Voice> voices_;
  std::map<std::tuple<int, int, int>, bool> pedals_;
  std::map<int, std::pair<Micros, int>> last_;
};

TEST(NoteStateProperty, AgreesWithANaiveModelOver200000RandomEvents) {
  std::mt19937 rng(42);
  const auto pick = [&](int from, int to) { return std::uniform_int_distribution<int>(from, to)(rng); };
  NoteState state;
  NaiveNotes naive;
  std::array<int, 3> seen{};
  for (int i = 0; i < 200'000; ++i) {
    midi::Event e{Micros(i), {}, 3, static_cast<midi::PortNumber>(pick(0, 2))};
    const int channel = std::array{0, 1, 9}[static_cast<std::size_t>(pick(0, 2))];
    const int what = pick(0, 99);
    const auto bytes = [&](int kind, int one, int two) {
      e.bytes = {std::uint8_t(kind | channel), std::uint8_t(one), std::uint8_t(two)};
    };
    if (what < 45)
      bytes(0x90, pick(58, 66), pick(0, 9) == 0 ? 0 : pick(1, 127));
    else if (what < 75)
      bytes(0x80, pick(58, 66), pick(0, 127));
    else if (what < 85)
      bytes(0xB0, 64, pick(0, 127));
    else if (what < 93)
      bytes(0xB0, 66, pick(0, 127));
    else if (what < 96)
      bytes(0xB0, pick(119, 127), 0);
    else if (what < 98)
      bytes(pick(0xA, 0xE) << 4, pick(0, 60), pick(0, 127));
    else
      e = midi::make_notice(static_cast<midi::Notice>(pick(1, 4)), e.port, e.at);

    const PitchSet down_before = state.down(), sounding_before = state.sounding();
    naive.apply(e);
    const auto changes = state.apply(e);
    ASSERT_EQ(state.down(), naive.down()) << "event " << i;
    ASSERT_EQ(state.sounding(), naive.sounding()) << "event " << i;
    ASSERT_EQ(state.damper_down(), naive.pedal(64)) << "event " << i;
    // The changes told are exactly the difference.
    PitchSet struck, released, stopped;
    for (const NoteChange& c : changes) {
      ++seen[static_cast<std::size_t>(c.kind)];
      PitchSet& set = c.kind == Kind::kStruck ? struck : c.kind == Kind::kReleased ? released : stopped;
      ASSERT_FALSE(set[static_cast<std::size_t>(c.pitch.value())]) << "told twice, event " << i;
      set.set(static_cast<std::size_t>(c.pitch.value()));
    }
    ASSERT_EQ((down_before | struck) & ~released, state.down()) << "event " << i;
    ASSERT_EQ((sounding_before | struck) & ~stopped, state.sounding()) << "event " << i;
    ASSERT_EQ(released, down_before & ~state.down()) << "event " << i;
    ASSERT_EQ(stopped, sounding_before & ~state.sounding()) << "event " << i;
    for (int key = 58; key <= 66; ++key) {
      if (!state.is_sounding(Pitch(key))) continue;
      ASSERT_EQ(state.onset(Pitch(key)), naive.last(key).first);
      ASSERT_EQ(state.velocity(Pitch(key)), Velocity(naive.last(key).second));
    }
  }
  for (int n : seen) EXPECT_GT(n, 4'000) << "the random walk must visit every kind of change";
}

}  // namespace
}  // namespace undersong::listen
