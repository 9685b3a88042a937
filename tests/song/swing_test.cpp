// What is played swung is written in even eighths with the word "Swing"; what is played straight is not.
#include <gtest/gtest.h>

#include <algorithm>

#include "daemon/song/feel.h"
#include "daemon/song/lead_sheet.h"
#include "daemon/song/sketch.h"
#include "daemon/song/take_study.h"

namespace undersong::song {
namespace {

// Eight times a loop of four chords at 132 beats a minute: a bass note on one and three, chords on two and
// four, and a tune in eighths. `swing`: the first eighth of a beat in multiples of the second.
std::vector<midi::Event> tune_in_eighths(double swing) {
  constexpr double kBeatSeconds = 60. / 132;
  const double second = swing / (1 + swing);
  std::vector<midi::Event> out;
  const auto key = [&](double beat, double beats, int pitch, int velocity) {
    const auto at = [&](double b) {
      return Micros(1'000'000 + static_cast<std::int64_t>(b * kBeatSeconds * 1e6));
    };
    out.push_back(midi::note_on(at(beat), 0, Pitch(pitch), Velocity(velocity)));
    out.push_back(midi::note_off(at(beat + beats), 0, Pitch(pitch)));
  };
  constexpr std::array<std::array<int, 4>, 4> kChords{
      {{38, 53, 57, 60}, {43, 53, 57, 59}, {36, 52, 55, 59}, {45, 52, 55, 60}}};
  constexpr std::array kTune{77, 76, 74, 72, 74, 76, 77, 79};
  for (int bar = 0; bar < 32; ++bar) {
    const auto& chord = kChords[static_cast<std::size_t>(bar % 4)];
    for (int beat = 0; beat < 4; ++beat) {
      const double at = 4 * bar + beat;
      if (beat % 2 == 0)
        key(at, .9, chord[0] + (beat == 2 ? 7 : 0), 74);
      else
        for (std::size_t i = 1; i < 4; ++i) key(at, .5, chord[i], 58);
      const auto step = static_cast<std::size_t>(2 * beat + bar % 4);
      key(at, second * .9, kTune[step % 8], 84);
      key(at + second, (1 - second) * .9, kTune[(step + 1) % 8], 72);
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return out;
}

Form form_of(double swing) {
  auto form = form_of_take(study_take({tune_in_eighths(swing), {}}));
  EXPECT_TRUE(form) << (form ? "" : form.error().message);
  return form ? *form : Form{};
}

class Swung : public testing::TestWithParam<double> {};

TEST_P(Swung, EighthsAreWrittenEven) {
  const Form form = form_of(GetParam());
  ASSERT_FALSE(form.parts.empty());
  std::size_t even = 0, all = 0;
  for (const Part& part : form.parts) {
    EXPECT_EQ(part.feel, Feel::kSwing);
    for (const WrittenNote& note : part.melody) even += note.at % Ticks(240) == Ticks(0), ++all;
  }
  EXPECT_GE(all, 32u);
  EXPECT_EQ(even, all);
  const std::string sheet = lead_sheet(form);
  EXPECT_NE(sheet.find(">Swing<"), std::string::npos);
  EXPECT_EQ(sheet.find("time-modification"), std::string::npos) << "no triplets";
}
INSTANTIATE_TEST_SUITE_P(FromLightToShuffle, Swung, testing::Values(1.6, 1.8, 2., 2.4));

TEST(Swing, WhatIsPlayedStraightStaysStraight) {
  const Form form = form_of(1);
  for (const Part& part : form.parts) EXPECT_EQ(part.feel, Feel::kStraight);
  EXPECT_EQ(lead_sheet(form).find(">Swing<"), std::string::npos);
}

TEST(Swing, AProposedSketchSwingsWithItsTake) {
  for (const double swing : {1., 2.}) {
    const auto study = std::make_shared<const TakeStudy>(study_take({tune_in_eighths(swing), {}}));
    const auto sketch = propose_sketch(
        {SketchSource{.file = "rounds.mid"}},
        [&](const SketchSource&) -> Result<std::shared_ptr<const TakeStudy>> { return study; }, "Rounds");
    ASSERT_TRUE(sketch) << sketch.error().message;
    EXPECT_EQ(sketch->feel, swing > 1 ? Feel::kSwing : Feel::kStraight);
  }
}

TEST(Swing, AnyRatioIsBroughtToTwoToOne) {
  EXPECT_DOUBLE_EQ(as_two_to_one(3.6, 1.5), 3 + 2. / 3);
  EXPECT_DOUBLE_EQ(as_two_to_one(3.75, 3), 3 + 2. / 3);
  EXPECT_DOUBLE_EQ(as_two_to_one(3.3, 1.5), 3 + 1. / 3);
  EXPECT_DOUBLE_EQ(as_two_to_one(3, 2.5), 3);
  EXPECT_DOUBLE_EQ(as_two_to_one(3.6, 1.1), 3.6) << "too little to be swing";
}

}  // namespace
}  // namespace undersong::song
