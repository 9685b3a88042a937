// A song as notes in time: what a client sounds that plays a sketch itself.
#include "daemon/song/sounding_song.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "daemon/midi/smf.h"
#include "daemon/song/sketch.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

Form sounding_form(const std::string& text) {
  const auto sketch = read_sketch(text, "s");
  EXPECT_TRUE(sketch) << (sketch ? "" : sketch.error().message);
  auto form = form_of_sketch(*sketch, from_configs);
  EXPECT_TRUE(form) << (form ? "" : form.error().message);
  return form ? *form : Form{};
}

const std::string kTwice =
    "title = \"T\"\ntempo = 120\n[[section]]\nname = \"Theme\"\nsource = \"demo.mid\"\nlabel = "
    "\"A\"\nrepeats = 2\n";

std::size_t sounding_notes(const SoundingSong& song, Layer layer) {
  return static_cast<std::size_t>(std::count_if(song.notes.begin(), song.notes.end(),
                                                [&](const SoundingNote& n) { return n.layer == layer; }));
}

TEST(SoundingSong, HasEveryNoteOfEveryLayerInTheTempoThatIsWritten) {
  const Form form = sounding_form(kTwice);
  const auto song = sounding_song(form);
  ASSERT_TRUE(song) << song.error().message;
  ASSERT_EQ(form.parts.size(), 1u);
  ASSERT_EQ(song->turns.size(), 2u);
  const Part& part = form.parts.front();
  const auto half_a_second = [](Ticks ticks) {
    return Micros(static_cast<std::int64_t>(ticks.beats() * 500'000));
  };
  EXPECT_EQ(song->turns[1].time, 2);
  EXPECT_EQ(song->turns[1].at, half_a_second(length_at(part, 1)));
  EXPECT_EQ(song->length, half_a_second(length_at(part, 1) + length_at(part, 2)));
  EXPECT_EQ(sounding_notes(*song, Layer::kMelody), melody_at(part, 1).size() + melody_at(part, 2).size());
  for (const Layer layer : {Layer::kChords, Layer::kBass, Layer::kPad})
    EXPECT_GT(sounding_notes(*song, layer), 4u);
  const auto first = std::find_if(song->notes.begin(), song->notes.end(),
                                  [](const SoundingNote& n) { return n.layer == Layer::kMelody; });
  EXPECT_EQ(first->pitch, melody_at(part, 1).front().pitch);
  EXPECT_EQ(first->at, half_a_second(melody_at(part, 1).front().at));
  for (std::size_t i = 0; i < song->notes.size(); ++i) {
    const SoundingNote& note = song->notes[i];
    EXPECT_GT(note.length, Micros(0));
    EXPECT_LE(note.at + note.length, song->length);
    if (i > 0) {
      EXPECT_LE(song->notes[i - 1].at, note.at);
    }
  }
}

TEST(SoundingSong, BeginsWithItsFirstBeatAlsoIfItsFileCountsIn) {
  const auto song = sounding_song(sounding_form(kTwice)),
             counted = sounding_song(sounding_form("count_in = 2\n" + kTwice));
  ASSERT_TRUE(song && counted);
  EXPECT_EQ(counted->length, song->length);
  EXPECT_EQ(counted->notes.size(), song->notes.size());
  EXPECT_EQ(counted->notes.front().at, song->notes.front().at);
}

TEST(SoundingSong, IsSilentWhereALayerIs) {
  const auto song = sounding_song(sounding_form(kTwice + "layers = [\"bass\"]\n"));
  ASSERT_TRUE(song);
  EXPECT_EQ(song->notes.size(), sounding_notes(*song, Layer::kBass));
  EXPECT_GT(song->notes.size(), 4u);
}

TEST(SoundingSong, OfNothingIsNothing) {
  const auto song = sounding_song(Form{});
  ASSERT_TRUE(song);
  EXPECT_TRUE(song->turns.empty());
  EXPECT_TRUE(song->notes.empty());
}

}  // namespace
}  // namespace undersong::song
