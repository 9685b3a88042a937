#include "daemon/midi/echo_guard.h"

#include <gtest/gtest.h>

namespace undersong::midi {
namespace {

constexpr Micros ms(int n) {
  return Micros(n * 1000);
}
Event on(Micros at, int key, PortNumber port = 0, int velocity = 60) {
  return note_on(at, 0, Pitch(key), Velocity(velocity), port);
}
Event off(Micros at, int key, PortNumber port = 0) {
  return note_off(at, 0, Pitch(key), port);
}

TEST(EchoGuard, TakesWhatComesBackWithinTheWindowForAnEcho) {
  EchoGuard guard;
  guard.sent(on(ms(100), 60));
  guard.sent(off(ms(300), 60));
  EXPECT_TRUE(guard.is_echo(on(ms(103), 60)));
  EXPECT_TRUE(guard.is_echo(off(ms(303), 60)));
}

TEST(EchoGuard, HearsTheSameKeyPlayedAtAnotherTime) {
  EchoGuard guard;
  guard.sent(on(ms(100), 60));
  EXPECT_FALSE(guard.is_echo(on(ms(99), 60))) << "before it was sent";
  EXPECT_FALSE(guard.is_echo(on(ms(100) + EchoGuard::kWindow + ms(1), 60))) << "after the window";
  EXPECT_TRUE(guard.is_echo(on(ms(100) + EchoGuard::kWindow, 60))) << "the window's last moment";
}

TEST(EchoGuard, HearsAKeyPlayedBesideItsEcho) {
  EchoGuard guard;
  guard.sent(on(ms(100), 60));
  EXPECT_TRUE(guard.is_echo(on(ms(102), 60)));
  EXPECT_FALSE(guard.is_echo(on(ms(105), 60))) << "one message sent explains one echo";
  guard.sent(on(ms(110), 60)), guard.sent(on(ms(111), 60));
  EXPECT_TRUE(guard.is_echo(on(ms(112), 60)));
  EXPECT_TRUE(guard.is_echo(on(ms(112), 60)));
  EXPECT_FALSE(guard.is_echo(on(ms(112), 60)));
}

TEST(EchoGuard, ExpectsAnEchoOnEveryInput) {
  EchoGuard guard;
  guard.sent(on(ms(0), 60));
  EXPECT_TRUE(guard.is_echo(on(ms(1), 60, 3)));
  EXPECT_TRUE(guard.is_echo(on(ms(2), 60, 4)));
  EXPECT_FALSE(guard.is_echo(on(ms(3), 60, 3)));
}

TEST(EchoGuard, ComparesOnOffChannelAndPitchButNotVelocity) {
  EchoGuard guard;
  guard.sent(on(ms(0), 60));
  EXPECT_FALSE(guard.is_echo(on(ms(1), 61)));
  EXPECT_FALSE(guard.is_echo(off(ms(1), 60)));
  EXPECT_FALSE(guard.is_echo(note_on(ms(1), 1, Pitch(60), Velocity(60))));
  EXPECT_TRUE(guard.is_echo(on(ms(1), 60, 0, 33)));
  guard.sent(on(ms(0), 64, 0, 0));  // note-on of velocity 0 comes back as a note-off of velocity 64
  EXPECT_TRUE(guard.is_echo(off(ms(1), 64)));
  guard.sent(control_change(ms(0), 0, 64, 127));
  EXPECT_FALSE(guard.is_echo(control_change(ms(1), 0, 64, 0)));
  EXPECT_TRUE(guard.is_echo(control_change(ms(1), 0, 64, 127)));
}

TEST(EchoGuard, ForgetsTheOldestWhenMuchIsSent) {
  EchoGuard guard;
  for (std::size_t i = 0; i < EchoGuard::kRemembered + 1; ++i)
    guard.sent(on(ms(0), static_cast<int>(i % 128)));
  int echoes = 0;
  for (int round = 0; round < 3; ++round) {
    for (int key = 0; key < 128; ++key) echoes += guard.is_echo(on(ms(1), key));
  }
  EXPECT_EQ(echoes, static_cast<int>(EchoGuard::kRemembered));
}

}  // namespace
}  // namespace undersong::midi
