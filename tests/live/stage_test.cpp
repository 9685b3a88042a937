// The stage with real inputs and a real store: lost events and echoes are written to the take's log.
#include "daemon/live/stage.h"

#include <gtest/gtest.h>

#include <set>

#include "daemon/midi/source.h"
#include "tests/takes/store_fixture.h"

namespace undersong::live {
namespace {

class NoOutput final : public midi::Sink {
 public:
  Result<void> tend() override { return unavailable("No output here."); }
  bool connected() const override { return false; }
  const std::string& port_name() const override { return name_; }
  bool send(const midi::Event&) override { return false; }

 private:
  std::string name_;
};

class StageTest : public testing::Test {
 protected:
  static constexpr std::size_t kLane = 16;
  midi::Event on(int key, std::int64_t at = 0) {
    return midi::note_on(Micros(at ? at : ++now_ * 1'000), 0, Pitch(key), Velocity(80));
  }
  midi::Event off(int key) { return midi::note_off(Micros(++now_ * 1'000), 0, Pitch(key)); }
  void drain() {
    inputs_.drain([&](const midi::Event& event) { stage_.received(event); });
    stage_.catch_up();
  }
  std::vector<takes::Line> lines(takes::LineKind kind) {
    std::vector<takes::Line> out;
    for (auto& line : takes::lines_of(*store_))
      if (line.kind == kind) out.push_back(std::move(line));
    return out;
  }

  std::int64_t now_ = 0;
  takes::TemporaryFolder folder_;
  takes::Reported reported_;
  midi::Inputs inputs_{kLane};
  std::unique_ptr<takes::Store> store_ = takes::open_store(folder_.path / "takes.db", reported_);
  midi::SharedEchoGuard echoes_;
  const Aside nowhere_{[](auto) { return false; }, [](auto) {}};
  takes::Fetcher fetcher_{*store_, nowhere_};
  song::Studies studies_{*store_, nowhere_};
  Stage stage_{StageOptions{},
               Stage::World{.inputs = inputs_,
                            .store = *store_,
                            .studies = studies_,
                            .fetcher = fetcher_,
                            .echoes = echoes_,
                            .open_output = [](const std::string&) { return std::make_unique<NoOutput>(); },
                            .changed_output = [] {},
                            .changed_moment = [] {},
                            .changed_status = [this] { ++status_changes_; },
                            .changed_deadline = [] {},
                            .utc_ms = [] { return std::int64_t{1'790'000'000'000}; }}};
  int status_changes_ = 0;
};

TEST_F(StageTest, EventsThatWereLostAreALineInTheTakeAndInStatusAndNothingHangs) {
  midi::Lane& keys = *inputs_.lane("Stage keys");
  midi::Lane& pads = *inputs_.lane("Pads");
  pads.push(on(43));
  keys.push(on(60)), keys.push(on(64)), keys.push(midi::control_change(Micros(++now_ * 1'000), 0, 64, 127));
  drain();
  ASSERT_EQ(stage_.performance().moment().held.size(), 3u);
  // A stall: the lane fills up, and the ends of both notes no longer fit.
  for (std::size_t i = 0; i < kLane; ++i) keys.push(on(90));
  for (const int key : {60, 64}) keys.push(off(key));
  keys.push(on(67));
  status_changes_ = 0;
  drain();
  ASSERT_EQ(stage_.performance().moment().held.size(), 1u) << "what the other input holds";
  EXPECT_EQ(stage_.performance().moment().held[0].pitch, Pitch(43));
  EXPECT_EQ(inputs_.dropped(), 3u);
  EXPECT_GT(status_changes_, 0);
  const auto lost = lines(takes::LineKind::kLost);
  ASSERT_EQ(lost.size(), 1u);
  EXPECT_EQ(lost[0].take, 1u);
  EXPECT_EQ(lost[0].data, R"({"port":1,"name":"Stage keys","events":3})");
  // Another loss is written as another line.
  for (std::size_t i = 0; i < kLane + 4; ++i)
    keys.push(on(91));  // the notice of the first loss was drained, so the lane is empty
  drain();
  const auto both = lines(takes::LineKind::kLost);
  ASSERT_EQ(both.size(), 2u);
  EXPECT_EQ(both[1].data, R"({"port":1,"name":"Stage keys","events":4})");
  EXPECT_EQ(inputs_.dropped(), 7u);
  // In the stored take, every note of the input ends where the loss was.
  const auto take = takes::now<takes::Store::Midi>([&](auto answer) { store_->midi({}, answer); });
  ASSERT_TRUE(take);
  std::set<int> down;
  bool pedal = false;
  for (const auto& event : take->events) {
    if (event.kind() == midi::kControlChange)
      pedal = event.bytes[2] >= 64;
    else if (event.kind() == midi::kNoteOn)
      down.insert(event.bytes[1]);
    else
      down.erase(event.bytes[1]);
  }
  EXPECT_EQ(down, std::set<int>{43});
  EXPECT_FALSE(pedal);
}

TEST_F(StageTest, ALossBetweenTakesIsALineToo) {
  midi::Lane& keys = *inputs_.lane("Stage keys");
  for (std::size_t i = 0; i < kLane + 2; ++i)
    keys.push(midi::control_change(Micros(++now_ * 1'000), 0, 1, 5));
  drain();
  const auto lost = lines(takes::LineKind::kLost);
  ASSERT_EQ(lost.size(), 1u);
  EXPECT_EQ(lost[0].take, 0u);
}

TEST_F(StageTest, ASuspectedEchoIsKeptMarkedAndNotHeard) {
  midi::Lane& keys = *inputs_.lane("Stage keys");
  keys.push(on(60));
  drain();
  // All of our chord comes back from an instrument that does not pass key pressure on.
  const std::int64_t sent = ++now_ * 1'000;
  for (const int key : {48, 55, 64}) echoes_.sent(on(key, sent));
  for (const int key : {48, 55, 64}) keys.push(on(key, sent + 2'000));
  now_ += 10;
  drain();
  EXPECT_EQ(stage_.performance().moment().held.size(), 3u) << "the third proved it";
  for (const int key : {48, 55, 64}) echoes_.sent(midi::note_off(Micros(now_ * 1'000), 0, Pitch(key)));
  for (const int key : {48, 55, 64}) keys.push(off(key));
  drain();
  ASSERT_EQ(stage_.performance().moment().held.size(), 1u) << "what had been let through has ended";
  const auto echoes = lines(takes::LineKind::kEcho);
  ASSERT_EQ(echoes.size(), 2u);
  const auto event = takes::midi_event(echoes[0]);
  ASSERT_TRUE(event);
  EXPECT_EQ(event->bytes[1], 64);
  EXPECT_EQ(event->port, keys.port());
  EXPECT_EQ(lines(takes::LineKind::kMidi).size(), 5u);
  const auto take = takes::now<takes::Store::Midi>([&](auto answer) { store_->midi({}, answer); });
  ASSERT_TRUE(take);
  EXPECT_EQ(take->events.size(), 5u) << "what is played, exported and analysed is without it";
}

TEST_F(StageTest, WhatAClientPlaysIsNeverAnEcho) {
  // The client plays exactly the chords that we send. On any other input, that would be taken for a loop.
  for (int i = 0; i < 8; ++i) {
    std::vector<ClientNote> chord;
    for (int key : {48 + i, 55 + i, 64 + i}) {
      echoes_.sent(midi::note_on(midi::steady_now(), 0, Pitch(key), Velocity(70)));
      chord.push_back({Pitch(key), Velocity(70), true});
    }
    ASSERT_EQ(*stage_.client_keys().play(1, chord), 3u);
    drain();
  }
  EXPECT_EQ(lines(takes::LineKind::kMidi).size(), 24u);
  EXPECT_TRUE(lines(takes::LineKind::kEcho).empty());
}

TEST_F(StageTest, APedalAsksForTheTakesThatHoldWhatWasPlayed) {
  StageOptions options;
  options.settings.controls.push_back(*listen::parse_mapping("cc 67", "single", "find_played"));
  stage_.reconfigure(options);
  auto* lane = inputs_.lane("keys");
  EXPECT_EQ(stage_.finds_asked(), 0u);
  for (const int value : {127, 0, 127, 0})
    lane->push(midi::control_change(Micros(++now_ * 1'000), 0, 67, static_cast<std::uint8_t>(value)));
  drain();
  EXPECT_EQ(stage_.finds_asked(), 2u);
}

TEST_F(StageTest, APedalPinsTheKeyAsItIsAndFreesItAgain) {
  StageOptions options;
  options.settings.controls.push_back(*listen::parse_mapping("cc 67", "single", "pin_key"));
  stage_.reconfigure(options);
  auto* lane = inputs_.lane("keys");
  const auto press = [&] {
    for (const int value : {127, 0})
      lane->push(midi::control_change(Micros(++now_ * 1'000), 0, 67, static_cast<std::uint8_t>(value)));
    drain();
  };
  press();  // no key is known yet, so there is nothing to pin
  EXPECT_FALSE(stage_.performance().moment().key);
  for (const auto& chord :
       std::vector<std::vector<int>>{{48, 64, 67}, {53, 65, 69}, {55, 62, 71}, {48, 64, 67}}) {
    for (const int key : chord) lane->push(on(key));
    drain();
    now_ += 900;
    for (const int key : chord) lane->push(off(key));
    drain();
    now_ += 100;
  }
  ASSERT_TRUE(stage_.performance().moment().key);
  const auto heard = stage_.performance().moment().key->key;
  press();
  ASSERT_TRUE(stage_.performance().moment().key->pinned);
  EXPECT_EQ(stage_.performance().moment().key->key, heard);
  EXPECT_EQ(stage_.settings().now().key, heard);
  press();
  EXPECT_FALSE(stage_.performance().moment().key->pinned);
  EXPECT_FALSE(stage_.settings().now().key);
}

TEST_F(StageTest, APedalMovesAWishByAQuarterUpToItsEndAndTakesAllWishesBack) {
  StageOptions options;
  int controller = 20;
  for (const char* action :
       {"brighter", "darker", "more_tense", "more_resolved", "more_surprising", "more_familiar", "no_wishes"})
    options.settings.controls.push_back(
        *listen::parse_mapping("cc " + std::to_string(controller++), "single", action));
  stage_.reconfigure(options);
  auto* lane = inputs_.lane("keys");
  const auto press = [&](int which, int times) {
    for (int i = 0; i < times; ++i)
      for (const int value : {127, 0})
        lane->push(midi::control_change(Micros(++now_ * 1'000), 0, static_cast<std::uint8_t>(which),
                                        static_cast<std::uint8_t>(value))),
            drain();
    return stage_.settings().now().wishes;
  };
  EXPECT_EQ(press(20, 1), (harmony::Wishes{.25f, 0, 0}));
  EXPECT_EQ(press(21, 2), (harmony::Wishes{-.25f, 0, 0}));
  EXPECT_EQ(press(22, 6), (harmony::Wishes{-.25f, 1, 0}));
  EXPECT_EQ(press(23, 1), (harmony::Wishes{-.25f, .75f, 0}));
  EXPECT_EQ(press(24, 1), (harmony::Wishes{-.25f, .75f, .25f}));
  EXPECT_EQ(press(25, 9), (harmony::Wishes{-.25f, .75f, -1}));
  EXPECT_EQ(stage_.performance().moment().wishes, (harmony::Wishes{-.25f, .75f, -1}));
  EXPECT_EQ(press(26, 1), harmony::Wishes{});
}

TEST_F(StageTest, ThePlayerChoosesAControlByPressingIt) {
  auto* lane = inputs_.lane("keys");
  const auto learn = [&](const std::vector<midi::Event>& events) {
    std::optional<Result<listen::ControlMessage>> learnt;
    stage_.performance().learn([&](Result<listen::ControlMessage> what) { learnt = std::move(what); });
    for (const auto& event : events) lane->push(event), drain();
    while (!learnt) stage_.advance(*stage_.next_deadline());
    return learnt && *learnt ? listen::to_text(**learnt) : std::string("nothing");
  };
  const auto at = [&] { return Micros(++now_ * 1'000); };
  lane->push(on(60)), drain();  // the clock of the stage begins
  EXPECT_EQ(learn({midi::control_change(at(), 0, 67, 0), midi::control_change(at(), 0, 67, 100)}), "cc 67")
      << "a pedal that comes up is not a press";
  EXPECT_EQ(learn({midi::note_off(at(), 0, Pitch(60)), midi::note_on(at(), 2, Pitch(108), Velocity(20))}),
            "note 108");
  EXPECT_EQ(learn({midi::note_on(at(), 9, Pitch(36), Velocity(90))}), "pad 36");
  for (const char* text : {"cc 67", "note 108", "pad 36", "program 5 channel 3", "cc 20 port stage keys"})
    EXPECT_EQ(listen::to_text(listen::parse_mapping(text, "single", "mark")->message), text);
  EXPECT_EQ(stage_.performance().moment().held.size(), 1u) << "108 was heard as always";
  EXPECT_EQ(learn({}), "nothing");
  std::optional<Result<listen::ControlMessage>> first;
  stage_.performance().learn([&](Result<listen::ControlMessage> what) { first = std::move(what); });
  stage_.performance().learn([](Result<listen::ControlMessage>) {});
  ASSERT_TRUE(first);
  EXPECT_FALSE(*first) << "the newer request counts";
}

TEST_F(StageTest, AMarkSaysWhatSoundedAndWhenAndAPedalTakesItBack) {
  StageOptions options;
  options.settings.controls.push_back(*listen::parse_mapping("cc 67", "single", "mark"));
  options.settings.controls.push_back(*listen::parse_mapping("cc 66", "single", "undo_mark"));
  stage_.reconfigure(options);
  auto* lane = inputs_.lane("keys");
  const auto press = [&](std::uint8_t which) {
    for (const int value : {127, 0})
      lane->push(midi::control_change(Micros(++now_ * 1'000), 0, which, static_cast<std::uint8_t>(value)));
    drain();
  };
  for (const int key : {48, 55, 64, 71}) lane->push(on(key));
  drain();
  now_ += 62'000;
  press(67);
  const auto marks = lines(takes::LineKind::kMark);  // reads after all that was appended
  ASSERT_EQ(marks.size(), 1u);
  EXPECT_EQ(marks[0].data, "Cmaj7 under B, 1:02");
  ASSERT_TRUE(reported_.wait_for_lines(marks[0].number));
  stage_.kept(reported_.lines());
  press(66);
  const auto taken_back = lines(takes::LineKind::kUnmark);
  ASSERT_EQ(taken_back.size(), 1u);
  EXPECT_EQ(taken_back[0].data, std::to_string(marks[0].number));
}

}  // namespace
}  // namespace undersong::live
