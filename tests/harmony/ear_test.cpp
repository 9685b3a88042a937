// The learnt ear through its public interface: what is named and when, and that file and live agree.
#include "daemon/harmony/ear.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <string>
#include <vector>

namespace undersong::harmony {
namespace {

struct Event {
  enum Kind { kOn, kOff, kPedal } kind = kOn;
  Micros t{0};
  int a = 0, b = 0;
};

// A performance: each chord lasts for `length`, and its keys are struck `spread` apart.
std::vector<Event> chords(const std::vector<std::vector<int>>& voicings, Micros length,
                          Micros spread = Micros{1000}) {
  std::vector<Event> out;
  Micros at{500'000};
  for (const auto& v : voicings) {
    for (std::size_t i = 0; i < v.size(); ++i)
      out.push_back({Event::kOn, at + spread * static_cast<int>(i), v[i], 64});
    for (const int p : v) out.push_back({Event::kOff, at + length - ms(20), p, 0});
    at += length;
  }
  std::stable_sort(out.begin(), out.end(), [](const Event& x, const Event& y) { return x.t < y.t; });
  return out;
}

bool feed(Ear& ear, const Event& e) {
  if (e.kind == Event::kOn) return ear.note_on(e.t, Pitch(e.a), Velocity(e.b));
  if (e.kind == Event::kOff) return ear.note_off(e.t, Pitch(e.a));
  return ear.pedal(e.t, e.b >= 64);
}

// Everything that the ear reports, as text, in order. A live driver also calls advance() at other times.
std::vector<std::string> told(const std::vector<Event>& events, bool live) {
  Ear ear;
  std::vector<std::string> out;
  auto tell = [&](bool changed) {
    while (const auto n = ear.take_melody())
      out.push_back("note " + std::to_string(n->pitch.value()) + (n->is_melody ? " sung at " : " other at ") +
                    std::to_string(n->onset.count()) + " decided at " +
                    std::to_string(n->decided_at.count()));
    if (changed)
      out.push_back(harte_text(ear.harmony()->chord) + " at " +
                    std::to_string(ear.harmony()->named_at.count()));
    if (ear.take_key_change())
      out.push_back("key " + std::to_string(ear.key()->tonic.value()) + (ear.key()->minor ? "m" : ""));
  };
  Micros now{0};
  for (const Event& e : events) {
    for (auto due = ear.next_deadline(); due && *due <= e.t; due = ear.next_deadline()) {
      if (live && *due - now > Micros{2}) tell(ear.advance(now + (*due - now) / 2));
      tell(ear.advance(*due));
      now = *due;
    }
    if (live && e.t > now) tell(ear.advance(now + (e.t - now) / 3));
    tell(feed(ear, e));
    now = e.t;
  }
  tell(ear.advance(events.back().t + ms(1000)));
  return out;
}

std::vector<Event> random_music(unsigned seed, int presses) {
  std::mt19937 rng(seed);
  std::vector<Event> out;
  Micros at{0};
  for (int i = 0; i < presses; ++i) {
    at += Micros{static_cast<int>(rng() % 4 == 0 ? rng() % 500'000 : rng() % 40'000)};
    const int p = 30 + static_cast<int>(rng() % 60);
    out.push_back({Event::kOn, at, p, 20 + static_cast<int>(rng() % 100)});
    out.push_back({Event::kOff, at + Micros{static_cast<int>(10'000 + rng() % 900'000)}, p, 0});
    if (rng() % 5 == 0) out.push_back({Event::kPedal, at, 0, static_cast<int>(rng() % 128)});
  }
  std::stable_sort(out.begin(), out.end(), [](const Event& x, const Event& y) { return x.t < y.t; });
  return out;
}

TEST(Ear, SaysNothingBeforeTheFirstNote) {
  Ear ear;
  ear.pedal(ms(10), true);
  ear.advance(ms(5000));
  EXPECT_FALSE(ear.harmony().has_value());
  EXPECT_FALSE(ear.key().has_value());
  EXPECT_FALSE(ear.take_melody().has_value());
  EXPECT_FALSE(ear.next_deadline().has_value());
}

TEST(Ear, NamesABlockChordOnItsLastKey) {
  Ear ear;
  for (const Event& e : chords({{43, 59, 62, 65, 69}, {36, 59, 64, 67}}, ms(1500)))  // G9, Cmaj7
    if (e.kind == Event::kOn) {
      feed(ear, e);
      if (e.a == 67 || e.a == 69) ear.advance(e.t + kSettle);  // the name comes at once if the ear is sure
      if (e.a == 69) {
        EXPECT_EQ(ear.harmony()->chord.root, PitchClass(7)) << harte_text(ear.harmony()->chord);
      } else if (e.a == 67) {
        EXPECT_EQ(ear.harmony()->chord.root, PitchClass(0)) << harte_text(ear.harmony()->chord);
      }
    } else {
      feed(ear, e);
    }
  EXPECT_EQ(kEarClassText[static_cast<std::size_t>(ear.harmony()->chord.cls)], "maj7");
  EXPECT_GT(ear.harmony()->confidence, 0.5F);
  EXPECT_GE(ear.harmony()->since, ms(2000));
}

// Triads and seventh chords in root position, with a bass and a close right hand, one after another. Each is
// a new start for the ear.
TEST(Ear, NamesEverydayChordsOnAllRoots) {
  struct Row {
    std::vector<int> tones;
    const char* name;
  };
  const std::vector<Row> rows = {
      {{0, 4, 7}, "maj"},      {{0, 3, 7}, "min"},       {{0, 4, 7, 10}, "7"},       {{0, 4, 7, 11}, "maj7"},
      {{0, 3, 7, 10}, "min7"}, {{0, 3, 6, 10}, "hdim7"}, {{0, 5, 7, 10}, "sus4(b7)"}};
  int right = 0, root_right = 0, all = 0;
  for (const Row& row : rows)
    for (int root = 0; root < 12; ++root)
      for (int low = 48; low < 60; low += 4) {
        std::vector<int> v = {36 + root};
        for (const int x : row.tones) v.push_back(low + (root + x - low % 12 + 24) % 12);
        std::sort(v.begin() + 1, v.end());
        Ear ear;
        for (const Event& e : chords({v}, ms(1500))) feed(ear, e);
        ++all;
        root_right += ear.harmony()->chord.root == PitchClass(root);
        right += ear.harmony()->chord.root == PitchClass(root) &&
                 kEarClassText[static_cast<std::size_t>(ear.harmony()->chord.cls)] == row.name;
      }
  EXPECT_GE(root_right, all * 95 / 100) << root_right << " of " << all;
  EXPECT_GE(right, all * 85 / 100) << right << " of " << all;
}

TEST(Ear, APassingNoteDoesNotRenameTheChord) {
  auto events = chords({{36, 55, 60, 64}, {41, 57, 60, 65}, {43, 59, 62, 67}, {36, 55, 60, 64}}, ms(2000));
  for (const int p : {76, 77, 79, 77, 76}) {
    static Micros at{6'900'000};
    events.push_back({Event::kOn, at, p, 72});
    events.push_back({Event::kOff, at + ms(180), p, 0});
    at += ms(200);
  }
  std::stable_sort(events.begin(), events.end(), [](const Event& x, const Event& y) { return x.t < y.t; });
  Ear ear;
  for (const Event& e : events) {
    feed(ear, e);
    if (e.t > ms(6800)) {
      EXPECT_EQ(ear.harmony()->chord.root, PitchClass(0))
          << harte_text(ear.harmony()->chord) << " at " << e.t.count();
    }
  }
}

TEST(Ear, AChordSpreadByFingersEndsAsTheSameName) {
  const std::vector<std::vector<int>> v = {{38, 53, 57, 60, 64}, {43, 53, 59, 64}, {36, 52, 55, 59, 62}};
  for (const int spread : {0, 3, 8, 25}) {
    Ear ear;
    std::vector<std::string> names;
    for (const Event& e : chords(v, ms(1600), ms(spread))) {
      feed(ear, e);
      if (e.kind == Event::kOff && (names.empty() || names.back() != harte_text(ear.harmony()->chord)))
        names.push_back(harte_text(ear.harmony()->chord));
    }
    ASSERT_EQ(names.size(), 3U) << spread;
    EXPECT_EQ(names[0].substr(0, 6), "D:min7") << spread;
    EXPECT_EQ(names[1].substr(0, 3), "G:7") << spread;
    EXPECT_EQ(names[2].substr(0, 6), "C:maj7") << spread;
  }
}

TEST(Ear, FileAndLiveAgreeEventForEvent) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    const auto events = random_music(seed, 400);
    const auto live = told(events, true);
    EXPECT_GT(live.size(), 400U);  // at the least, every press is judged
    EXPECT_EQ(live, told(events, false));
  }
}

TEST(Ear, AnUncertainNameWaitsAndACertainOneDoesNot) {
  Ear ear;
  int waited = 0, at_once = 0;
  for (const Event& e : random_music(21, 600)) {
    for (auto due = ear.next_deadline(); due && *due <= e.t; due = ear.next_deadline())
      if (ear.advance(*due)) {
        ++waited;
        EXPECT_EQ(ear.harmony()->named_at, *due);
        EXPECT_LE(ear.harmony()->since, *due - kSettle);
      }
    if (feed(ear, e)) {
      ++at_once;
      EXPECT_EQ(ear.harmony()->named_at, e.t);
      EXPECT_GE(ear.harmony()->confidence, 0.55F);
    }
  }
  EXPECT_GT(waited, 10);
  EXPECT_GT(at_once, 10);
}

TEST(Ear, EveryPressIsJudgedOnceThirtyMillisecondsLater) {
  const auto events = random_music(7, 300);
  Ear ear;
  int judged = 0, pressed = 0;
  auto take = [&] {
    while (const auto n = ear.take_melody()) {
      ++judged;
      EXPECT_EQ(n->decided_at, n->onset + kMelodyDelay);
      EXPECT_EQ(n->is_melody, n->log_odds > 0);
    }
  };
  for (const Event& e : events) {
    pressed += e.kind == Event::kOn;
    feed(ear, e);
    take();
  }
  ear.advance(events.back().t + kMelodyDelay);
  take();
  EXPECT_EQ(judged, pressed);
}

TEST(Ear, HearsATuneAboveHeldChords) {
  std::vector<Event> events = chords({{36, 52, 55},
                                      {33, 52, 57},
                                      {41, 53, 57},
                                      {43, 53, 59},
                                      {36, 52, 55},
                                      {33, 52, 57},
                                      {41, 53, 57},
                                      {43, 53, 59}},
                                     ms(2000));
  const int tune[] = {72, 76, 79, 76, 81, 79, 76, 72, 77, 76, 74, 72, 74, 77, 79, 83};
  for (int i = 0; i < 32; ++i) {
    const Micros at = ms(500 + i * 500);
    events.push_back({Event::kOn, at, tune[i % 16], 84});
    events.push_back({Event::kOff, at + ms(450), tune[i % 16], 0});
  }
  std::stable_sort(events.begin(), events.end(), [](const Event& x, const Event& y) { return x.t < y.t; });
  Ear ear;
  int sung = 0, chord_sung = 0;
  for (const Event& e : events) {
    feed(ear, e);
    while (const auto n = ear.take_melody()) (n->pitch.value() >= 70 ? sung : chord_sung) += n->is_melody;
  }
  EXPECT_GE(sung, 29);
  EXPECT_LE(chord_sung, 3);
}

TEST(Ear, HearsTheKeyOfACadence) {
  for (int up = 0; up < 12; ++up) {
    std::vector<std::vector<int>> v;
    for (int k = 0; k < 3; ++k)
      for (const auto& c : std::vector<std::vector<int>>{
               {36, 60, 64, 67}, {41, 60, 65, 69}, {43, 59, 62, 67}, {36, 60, 64, 67}}) {
        v.push_back(c);
        for (int& p : v.back()) p += up;
      }
    Ear ear;
    for (const Event& e : chords(v, ms(1200))) feed(ear, e);
    ASSERT_TRUE(ear.key().has_value());
    EXPECT_EQ(ear.key()->tonic, PitchClass(up));
    EXPECT_FALSE(ear.key()->minor);
  }
}

// The twelve roots share their weights: an input turned by some semitones gives scores turned by the same.
TEST(HarmonyNet, TurnsWithItsInput) {
  std::mt19937 rng(3);
  for (int turn = 1; turn < 12; ++turn) {
    HarmonyNet plain, turned;
    for (int step = 0; step < 6; ++step) {
      std::array<float, kEarInputs> x{}, y{};
      for (float& v : x) v = rng() % 3 == 0 ? static_cast<float>(rng() % 1000) / 1000.0F : 0.0F;
      y = x;
      for (std::size_t c = 0; c < kEarChannels; ++c)
        for (std::size_t p = 0; p < 12; ++p)
          y[c * 12 + (p + static_cast<std::size_t>(turn)) % 12] = x[c * 12 + p];
      if (step % 2 == 0) plain.commit(), turned.commit();
      plain.update(x);
      turned.update(y);
      for (int r = 0; r < 12; ++r)
        for (int c = 0; c < kEarClasses; ++c)
          EXPECT_NEAR(plain.score(r, c), turned.score((r + turn) % 12, c), 2e-3F);
    }
  }
}

TEST(HarmonyNet, ScoresAreLogProbabilities) {
  Ear ear;
  for (const Event& e : random_music(11, 500)) {
    feed(ear, e);
    if (!ear.harmony()) continue;
    double sum = 0;
    for (const float s : ear.net().scores()) sum += std::exp(static_cast<double>(s));
    ASSERT_NEAR(sum, 1.0, 1e-3);
    const auto readings = ear.readings();
    ASSERT_GT(readings[0].probability, 0.0F);
    for (std::size_t i = 1; i < Ear::kReadings; ++i)
      ASSERT_LE(readings[i].probability, readings[i - 1].probability);
  }
}

TEST(Ear, SurvivesNonsense) {
  std::mt19937 rng(5);
  Ear ear;
  for (int i = 0; i < 20'000; ++i) {
    // Time sometimes jumps back.
    const Micros t{static_cast<std::int64_t>(rng() % 3 == 0 ? rng() % 10'000'000 : 5'000'000 + i * 7)};
    const Event::Kind kind = rng() % 8 == 0 ? Event::kPedal : rng() % 2 == 0 ? Event::kOn : Event::kOff;
    feed(ear, {kind, t, static_cast<int>(rng() % 128), static_cast<int>(rng() % 128)});
    if (ear.harmony()) {
      ASSERT_TRUE(std::isfinite(ear.harmony()->confidence));
    }
  }
}

}  // namespace
}  // namespace undersong::harmony
