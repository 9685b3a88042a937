// The player's own harmony over the socket: it is told, shapes the list, is switched off and erased.
#include "tests/server/server_fixture.h"

namespace undersong::server {
namespace {

// A take that goes from C to Abmaj7 and back, again and again.
std::vector<takes::Entry> flat_sixths() {
  std::vector<takes::Entry> out{takes::take_begin(us(0), 1'789'000'000'000)};
  out.push_back(takes::key_heard(us(1), {harmony::Key{PitchClass(0), harmony::Mode::kMajor}, 1, false}));
  std::int64_t at = 0;
  for (int i = 0; i < 20; ++i) {
    out.push_back(takes::chord_in_force(us(at += 1'000'000), takes::reading(0, "maj7", 0)));
    out.push_back(takes::chord_in_force(us(at += 1'000'000), takes::reading(8, "maj7", -4)));
  }
  out.push_back(takes::take_end(us(at + 1'000'000), takes::EndReason::kRequest));
  return out;
}

// The list as it is made anew for what is held.
harmony::Alternatives made_anew(Running& running, protocol::Connection& client) {
  for (const double brighter : {0.5, 0.0})
    EXPECT_TRUE(client.request(protocol::SetSettings{.brighter = brighter}));
  harmony::Alternatives out;
  running.on_server([&] { out = running.stage->performance().moment().alternatives; });
  return out;
}
bool alike(const harmony::Alternatives& a, const harmony::Alternatives& b) {
  return a.size() == b.size() && std::equal(a.begin(), a.end(), b.begin(), [](const auto& x, const auto& y) {
           return x.chord == y.chord && x.score == y.score && x.familiar == y.familiar &&
                  x.voicing == y.voicing;
         });
}

TEST(OwnHarmony, ShapesTheListUntilItIsSwitchedOffOrErased) {
  Running unknown;
  unknown.play_cadence();
  auto stranger = unknown.connect();
  const auto without = made_anew(unknown, stranger);
  ASSERT_FALSE(without.empty());

  Running running;
  for (int i = 0; i < 3; ++i) running.keep(flat_sixths());
  ASSERT_TRUE(running.eventually([&] { return running.stage->own().now().takes == 3; }));
  running.play_cadence();
  auto client = running.connect();
  const auto with = made_anew(running, client);
  EXPECT_FALSE(alike(with, without));

  const auto told = client.request(protocol::GetIdiom{});
  ASSERT_TRUE(told) << told.error().sentence;
  EXPECT_EQ(told->takes, 3u);
  EXPECT_EQ(told->since_utc_ms, 1'789'000'000'000);
  EXPECT_FALSE(told->erased_utc_ms);
  ASSERT_EQ(told->chords.size(), 2u);
  for (const auto& habit : told->chords) EXPECT_FLOAT_EQ(static_cast<float>(habit.share.value), 0.5f);
  EXPECT_NE(told->chords[0].chord.harte, told->chords[1].chord.harte);
  ASSERT_EQ(told->steps.size(), 2u);
  ASSERT_TRUE(told->steps[0].after);
  EXPECT_EQ(told->steps[0].after->harte, "C:maj7");
  EXPECT_EQ(told->steps[0].chord.harte, "Ab:maj7");

  const auto off = client.request(protocol::SetSettings{.own = false});
  ASSERT_TRUE(off) << off.error().sentence;
  EXPECT_FALSE(off->own);
  EXPECT_TRUE(alike(made_anew(running, client), without)) << "off, the list is the one of a stranger";
  ASSERT_TRUE(client.request(protocol::SetSettings{.own = true}));
  EXPECT_TRUE(alike(made_anew(running, client), with));

  const auto erased = client.request(protocol::EraseIdiom{});
  ASSERT_TRUE(erased) << erased.error().sentence;
  EXPECT_EQ(erased->takes, 0u);
  EXPECT_TRUE(erased->chords.empty());
  EXPECT_TRUE(erased->erased_utc_ms);
  EXPECT_TRUE(alike(made_anew(running, client), without)) << "erased, as if it had never been";
  EXPECT_TRUE(client.request(protocol::GetTake{.take = 1})) << "the takes stay";
}

TEST(OwnHarmony, LeaningToItMovesTheListFurtherAndNeedsIt) {
  Running running;
  for (int i = 0; i < 3; ++i) running.keep(flat_sixths());
  ASSERT_TRUE(running.eventually([&] { return running.stage->own().now().takes == 3; }));
  running.play_cadence();
  auto client = running.connect();
  const auto with = made_anew(running, client);
  ASSERT_TRUE(client.request(protocol::SetSettings{.lean = protocol::Lean::kOwn}));
  EXPECT_FALSE(alike(made_anew(running, client), with));
  ASSERT_TRUE(client.request(protocol::SetSettings{.lean = protocol::Lean::kJazz}));
  EXPECT_FALSE(alike(made_anew(running, client), with));
  ASSERT_TRUE(client.request(protocol::SetSettings{.lean = protocol::Lean::kFound}));
  EXPECT_TRUE(alike(made_anew(running, client), with));
}

TEST(OwnHarmony, TheReachOfAHandBoundsTheLeftHand) {
  Running running;
  running.play_cadence();
  auto client = running.connect();
  for (const int reach : {12, 16}) {
    ASSERT_TRUE(client.request(protocol::SetSettings{.reach = reach}));
    for (const auto& each : made_anew(running, client))
      if (each.voicing.left.size() > 1) {
        EXPECT_LE(each.voicing.left.back().value() - each.voicing.left[0].value(), reach);
      }
  }
  EXPECT_FALSE(client.request(protocol::SetSettings{.reach = 20}));
}

TEST(OwnHarmony, WhatWasListenedToAndThenPlayedIsInTheLog) {
  Running running;
  running.play_cadence();
  auto client = running.connect();
  ASSERT_TRUE(client.request(protocol::Hear{.harte = "Ab:maj7"}));
  ASSERT_TRUE(running.eventually([&] { return running.store->last_number() > 0; }));
  const auto lines = takes::lines_of(*running.store, 1);
  EXPECT_TRUE(std::any_of(lines.begin(), lines.end(), [](const takes::Line& line) {
    return line.kind == takes::LineKind::kHeard && line.data == "Ab:maj7";
  }));
}

}  // namespace
}  // namespace undersong::server
