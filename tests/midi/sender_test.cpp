// The sender: its own thread, its timing, and that no note is left hanging.
#include "daemon/midi/sender.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <future>

#include "daemon/midi/source.h"

namespace undersong::midi {
namespace {

using namespace std::chrono_literals;

// Records what arrives at an output; any thread may ask.
struct Arrived {
  std::mutex mutex;
  std::condition_variable more;
  std::vector<Event> events;
  bool open = true;
  int tended = 0;

  std::vector<Event> copy() {
    const std::lock_guard lock(mutex);
    return events;
  }
  bool until(const std::function<bool()>& enough) {
    std::unique_lock lock(mutex);
    return more.wait_for(lock, 20s, enough);
  }
  std::size_t count(std::uint8_t kind) const {
    return static_cast<std::size_t>(
        std::count_if(events.begin(), events.end(), [&](const Event& e) { return e.kind() == kind; }));
  }
};

class Wire final : public Sink {
 public:
  explicit Wire(Arrived& to) : to_(to) {}
  Result<void> tend() override {
    const std::lock_guard lock(to_.mutex);
    ++to_.tended;
    to_.more.notify_all();
    open_ = to_.open;
    name_ = open_ ? "wire" : "";
    if (!open_) return unavailable("The wire is cut.");
    return {};
  }
  bool connected() const override { return open_; }
  const std::string& port_name() const override { return name_; }
  bool send(const Event& message) override {
    const std::lock_guard lock(to_.mutex);
    to_.events.push_back(message);
    to_.more.notify_all();
    return open_;
  }

 private:
  Arrived& to_;
  bool open_ = false;
  std::string name_;
};

// A MIDI service that does not answer until it is told to.
class Stuck final : public Sink {
 public:
  explicit Stuck(std::shared_ptr<std::promise<void>> asked, std::shared_future<void> answer)
      : asked_(std::move(asked)), answer_(std::move(answer)) {}
  Result<void> tend() override {
    asked_->set_value();
    answer_.wait();
    return unavailable("No answer.");
  }
  bool connected() const override { return false; }
  const std::string& port_name() const override { return name_; }
  bool send(const Event&) override { return false; }

 private:
  std::shared_ptr<std::promise<void>> asked_;
  std::shared_future<void> answer_;
  std::string name_;
};

class SenderTest : public testing::Test {
 protected:
  void open(std::function<void(const Event&)> sent = {}) {
    const auto told = [this] {
      const std::lock_guard lock(arrived.mutex);
      arrived.more.notify_all();
    };
    sender = std::make_unique<Sender>(std::make_unique<Wire>(arrived), told, std::move(sent));
    ASSERT_TRUE(arrived.until([this] { return sender->connected(); }));
  }
  static std::shared_ptr<Score> score(std::vector<Event> events, Micros length,
                                      std::optional<Micros> repeat = {}) {
    return std::make_shared<Score>(Score{std::move(events), length, repeat});
  }
  Arrived arrived;
  std::unique_ptr<Sender> sender;
};

TEST_F(SenderTest, SendsAScoreInOrderNeverEarlyAndReleasesWhatItLeftDown) {
  open();
  const Micros begin = steady_now() + Micros(20'000);
  sender->play(
      score({note_on(Micros(0), 0, Pitch(60), Velocity(50)), control_change(Micros(10'000), 0, 64, 127),
             note_on(Micros(20'000), 3, Pitch(64), Velocity(50)), note_off(Micros(30'000), 0, Pitch(60))},
            Micros(40'000)),
      begin);
  ASSERT_TRUE(arrived.until([&] { return arrived.events.size() >= 6; }));
  const auto events = arrived.copy();
  const std::array<Micros, 6> meant{Micros(0),      Micros(10'000), Micros(20'000),
                                    Micros(30'000), Micros(40'000), Micros(40'000)};
  for (std::size_t i = 0; i < 6; ++i) EXPECT_GE(events[i].at, begin + meant[i]) << i;
  EXPECT_EQ(events[4].kind(), kNoteOff);
  EXPECT_EQ(events[4].bytes[1], 64);
  EXPECT_EQ(events[4].channel(), 3);
  EXPECT_EQ(events[5].bytes[2], 0) << "the pedal goes up";
}

TEST_F(SenderTest, StoppedOrGoneItLetsGoOfEveryNote) {
  open();
  std::vector<Event> chord;
  for (int key : {48, 60, 64, 67}) chord.push_back(note_on(Micros(0), 0, Pitch(key), Velocity(50)));
  sender->play(score(chord, Micros(3'600'000'000)), steady_now());
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOn) == 4; }));
  sender->stop();
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOff) == 4; }));
  sender->play(score(chord, Micros(3'600'000'000)), steady_now());
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOn) == 8; }));
  sender.reset();
  EXPECT_EQ(arrived.count(kNoteOff), 8u);
}

TEST_F(SenderTest, ARepeatedScoreGoesRoundWithoutDrift) {
  std::vector<Micros> meant;  // used by the sender's thread only, until it has ended
  open([&](const Event& event) {
    if (event.kind() == kNoteOn) meant.push_back(event.at);
  });
  const Micros begin = steady_now() + Micros(5'000), round(7'000);
  sender->play(
      score({note_on(Micros(0), 0, Pitch(40), Velocity(9)), note_off(Micros(1'000), 0, Pitch(40)),
             note_on(Micros(3'000), 0, Pitch(60), Velocity(9)), note_off(Micros(5'000), 0, Pitch(60))},
            Micros(3'000) + round, Micros(3'000)),
      begin);
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOn) >= 12; }));
  sender->stop();
  sender.reset();
  ASSERT_GE(meant.size(), 12u);
  EXPECT_EQ(meant[0], begin);
  for (std::size_t i = 1; i < meant.size(); ++i)
    EXPECT_EQ(meant[i], begin + Micros(3'000) + round * static_cast<int>(i - 1));
}

TEST_F(SenderTest, ALaterScoreTakesThePlaceOfTheOneBefore) {
  open();
  sender->play(score({note_on(Micros(0), 0, Pitch(60), Velocity(50)),
                      note_on(Micros(3'600'000'000), 0, Pitch(99), Velocity(50))},
                     Micros(3'700'000'000)),
               steady_now());
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOn) == 1; }));
  sender->play(score({note_on(Micros(0), 0, Pitch(72), Velocity(50))}, Micros(1'000)), steady_now());
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOff) == 2; }));
  std::vector<int> keys;
  for (const Event& e : arrived.copy()) keys.push_back(e.bytes[1]);
  EXPECT_EQ(keys, (std::vector<int>{60, 60, 72, 72}));
}

TEST_F(SenderTest, WhileNothingIsThereItSaysSoAndRefuses) {
  arrived.open = false;
  sender = std::make_unique<Sender>(std::make_unique<Wire>(arrived), [] {});
  ASSERT_TRUE(arrived.until([&] { return arrived.tended == 1; }));
  EXPECT_FALSE(sender->send(note_on(Micros(0), 0, Pitch(60), Velocity(50))));
  {
    const std::lock_guard lock(arrived.mutex);
    arrived.open = true;
  }
  sender->look();  // instead of waiting for the next regular check
  ASSERT_TRUE(arrived.until([&] { return arrived.tended >= 2; }));
  // The result is known a moment after the check.
  while (!sender->connected()) std::this_thread::yield();
  EXPECT_EQ(sender->trouble(), "");
  EXPECT_TRUE(sender->send(note_on(Micros(0), 0, Pitch(60), Velocity(50))));
  EXPECT_TRUE(arrived.until([&] { return arrived.count(kNoteOn) == 1; }));
}

// JACK tells of a connection before it shows it.
TEST_F(SenderTest, WhatIsToldBeforeItCanBeSeenIsSeenAtASecondLook) {
  arrived.open = false;
  sender = std::make_unique<Sender>(std::make_unique<Wire>(arrived), [] {});
  ASSERT_TRUE(arrived.until([&] { return arrived.tended == 1; }));
  const Micros told = steady_now();
  sender->look();
  ASSERT_TRUE(arrived.until([&] {
    arrived.open = arrived.tended >= 2;  // too late for the first look
    return arrived.tended >= 3;
  }));
  EXPECT_LT(steady_now() - told, Sender::kTendEvery) << "it did not wait for the next regular check";
}

TEST_F(SenderTest, AServiceThatDoesNotAnswerKeepsNobodyWaiting) {
  auto asked = std::make_shared<std::promise<void>>();
  std::promise<void> answer;
  Sender stuck(std::make_unique<Stuck>(asked, answer.get_future().share()), [] {});
  asked->get_future().wait();  // now the sender's thread hangs
  EXPECT_FALSE(stuck.send(note_on(Micros(0), 0, Pitch(60), Velocity(50))));
  EXPECT_EQ(stuck.trouble(), "The MIDI output is being opened.");
  stuck.stop();
  stuck.use(std::make_unique<Wire>(arrived));
  EXPECT_FALSE(stuck.connected());
  answer.set_value();
  EXPECT_TRUE(arrived.until([&] { return arrived.tended > 0; }));
}

// A port that throws for one message.
class Faulty final : public Sink {
 public:
  explicit Faulty(Arrived& to) : wire_(to) {}
  Result<void> tend() override { return wire_.tend(); }
  bool connected() const override { return wire_.connected(); }
  const std::string& port_name() const override { return wire_.port_name(); }
  bool send(const Event& message) override {
    if (message.bytes[1] == 61) throw std::bad_alloc();
    return wire_.send(message);
  }

 private:
  Wire wire_;
};

TEST(Sender, APortThatThrowsLosesThatMessageAndNoOther) {
  Arrived arrived;
  Sender sender(std::make_unique<Faulty>(arrived), {});
  while (!sender.connected()) std::this_thread::yield();
  for (const int key : {60, 61, 62})
    ASSERT_TRUE(sender.send(note_on(Micros(0), 0, Pitch(key), Velocity(70))));
  ASSERT_TRUE(arrived.until([&] { return arrived.events.size() == 2; }));
  EXPECT_EQ(arrived.copy().back().bytes[1], 62);
}

// A port that throws when one note is to be ended.
class Clinging final : public Sink {
 public:
  explicit Clinging(Arrived& to) : wire_(to) {}
  Result<void> tend() override { return wire_.tend(); }
  bool connected() const override { return wire_.connected(); }
  const std::string& port_name() const override { return wire_.port_name(); }
  bool send(const Event& message) override {
    if (message.kind() == kNoteOff && message.bytes[1] == 61) throw std::bad_alloc();
    return wire_.send(message);
  }

 private:
  Wire wire_;
};

TEST(Sender, ANoteWhoseEndCannotBeSentLeavesNoOtherNoteHanging) {
  Arrived arrived;
  Sender sender(std::make_unique<Clinging>(arrived), {});
  while (!sender.connected()) std::this_thread::yield();
  for (const int key : {60, 61, 62})
    ASSERT_TRUE(sender.send(note_on(Micros(0), 0, Pitch(key), Velocity(70))));
  ASSERT_TRUE(arrived.until([&] { return arrived.events.size() == 3; }));
  sender.stop();
  ASSERT_TRUE(arrived.until([&] { return arrived.count(kNoteOff) == 2; }));
  const auto events = arrived.copy();
  EXPECT_EQ(events[3].bytes[1], 60);
  EXPECT_EQ(events[4].bytes[1], 62);
}

}  // namespace
}  // namespace undersong::midi
