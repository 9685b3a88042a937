// What is played before the first bar is written as a pickup, in takes and in songs.
#include "daemon/song/pickup.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <pugixml.hpp>
#include <random>

#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/sketch.h"

namespace undersong::song {
namespace {

// Five times a loop of four bars at 100 beats a minute. Each round begins with the same upbeat, the first one
// alone. `beats`: where its notes begin, before the bar.
std::vector<midi::Event> rounds_with_upbeat(const std::vector<double>& beats) {
  std::mt19937 random(21);
  std::normal_distribution<double> stroke(0, .006);
  std::vector<midi::Event> out;
  const auto key = [&](double beat, double length, int pitch, int velocity) {
    const auto at = [&](double b) {
      return Micros(2'400'000 + static_cast<std::int64_t>(1e6 * (b * .6 + stroke(random))));
    };
    out.push_back(midi::note_on(at(beat), 0, Pitch(pitch), Velocity(velocity)));
    out.push_back(midi::note_off(at(beat + .93 * length), 0, Pitch(pitch)));
  };
  constexpr std::array<std::array<int, 4>, 4> kChords{
      {{48, 55, 60, 64}, {45, 57, 60, 64}, {41, 57, 60, 65}, {43, 55, 59, 65}}};
  for (int round = 0; round < 5; ++round) {
    const double from = 16 * round;
    for (std::size_t i = 0; i < beats.size(); ++i)
      key(from - beats[i], (i + 1 < beats.size() ? beats[i] - beats[i + 1] : beats[i]),
          67 + 2 * static_cast<int>(i), 84);
    for (int bar = 0; bar < 4; ++bar) {
      const auto& chord = kChords[static_cast<std::size_t>(bar)];
      const double at = from + 4 * bar;
      key(at, 2, chord[0], 72), key(at + 2, 2, chord[0], 66);
      for (const double beat : {0., 1., 2., 3.})
        for (std::size_t i = 1; i < 4; ++i) key(at + beat, .9, chord[i], 52);
      key(at, 1, chord[3] + 12, 90), key(at + 1, .5, chord[2] + 12, 84), key(at + 1.5, .5, chord[3] + 12, 84);
      if (bar < 3) key(at + 2, 2, chord[1] + 19, 86);
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return out;
}

pugi::xml_document pickup_page(const Folder& folder, const std::string& name) {
  pugi::xml_document out;
  for (const File& file : folder.files) {
    if (file.name != name) continue;
    EXPECT_TRUE(
        out.load_buffer(file.bytes.data(), file.bytes.size(), pugi::parse_default & ~pugi::parse_doctype));
  }
  return out;
}

TEST(Pickup, AnUpbeatIsAnIncompleteFirstBar) {
  struct Case {
    std::vector<double> beats;
    int length;  // on paper
    std::size_t notes;
  };
  for (const Case& each :
       {Case{{1}, 480, 1}, Case{{1.5, 1, .5}, 720, 3}, Case{{.5}, 240, 1}, Case{{2, 1.5, 1, .5}, 960, 4}}) {
    const auto folder = hand_over(Played{rounds_with_upbeat(each.beats)}, {});
    ASSERT_TRUE(folder) << folder.error().message;
    for (const char* name : {"lead_sheet.musicxml", "bass.musicxml", "score.musicxml", "cello.musicxml"}) {
      const auto sheet = pickup_page(*folder, name);
      const auto bar = sheet.select_node("//part[1]/measure[1]").node();
      EXPECT_STREQ(bar.attribute("number").value(), "0") << name;
      EXPECT_STREQ(bar.attribute("implicit").value(), "yes") << name;
      EXPECT_STREQ(bar.next_sibling("measure").attribute("number").value(), "1") << name;
      EXPECT_FALSE(bar.select_node(".//rehearsal")) << "the first section begins with its first bar";
      EXPECT_FALSE(bar.next_sibling("measure").child("print")) << "on the line of the pickup";
      int length = 0;
      for (const auto& note : bar.children("note")) length += note.child("duration").text().as_int();
      EXPECT_EQ(length, each.length) << name;
    }
    const auto sheet = pickup_page(*folder, "lead_sheet.musicxml");
    EXPECT_EQ(sheet.select_nodes("//measure[@number='0']/note/pitch").size(), each.notes);
    EXPECT_EQ(sheet.select_nodes("//time").size(), 1u) << "one signature for all";
    EXPECT_EQ(folder->form.parts.at(1).length, 16 * kBeat);
  }
}

TEST(Pickup, WithoutAnUpbeatTheFirstBarIsTheFirst) {
  const auto folder = hand_over(Played{rounds_with_upbeat({})}, {});
  ASSERT_TRUE(folder) << folder.error().message;
  EXPECT_FALSE(pickup_page(*folder, "lead_sheet.musicxml").select_node("//measure[@implicit]"));
}

TEST(Pickup, ASongBeginsWithThatOfItsTakeWhichComesInBeforeTheCountInIsOver) {
  const auto study = std::make_shared<const TakeStudy>(study_take(Played{rounds_with_upbeat({1, .5})}));
  const auto reader = [&](const SketchSource&) -> Result<std::shared_ptr<const TakeStudy>> { return study; };
  const auto made = [&](const std::string& more) {
    const auto sketch = read_sketch(
        "title = \"Home\"\ncount_in = 1\n[[section]]\nkind = \"theme\"\ntake = 1\n" + more, "song.toml");
    EXPECT_TRUE(sketch) << sketch.error().message;
    const auto form = form_of_sketch(*sketch, reader);
    EXPECT_TRUE(form) << form.error().message;
    return *form;
  };
  const Form form = made("transpose = 2\n");
  ASSERT_TRUE(form.parts.front().pickup);
  EXPECT_EQ(form.parts.front().length, kBeat);
  EXPECT_EQ(form.parts.front().melody.front().pitch, Pitch(69)) << "moved with its section";
  const auto folder = hand_over_form(form, harmony::PadStyle::kStill);
  ASSERT_TRUE(folder) << folder.error().message;
  const auto file = midi::read_smf(folder->files.front().bytes);
  ASSERT_TRUE(file);
  EXPECT_EQ(file->time_signatures.size(), 1u) << "three clicks and the pickup are a bar";
  const auto melody = std::find_if(file->tracks.begin(), file->tracks.end(),
                                   [](const midi::SmfTrack& track) { return track.name == "melody"; });
  ASSERT_NE(melody, file->tracks.end());
  const auto first = std::find_if(melody->events.begin(), melody->events.end(),
                                  [](const midi::SmfEvent& e) { return (e.bytes[0] & 0xF0) == 0x90; });
  EXPECT_EQ(first->tick, 3u * file->division.ticks_per_quarter);
  EXPECT_FALSE(made("layers = [\"chords\", \"bass\"]\n").parts.front().pickup) << "its tune is left out";
}

TEST(Pickup, WordsBeforeABarLineAreSungInIt) {
  const auto song = [](const std::vector<double>& upbeat, const std::string& more) -> Result<Form> {
    const auto study = std::make_shared<const TakeStudy>(study_take(Played{rounds_with_upbeat(upbeat)}));
    const auto reader = [&](const SketchSource&) -> Result<std::shared_ptr<const TakeStudy>> {
      return study;
    };
    const auto sketch =
        read_sketch("title = \"Home\"\n[[section]]\nkind = \"theme\"\ntake = 1\n" + more, "song.toml");
    if (!sketch) return sketch.error();
    return form_of_sketch(*sketch, reader);
  };
  const auto form = song({1, .5}, "lyrics = \"and when | morn-ing comes\"\n");
  ASSERT_TRUE(form) << form.error().message;
  const auto folder = hand_over_form(*form, harmony::PadStyle::kStill);
  ASSERT_TRUE(folder) << folder.error().message;
  const auto sheet = pickup_page(*folder, "lead_sheet.musicxml");
  std::string in_pickup, after;
  for (const auto& text : sheet.select_nodes("//measure[@number='0']//lyric/text"))
    in_pickup += text.node().text().get() + std::string(" ");
  for (const auto& text : sheet.select_nodes("//measure[@number!='0']//lyric/text"))
    after += text.node().text().get() + std::string(" ");
  EXPECT_EQ(in_pickup, "and when ");
  EXPECT_EQ(after, "morn ing comes ");

  const auto refused = [&](const std::vector<double>& upbeat, const std::string& lyrics) {
    const auto made = song(upbeat, "lyrics = \"" + lyrics + "\"\n");
    return made ? std::string() : made.error().message;
  };
  EXPECT_NE(refused({}, "and | morn-ing").find("begin before the first bar (|), but it has no pickup"),
            std::string::npos);
  EXPECT_NE(refused({1}, "and so | morn-ing").find("have 2 syllables"), std::string::npos);
  EXPECT_NE(refused({1}, "and | morn-ing | comes").find("second bar line"), std::string::npos);
}

}  // namespace
}  // namespace undersong::song
