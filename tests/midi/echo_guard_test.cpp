#include "daemon/midi/echo_guard.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <set>
#include <vector>

#include "daemon/midi/source.h"
#include "tests/base/times.h"

namespace undersong::midi {
namespace {

Event on(Micros at, int key, PortNumber port = 0, int velocity = 60) {
  return note_on(at, 0, Pitch(key), Velocity(velocity), port);
}
Event off(Micros at, int key, PortNumber port = 0) {
  return note_off(at, 0, Pitch(key), port);
}
Event through(Event sent, Micros delay, PortNumber port = 0) {
  sent.at += delay;
  sent.port = port;
  return sent;
}

// Sends as Output does, probes included, and remembers what was sent.
struct Sending {
  EchoGuard guard;
  std::vector<Event> out;
  void send(const Event& message) {
    if (const auto probe = guard.probe_before(message))
      for (const Event& ask : *probe) guard.sent(ask, true), out.push_back(ask);
    guard.sent(message);
    out.push_back(message);
  }
  bool is_echo(const Event& received) { return guard.judge(received) == EchoGuard::Verdict::kEcho; }
  bool is_played(const Event& received) { return guard.judge(received) == EchoGuard::Verdict::kPlayed; }
};

// A guard that already knows a loop on each of these inputs.
struct Looped : Sending {
  explicit Looped(std::initializer_list<PortNumber> ports = {0}) {
    const auto probe = guard.probe_before(on(ms(0), 60));
    for (const Event& ask : *probe) guard.sent(ask, true);
    for (const PortNumber port : ports)
      for (const Event& ask : *probe)
        EXPECT_EQ(guard.judge(through(ask, ms(3), port)), EchoGuard::Verdict::kProbe);
    for (const PortNumber port : ports) EXPECT_TRUE(guard.loop_known(port));
  }
};

TEST(EchoGuardWithoutALoop, KeepsTheSameKeyStruckAfterOursAtAnyDelay) {
  Sending s;
  int kept = 0;
  for (int i = 0; i < 20; ++i) {
    const Micros at = ms(1000 * (i + 1)), late = ms(5 + i * 145 / 19);
    s.send(on(at, 64));
    kept += s.is_played(on(at + late, 64));
    s.send(off(at + ms(300), 64));
    kept += s.is_played(off(at + ms(310), 64));
  }
  EXPECT_EQ(kept, 40) << "20 notes, each with its end";
  EXPECT_FALSE(s.guard.loop_known(0));
}

TEST(EchoGuardWithoutALoop, KeepsTwoChordTonesDoubledExactly30MillisecondsLate) {
  Sending s;
  int kept = 0;
  for (int i = 0; i < 12; ++i) {
    const Micros at = ms(500 * (i + 1));
    for (const int key : {41, 57, 60, 65}) s.send(on(at, key));
    for (const int key : {60, 65}) kept += s.is_played(on(at + ms(30), key));
    for (const int key : {41, 57, 60, 65}) s.send(off(at + ms(450), key));
    for (const int key : {60, 65}) EXPECT_TRUE(s.is_played(off(at + ms(480), key)));
  }
  EXPECT_EQ(kept, 24);
  EXPECT_FALSE(s.guard.loop_known(0));
}

TEST(EchoGuardWithoutALoop, KeepsWholeChordsAndLinesThatAHumanHandDoubles) {
  // A player doubles every note that we play, note-offs included, 20 to 50 ms late and with any velocity.
  std::mt19937 random(7);
  std::uniform_int_distribution<int> late(20, 50), hard(30, 110);
  for (int round = 0; round < 20; ++round) {
    Sending s;
    int kept = 0, played = 0;
    for (int i = 0; i < 60; ++i) {
      const Micros at = ms(600 * (i + 1));
      const std::vector<int> keys = round % 2 ? std::vector<int>{40 + i % 12} : std::vector<int>{48, 64, 67};
      for (const int key : keys) s.send(on(at, key));
      std::vector<Event> hand;
      for (const int key : keys) hand.push_back(on(at + ms(late(random)), key, 0, hard(random)));
      std::stable_sort(hand.begin(), hand.end(), [](const Event& a, const Event& b) { return a.at < b.at; });
      for (const Event& e : hand) kept += s.is_played(e), ++played;
      for (const int key : keys) s.send(off(at + ms(500), key));
      for (const int key : keys) kept += s.is_played(off(at + ms(420 + late(random) * 5), key)), ++played;
    }
    EXPECT_EQ(kept, played) << round;
    EXPECT_FALSE(s.guard.loop_known(0)) << round;
  }
}

TEST(EchoGuard, KnowsALoopBeforeTheFirstNoteReturns) {
  Sending s;
  for (const int key : {48, 64, 67, 71}) s.send(on(ms(100), key));
  for (const Event& sent : std::vector<Event>(s.out))
    EXPECT_NE(s.guard.judge(through(sent, ms(9), 2)), EchoGuard::Verdict::kPlayed);
  EXPECT_TRUE(s.guard.loop_known(2));
  EXPECT_FALSE(s.guard.loop_known(0)) << "another input's loop is none of this one";
  EXPECT_TRUE(s.is_played(on(ms(110), 48, 0))) << "so what is played there is heard";
}

TEST(EchoGuard, KnowsEchoesWhoseTimeStampLiesBeforeTheSending) {
  // An input's clock may put a message up to ArrivalClock::kSlack before its arrival, and a fast instrument
  // answers within less than that.
  for (const Micros delay : {-ArrivalClock::kSlack, Micros(-4'999), Micros(-1), Micros(0)}) {
    Sending s;
    int echoes = 0, probes = 0;
    for (int round = 0; round < 30; ++round) {
      const Micros at = ms(1000 * (round + 1));
      s.out.clear();
      for (const int key : {48, 64, 67, 71}) s.send(on(at, key));
      for (const int key : {48, 64, 67, 71}) s.send(off(at + ms(400), key));
      for (const Event& sent : s.out) {
        const auto verdict = s.guard.judge(through(sent, delay, 2));
        echoes += verdict == EchoGuard::Verdict::kEcho;
        probes += verdict == EchoGuard::Verdict::kProbe;
      }
    }
    EXPECT_EQ(echoes, 30 * 8) << delay.count();
    EXPECT_GT(probes, 0);
  }
}

TEST(EchoGuard, TheEndOfANoteThatWasLetThroughIsLetThroughToo) {
  std::mt19937 random(11);
  std::uniform_int_distribution<int> key(60, 63), what(0, 9), delay(-5'000, 190'000);
  for (int round = 0; round < 200; ++round) {
    Looped s;
    std::vector<Event> coming;
    Micros at = ms(500);
    for (int i = 0; i < 60; ++i) {
      at += Micros(40'000);
      const int which = key(random);
      // Ours, and what comes back of it: late, early, or not at all.
      s.out.clear();
      i % 2 ? s.send(off(at, which)) : s.send(on(at, which));
      for (const Event& sent : s.out)
        if (what(random) > 1) coming.push_back(through(sent, Micros(delay(random))));
      if (what(random) > 6) {  // the player's own key
        coming.push_back(on(at + ms(3), which, 0, 90));
        coming.push_back(off(at + ms(30), which));
      }
    }
    for (int which = 60; which <= 63; ++which) coming.push_back(off(at + ms(900), which));
    std::stable_sort(coming.begin(), coming.end(),
                     [](const Event& a, const Event& b) { return a.at < b.at; });
    std::set<int> down;
    for (const Event& e : coming) {
      if (!s.is_played(e)) continue;
      if (e.kind() == kNoteOn && e.bytes[2] > 0) down.insert(e.bytes[1]);
      if (e.kind() == kNoteOff) down.erase(e.bytes[1]);
    }
    EXPECT_TRUE(down.empty()) << round << ": " << down.size() << " keys hang";
  }
}

TEST(EchoGuard, ProbesOnlyBeforeANoteAndNotAgainForAWhile) {
  Sending s;
  s.send(control_change(ms(0), 0, 64, 127));
  s.send(off(ms(0), 60));
  EXPECT_EQ(s.out.size(), 2u);
  s.send(on(ms(1), 60));
  ASSERT_EQ(s.out.size(), 5u);
  for (const std::size_t i : {2u, 3u}) {
    EXPECT_EQ(s.out[i].kind(), 0xA0) << "key pressure";
    EXPECT_LT(s.out[i].bytes[1], 2) << "on a key that isn't on a keyboard";
  }
  s.send(on(ms(1000), 60));
  EXPECT_EQ(s.out.size(), 6u);
  const auto first = s.out[2].bytes;
  s.send(on(ms(1) + EchoGuard::kProbeEvery, 60));
  ASSERT_EQ(s.out.size(), 9u);
  EXPECT_NE(s.out[6].bytes, first) << "an answer belongs to one question";
}

TEST(EchoGuard, AnInstrumentThatKeepsKeyPressureToItselfIsKnownAfterTheFirstChord) {
  Sending s;
  const std::vector<int> chord{48, 64, 67, 71};
  for (const int key : chord) s.send(on(ms(100), key));
  int leaked = 0;
  for (const int key : chord) leaked += s.is_played(on(ms(108), key));
  EXPECT_EQ(leaked, 2) << "the third key proves it";
  EXPECT_TRUE(s.guard.loop_known(0));
  // What was passed on is released; what was not needs no note-off.
  for (const int key : chord) s.send(off(ms(400), key));
  EXPECT_TRUE(s.is_played(off(ms(408), 48)));
  EXPECT_TRUE(s.is_played(off(ms(408), 64)));
  EXPECT_TRUE(s.is_echo(off(ms(408), 67)));
  EXPECT_TRUE(s.is_echo(off(ms(408), 71)));
  // From now on nothing is passed on, although no probe is answered.
  for (int i = 1; i < 30; ++i) {
    for (const int key : chord) s.send(on(ms(1000 * i), key));
    for (const int key : chord) EXPECT_TRUE(s.is_echo(on(ms(1000 * i + 8), key)));
    for (const int key : chord) s.send(off(ms(1000 * i + 500), key));
    for (const int key : chord) EXPECT_TRUE(s.is_echo(off(ms(1000 * i + 508), key)));
  }
}

TEST(EchoGuard, AnInstrumentThatChangesLoudnessIsKnownByALongerRow) {
  Sending s;
  int leaked = 0;
  for (int i = 0; i < 20; ++i) {
    const Micros at = ms(500 * (i + 1));
    s.send(on(at, 60 + i % 3));
    leaked += s.is_played(on(at + ms(8 + i % 4), 60 + i % 3, 0, 71));
    s.send(off(at + ms(250), 60 + i % 3));
    s.is_played(off(at + ms(258), 60 + i % 3));
  }
  EXPECT_TRUE(s.guard.loop_known(0));
  EXPECT_LE(leaked, 12);
}

TEST(EchoGuard, TakesWhatIsStampedBeforeItsSendingForAnEcho) {
  Looped s;
  s.send(on(ms(500), 60));
  EXPECT_TRUE(s.is_echo(on(ms(500) - ArrivalClock::kSlack, 60)))
      << "an input's stamp may lie so long before its arrival";
  s.send(off(ms(800), 60));
  EXPECT_TRUE(s.is_echo(off(ms(797), 60)));
}

TEST(EchoGuard, HearsTheSameKeyPlayedAtAnotherTime) {
  Looped s;
  s.send(on(ms(500), 60));
  EXPECT_FALSE(s.is_echo(on(ms(490), 60))) << "before it was sent";
  EXPECT_FALSE(s.is_echo(on(ms(500) + EchoGuard::kWindow + ms(1), 60))) << "after the window";
  s.send(on(ms(1000), 60));
  EXPECT_TRUE(s.is_echo(on(ms(1000) + EchoGuard::kWindow, 60))) << "an echo that was held up";
}

TEST(EchoGuard, HearsAKeyPlayedBesideItsEcho) {
  Looped s;
  s.send(on(ms(100), 60));
  EXPECT_TRUE(s.is_echo(on(ms(102), 60)));
  EXPECT_FALSE(s.is_echo(on(ms(105), 60))) << "one message sent explains one echo";
  s.send(on(ms(110), 60)), s.send(on(ms(111), 60));
  EXPECT_TRUE(s.is_echo(on(ms(112), 60)));
  EXPECT_TRUE(s.is_echo(on(ms(112), 60)));
  EXPECT_FALSE(s.is_echo(on(ms(112), 60)));
}

TEST(EchoGuard, TellsThePlayersKeyFromTheEchoByItsLoudnessWhereTheLoopKeepsIt) {
  Looped s;
  for (const int key : {48, 64, 67}) {
    s.send(on(ms(100), key));
    EXPECT_TRUE(s.is_echo(on(ms(104), key)));
  }
  s.send(on(ms(200), 72));
  EXPECT_TRUE(s.is_played(on(ms(201), 72, 0, 93)));
  EXPECT_TRUE(s.is_echo(on(ms(204), 72)));
  s.send(off(ms(400), 72));
  EXPECT_TRUE(s.is_echo(off(ms(404), 72)));
  EXPECT_TRUE(s.is_played(off(ms(600), 72)));
}

TEST(EchoGuard, ExpectsAnEchoOnEveryInputThatLoops) {
  Looped s({3, 4});
  s.send(on(ms(100), 60));
  EXPECT_TRUE(s.is_echo(on(ms(101), 60, 3)));
  EXPECT_TRUE(s.is_echo(on(ms(102), 60, 4)));
  EXPECT_FALSE(s.is_echo(on(ms(103), 60, 3)));
  EXPECT_FALSE(s.is_echo(on(ms(103), 60, 5)));
}

TEST(EchoGuard, ComparesOnOffChannelAndPitchButNotVelocity) {
  Looped s;
  s.send(on(ms(100), 60));
  EXPECT_FALSE(s.is_echo(on(ms(101), 61)));
  EXPECT_FALSE(s.is_echo(off(ms(101), 60)));
  EXPECT_FALSE(s.is_echo(note_on(ms(101), 1, Pitch(60), Velocity(60))));
  EXPECT_TRUE(s.is_echo(on(ms(101), 60, 0, 33)));
  s.send(on(ms(100), 60, 0, 0));  // a note-on of velocity 0 comes back as a note-off of velocity 64
  EXPECT_TRUE(s.is_echo(off(ms(101), 60)));
  s.send(control_change(ms(100), 0, 64, 127));
  EXPECT_FALSE(s.is_echo(control_change(ms(101), 0, 64, 0)));
  EXPECT_TRUE(s.is_echo(control_change(ms(101), 0, 64, 127)));
}

TEST(EchoGuard, ForgetsTheOldestWhenMuchIsSent) {
  Looped s;
  for (std::size_t i = 0; i < EchoGuard::kRemembered + 1; ++i)
    s.guard.sent(on(ms(100), static_cast<int>(i % 128)));
  int echoes = 0;
  for (int round = 0; round < 3; ++round) {
    for (int key = 0; key < 128; ++key) echoes += s.is_echo(on(ms(101), key));
  }
  EXPECT_EQ(echoes, static_cast<int>(EchoGuard::kRemembered));
}

TEST(EchoGuard, ForgetsALoopThatIsUndone) {
  Looped s;
  s.send(on(ms(3000), 60));  // sent with a probe; neither returns
  EXPECT_TRUE(s.is_played(on(ms(3000) + EchoGuard::kWindow + ms(20), 60)));
  EXPECT_FALSE(s.guard.loop_known(0));
  s.send(on(ms(3500), 62));
  EXPECT_TRUE(s.is_played(on(ms(3510), 62)));
}

TEST(EchoGuard, ForgetsALoopWhenItsInputGoes) {
  Looped s;
  s.guard.port_gone(0);
  EXPECT_FALSE(s.guard.loop_known(0));
}

TEST(EchoGuard, ForgetsALoopKnownByItsNotesWhenNotesStayOut) {
  Sending s;
  for (const int key : {48, 64, 67}) s.send(on(ms(100), key)), s.guard.judge(on(ms(105), key));
  ASSERT_TRUE(s.guard.loop_known(0));
  for (int i = 0; i < EchoGuard::kMissed; ++i) s.send(on(ms(300 + i), 50 + i));
  EXPECT_TRUE(s.is_played(on(ms(600), 50)));
  EXPECT_FALSE(s.guard.loop_known(0));
}

TEST(EchoGuard, EndsWithTheSameWordWithWhichANoteBegan) {
  Looped s;
  // The player has held this key for a long time; our own note sounds and ends meanwhile.
  EXPECT_TRUE(s.is_played(on(ms(50), 60, 0, 90)));
  s.send(on(ms(1000), 60));
  EXPECT_TRUE(s.is_echo(on(ms(1004), 60)));
  s.send(off(ms(1300), 60));
  EXPECT_TRUE(s.is_echo(off(ms(1304), 60)));
  EXPECT_TRUE(s.is_played(off(ms(1350), 60)));
  // The player's note-on was taken for the echo of a loop that had just been undone. Its note-off follows it.
  s.send(on(ms(1500), 62));
  EXPECT_TRUE(s.is_echo(on(ms(1510), 62)));
  EXPECT_TRUE(s.is_echo(off(ms(1900), 62)));
}

// Whatever loops come and go, nothing hangs: when all keys are up, each note-on that was passed on has had
// its note-off.
TEST(EchoGuard, NoNoteHangsWhateverLoopsComeAndGo) {
  for (unsigned seed = 0; seed < 300; ++seed) {
    std::mt19937 random(seed);
    const auto pick = [&](int below) { return static_cast<int>(random() % static_cast<unsigned>(below)); };
    Sending s;
    std::vector<Event> coming;  // events on their way to the input, in time order
    bool loop = false, exact = true, pressure = true;
    std::set<int> ours, theirs, heard;
    Micros now = ms(0);
    const auto hear_until = [&](Micros until) {
      std::stable_sort(coming.begin(), coming.end(),
                       [](const Event& a, const Event& b) { return a.at < b.at; });
      std::size_t n = 0;
      for (; n < coming.size() && coming[n].at <= until; ++n) {
        if (s.guard.judge(coming[n]) != EchoGuard::Verdict::kPlayed || coming[n].kind() == 0xA0) continue;
        if (coming[n].kind() == kNoteOn)
          heard.insert(coming[n].bytes[1]);
        else
          heard.erase(coming[n].bytes[1]);
      }
      coming.erase(coming.begin(), coming.begin() + static_cast<std::ptrdiff_t>(n));
    };
    const auto send = [&](Event e) {
      const std::size_t before = s.out.size();
      s.send(e);
      if (!loop) return;
      const Micros delay = Micros(pick(12'000)) - ms(4);
      for (std::size_t i = before; i < s.out.size(); ++i) {
        Event back = through(s.out[i], delay);
        if (!pressure && back.kind() == 0xA0) continue;
        if (!exact && back.kind() == kNoteOn) back.bytes[2] = 77;
        coming.push_back(back);
      }
    };
    for (int step = 0; step < 400; ++step) {
      now += Micros(pick(60'000));
      hear_until(now);
      const int key = 60 + pick(6);
      switch (pick(5)) {
        case 0:
        case 1:
          if (ours.insert(key).second)
            send(on(now, key));
          else
            ours.erase(key), send(off(now, key));
          break;
        case 2:
        case 3:
          if (theirs.insert(key).second)
            coming.push_back(on(now, key, 0, 50 + pick(20)));
          else
            theirs.erase(key), coming.push_back(off(now, key));
          break;
        case 4:
          if (ours.empty() && pick(4) == 0) {  // rewired, once everything under way has arrived
            now += ms(20);
            hear_until(now);
            loop = !loop, exact = pick(2), pressure = pick(2);
          }
      }
    }
    for (const int key : ours) send(off(now, key));
    for (const int key : theirs) coming.push_back(off(now + ms(1), key));
    hear_until(now + ms(1000));
    EXPECT_TRUE(heard.empty()) << "seed " << seed << ": " << heard.size() << " hang, the first is key "
                               << *heard.begin();
  }
}

}  // namespace
}  // namespace undersong::midi
