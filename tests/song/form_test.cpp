#include "daemon/song/form.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::song {
namespace {

WrittenChord chord(int root, Ticks at, Ticks length) {
  return {{PitchClass(root), harmony::quality("min7"), PitchClass(root)},
          harmony::spell_within(PitchClass(root), -5),
          at,
          length};
}

Part with_another_fourth_time() {
  Part part;
  part.length = 16 * kBeat;
  part.times = 4;
  for (int bar = 0; bar < 4; ++bar) {
    part.chords.push_back(chord(bar, 4 * bar * kBeat, 4 * kBeat));
    part.melody.push_back({Pitch(72 + bar), {}, 4 * bar * kBeat, kBeat, Velocity(80)});
  }
  Ending last;
  last.times = {4};
  last.from = 12 * kBeat;
  last.length = 8 * kBeat;
  last.chords = {chord(7, 12 * kBeat, 8 * kBeat)};
  last.melody = {{Pitch(60), {}, 16 * kBeat, kBeat, Velocity(80)}};
  part.endings.push_back(last);
  return part;
}

TEST(Form, ATimeWithoutAnEndingOfItsOwnIsThePartItself) {
  const Part part = with_another_fourth_time();
  EXPECT_EQ(chords_at(part, 3), part.chords);
  EXPECT_EQ(melody_at(part, 3), part.melody);
  EXPECT_EQ(length_at(part, 3), part.length);
}

TEST(Form, AnEndingReplacesWhatComesFromItsBeginningOn) {
  const Part part = with_another_fourth_time();
  const auto chords = chords_at(part, 4);
  ASSERT_EQ(chords.size(), 4u);
  EXPECT_EQ(chords[2], part.chords[2]);
  EXPECT_EQ(chords[3], part.endings[0].chords[0]);
  EXPECT_EQ(melody_at(part, 4).back().pitch, Pitch(60));
  EXPECT_EQ(length_at(part, 4), 20 * kBeat);
}

}  // namespace
}  // namespace undersong::song
