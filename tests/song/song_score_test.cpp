// A song as a score for one instrument, as the MIDI output plays it.
#include "daemon/song/song_score.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <set>

#include "daemon/song/sketch.h"
#include "daemon/song/sounding_song.h"
#include "tests/song/from_configs.h"

namespace undersong::song {
namespace {

Form two_sections() {
  const auto sketch = read_sketch(
      "title = \"T\"\ntempo = 120\n"
      "[[section]]\nname = \"Theme\"\nsource = \"demo.mid\"\nlabel = \"A\"\nrepeats = 2\n"
      "[[section]]\nname = \"Again\"\nsource = \"demo.mid\"\nlabel = \"A\"\n",
      "s");
  EXPECT_TRUE(sketch) << (sketch ? "" : sketch.error().message);
  auto form = form_of_sketch(*sketch, from_configs);
  EXPECT_TRUE(form) << (form ? "" : form.error().message);
  return form ? *form : Form{};
}

struct Heard {
  std::set<std::pair<std::int64_t, int>> struck;  // when, which key
  double loudness = 0;                            // the mean
  int loudest = 0;
};

// Plays the score on one keyboard; every message must be possible there.
Heard played(const SongScore& song) {
  Heard out;
  std::array<bool, 128> down{};
  Micros before{};
  for (const midi::Event& event : song.score->events) {
    EXPECT_GE(event.at, before);
    EXPECT_LE(event.at, song.score->length);
    EXPECT_EQ(event.channel(), 0);
    before = event.at;
    auto& key = down[event.bytes[1]];
    if (event.kind() == midi::kNoteOn) {
      EXPECT_FALSE(key) << "key " << int(event.bytes[1]) << " is down when it is struck again";
      key = true;
      out.struck.insert({event.at.count(), event.bytes[1]});
      out.loudness += event.bytes[2];
      out.loudest = std::max(out.loudest, int(event.bytes[2]));
    } else {
      EXPECT_EQ(event.kind(), midi::kNoteOff);
      EXPECT_TRUE(key) << "key " << int(event.bytes[1]) << " is released but not down";
      key = false;
    }
  }
  EXPECT_EQ(std::count(down.begin(), down.end(), true), 0) << "nothing hangs";
  out.loudness /= static_cast<double>(std::max<std::size_t>(1, out.struck.size()));
  return out;
}

TEST(SongScore, HasEveryNoteOfEveryLayerOnOneKeyboard) {
  const Form form = two_sections();
  const auto song = sounding_song(form);
  const auto score = song_score(form, {}, Velocity(127));
  ASSERT_TRUE(song);
  ASSERT_TRUE(score) << score.error().message;
  EXPECT_EQ(score->title, "T");
  EXPECT_EQ(score->from, Micros(0));
  EXPECT_EQ(score->to, song->length);
  EXPECT_EQ(score->length, song->length);
  std::set<std::pair<std::int64_t, int>> wanted;
  for (const SoundingNote& note : song->notes) wanted.insert({note.at.count(), note.pitch.value()});
  EXPECT_EQ(played(*score).struck, wanted);
  ASSERT_EQ(score->turns.size(), song->turns.size());
  for (std::size_t i = 0; i < song->turns.size(); ++i) {
    EXPECT_EQ(score->turns[i].section, form.parts[song->turns[i].part].section);
    EXPECT_EQ(score->turns[i].time, song->turns[i].time);
    EXPECT_EQ(score->turns[i].at, song->turns[i].at);
  }
  EXPECT_EQ(score->turns.front().section, 1);
  EXPECT_EQ(score->turns.back().section, 2);
}

TEST(SongScore, AKeyThatTwoLayersHoldLastsUntilTheLaterLetsGo) {
  const Form form = two_sections();
  const auto song = sounding_song(form);
  const auto score = song_score(form, {}, Velocity(127));
  ASSERT_TRUE(song && score);
  // At any time a key is down exactly if some layer holds it.
  std::array<std::vector<std::pair<Micros, Micros>>, 128> held{};
  std::array<Micros, 128> since{};
  for (const midi::Event& event : score->score->events) {
    if (event.kind() == midi::kNoteOn) since[event.bytes[1]] = event.at;
    if (event.kind() == midi::kNoteOff) held[event.bytes[1]].emplace_back(since[event.bytes[1]], event.at);
  }
  for (const SoundingNote& note : song->notes) {
    Micros covered = note.at;
    for (const auto& [from, to] : held[static_cast<std::size_t>(note.pitch.value())])
      if (from <= covered && to > covered) covered = to;
    EXPECT_GE(covered, std::min(note.at + note.length, song->length)) << note.pitch.value();
  }
}

TEST(SongScore, IsScaledDownToTheMeanThatIsAskedForAndNeverUp) {
  const Form form = two_sections();
  const Heard loud = played(*song_score(form, {}, Velocity(127))),
              soft = played(*song_score(form, {}, Velocity(30)));
  EXPECT_LT(loud.loudness, 100) << "as it is written";
  EXPECT_NEAR(soft.loudness, 30, 3);
  EXPECT_LT(soft.loudest, loud.loudest);
}

TEST(SongScore, BeginsWithASectionAndEndsWithItIfAsked) {
  const Form form = two_sections();
  const auto whole = song_score(form, {}, Velocity(64));
  ASSERT_TRUE(whole);
  const auto begins = std::find_if(whole->turns.begin(), whole->turns.end(),
                                   [](const SectionTurn& turn) { return turn.section == 2; });
  ASSERT_NE(begins, whole->turns.end());
  const Micros second = begins->at;
  const auto from = song_score(form, {.section = 2}, Velocity(64));
  ASSERT_TRUE(from);
  EXPECT_EQ(from->from, second);
  EXPECT_EQ(from->to, whole->length);
  const auto only = song_score(form, {.section = 1, .only = true}, Velocity(64));
  ASSERT_TRUE(only);
  EXPECT_EQ(only->from, Micros(0));
  EXPECT_EQ(only->to, second) << "both of its times";
  const auto all = played(*whole).struck;
  std::set<std::pair<std::int64_t, int>> wanted;
  for (const auto& [at, key] : all)
    if (at >= second.count()) wanted.insert({at - second.count(), key});
  EXPECT_EQ(played(*from).struck, wanted);
  EXPECT_EQ(played(*only).struck.size() + wanted.size(), all.size());
  const auto none = song_score(form, {.section = 3}, Velocity(64));
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().message, "Section 3 is not played in this song.");
}

}  // namespace
}  // namespace undersong::song
