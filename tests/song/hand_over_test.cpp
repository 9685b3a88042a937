// Over 400 lines: all tests read the hand-over of one invented take.
// An invented take is handed over and read back: the form, the MIDI file compared with what was played, and
// the folder on disk.
#include "daemon/song/hand_over.h"
#include "daemon/takes/corrected_beats.h"

#include <gtest/gtest.h>

#include <unistd.h>
#include <pugixml.hpp>

#include <algorithm>
#include <fstream>
#include <random>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/string_pad.h"
#include "daemon/midi/smf.h"
#include "daemon/song/chart.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

struct Take {
  std::vector<midi::Event> events;
  std::vector<Micros> beats;
};

struct Tune {
  struct Note {
    double at, length;
    int pitch;
  };
  // Four bars of four, and what replaces the last bar in the fourth pass.
  std::vector<std::vector<int>> chords{
      {36, 64, 67, 71}, {45, 60, 64, 67}, {38, 65, 69, 72}, {43, 65, 71, 74}};
  std::vector<int> other{37, 65, 68, 72};
  std::vector<Note> melody{{0, 1, 79},    {1, .5, 81}, {1.5, .5, 79}, {2, 2, 76},    {4, 1.5, 84},
                           {5.5, .5, 83}, {6, 2, 81},  {8, .5, 77},   {8.5, .5, 79}, {9, 1, 81},
                           {10, 2, 86},   {12, 1, 83}, {13, 1, 81},   {14, 2, 79}};
};

// Four passes at about 92 beats per minute. The tempo wanders and no note is exactly on time, as with real
// players.
Take play(const Tune& tune, int times, bool melody = true) {
  std::mt19937 random(9);
  std::normal_distribution<double> stroke(0, .009), drift(0, .01);
  Take take;
  double now = .8, length = .652;
  std::vector<double> beats;
  for (int b = 0; b <= 16 * times; ++b) {
    beats.push_back(now);
    length = .652 + .93 * (length - .652) + .652 * drift(random);
    now += length;
  }
  const auto at = [&](double beat) {
    const auto i = std::min(static_cast<std::size_t>(beat), beats.size() - 2);
    return Micros(static_cast<std::int64_t>(
        1e6 * (beats[i] + (beat - static_cast<double>(i)) * (beats[i + 1] - beats[i]))));
  };
  const auto note = [&](double beat, double beats_long, int pitch, int velocity, bool exact) {
    const Micros off(exact ? 0 : static_cast<std::int64_t>(1e6 * stroke(random)));
    take.events.push_back(midi::note_on(at(beat) + off, 0, Pitch(pitch), Velocity(velocity)));
    take.events.push_back(midi::note_off(at(beat + .9 * beats_long) + off, 0, Pitch(pitch)));
  };
  for (int time = 0; time < times; ++time)
    for (std::size_t bar = 0; bar < 4; ++bar) {
      const double beat = 16 * time + 4 * static_cast<double>(bar);
      const auto& chord = bar == 3 && time == 3 ? tune.other : tune.chords[bar];
      for (const int pitch : chord) note(beat, 4, pitch, 55, false);
      take.events.push_back(midi::control_change(at(beat + .1), 0, 64, 100));
      take.events.push_back(midi::control_change(at(beat + 3.9), 0, 64, 0));
      if (!melody) continue;
      for (const Tune::Note& n : tune.melody)
        if (n.at >= 4 * static_cast<double>(bar) && n.at < 4 * static_cast<double>(bar) + 4)
          note(16 * time + n.at, n.length, n.pitch, 85, false);
    }
  std::stable_sort(take.events.begin(), take.events.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
  for (const double beat : beats) take.beats.push_back(Micros(static_cast<std::int64_t>(1e6 * beat)));
  return take;
}

Folder handed_over(const Take& take, HandOverOptions options = {}, std::vector<takes::Line> said = {}) {
  auto folder = hand_over(Played{take.events, std::move(said)}, options);
  EXPECT_TRUE(folder.has_value()) << (folder ? "" : folder.error().message);
  return folder ? std::move(*folder) : Folder{};
}

midi::Smf parts_of(const Folder& folder) {
  auto file = midi::read_smf(folder.files.at(0).bytes);
  EXPECT_TRUE(file.has_value());
  return *file;
}

const midi::SmfTrack& track(const midi::Smf& file, const std::string& name) {
  const auto found =
      std::find_if(file.tracks.begin(), file.tracks.end(), [&](const auto& t) { return t.name == name; });
  EXPECT_NE(found, file.tracks.end()) << name;
  return *found;
}

struct Sounding {
  midi::Tick from, to;
  int pitch;
};
std::vector<Sounding> notes_of(const midi::SmfTrack& track) {
  std::vector<Sounding> out;
  for (const auto& event : track.events) {
    const bool on = (event.bytes[0] & 0xF0) == 0x90 && event.bytes[2] > 0;
    const bool off =
        (event.bytes[0] & 0xF0) == 0x80 || ((event.bytes[0] & 0xF0) == 0x90 && event.bytes[2] == 0);
    if (on) out.push_back({event.tick, event.tick, event.bytes[1]});
    if (off)
      for (auto it = out.rbegin(); it != out.rend(); ++it)
        if (it->pitch == event.bytes[1] && it->to == it->from) {
          it->to = event.tick;
          break;
        }
  }
  return out;
}

TEST(HandOver, AThemeThatComesRoundIsOneStrainWithTheOtherEndingOfTheFourthTime) {
  const Folder folder = handed_over(play(Tune{}, 4));
  ASSERT_EQ(folder.form.parts.size(), 1u) << chart(folder.form);
  const Part& part = folder.form.parts[0];
  EXPECT_EQ(part.times, 4);
  EXPECT_EQ(part.length, 16 * kBeat);
  EXPECT_EQ(folder.form.meter, Meter{4});
  EXPECT_NEAR(folder.form.tempo, 92, 4);
  ASSERT_EQ(part.endings.size(), 1u) << chart(folder.form);
  EXPECT_EQ(part.endings[0].times, std::vector<int>{4});
  EXPECT_EQ(part.endings[0].from, 12 * kBeat);
  EXPECT_EQ(part.endings[0].chords.at(0).chord.root, PitchClass(1));
  ASSERT_EQ(part.chords.size(), 4u);
  for (std::size_t bar = 0; bar < 4; ++bar)
    EXPECT_EQ(part.chords[bar].at, static_cast<std::int64_t>(4 * bar) * kBeat);
}

TEST(HandOver, ASlipInOnePassIsNotWritten) {
  Take take = play(Tune{}, 4);
  const auto meant = handed_over(take).form.parts.at(0).melody;
  // In the second pass one note is a tone too high, and a note too many is played.
  const auto hit = [&](int pitch, std::size_t beat) {
    return std::find_if(take.events.begin(), take.events.end(), [&](const midi::Event& e) {
      return e.bytes[1] == pitch && e.at > take.beats[beat] - Micros(150'000);
    });
  };
  const auto on = hit(84, 20);
  ASSERT_NE(on, take.events.end());
  const auto off =
      std::find_if(on + 1, take.events.end(), [](const midi::Event& e) { return e.bytes[1] == 84; });
  ASSERT_NE(off, take.events.end());
  on->bytes[1] = off->bytes[1] = 86;
  take.events.push_back(midi::note_on(take.beats[27], 0, Pitch(88), Velocity(85)));
  take.events.push_back(midi::note_off(take.beats[27] + Micros(300'000), 0, Pitch(88)));
  std::stable_sort(take.events.begin(), take.events.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
  const auto parts = handed_over(take).form.parts;
  ASSERT_EQ(parts.size(), 1u);
  std::vector<int> written, wanted;
  for (const WrittenNote& note : parts[0].melody) written.push_back(note.pitch.value());
  for (const WrittenNote& note : meant) wanted.push_back(note.pitch.value());
  EXPECT_EQ(written, wanted);
}

TEST(HandOver, WhatThePlayerSaidOfTheBeatHoldsOnPaper) {
  const auto take = play(Tune(), 4);
  const auto line = [](takes::BeatLine said) {
    takes::Line out;
    out.at = said.at;
    out.kind = takes::LineKind::kBeat;
    out.data = takes::beat_data(said);
    return out;
  };
  const auto plain = handed_over(take);
  std::vector<takes::Line> half{line({take.beats[8], takes::BeatWord::kHalf, {}, 0})};
  EXPECT_NEAR(handed_over(take, {}, half).form.tempo, plain.form.tempo / 2, 3);
  half.push_back(line({take.beats[9], takes::BeatWord::kUndo, {}, 0}));
  EXPECT_NEAR(handed_over(take, {}, half).form.tempo, plain.form.tempo, 1);
}

TEST(HandOver, WhereThePlayerSaidThatBarsBeginTheyBeginOnEveryPageWhateverTheLoopSuggests) {
  const auto take = play(Tune(), 4);
  const auto one_at = [&](std::size_t beat) {
    takes::Line line;
    line.at = take.beats[beat];
    line.kind = takes::LineKind::kBeat;
    line.data = takes::beat_data({line.at, takes::BeatWord::kOne, {}, 0, 0});
    return handed_over(take, {}, {line});
  };
  // Where the bars of parts.mid begin, in beats of the take, counted from the first whole bar.
  const auto first_bar = [&](const Folder& folder) {
    const midi::Smf file = parts_of(folder);
    const midi::TickClock clock(file.division, file.tempos);
    const std::int64_t quarter = file.division.ticks_per_quarter;
    const std::int64_t pickup = file.time_signatures.size() > 1 ? file.time_signatures[1].tick / quarter : 0;
    const std::int64_t beat =
        std::llround(static_cast<double>(clock.nearest_tick(take.beats[0])) / static_cast<double>(quarter));
    return ((pickup - beat) % 4 + 4) % 4;
  };
  const auto found = handed_over(take), said = one_at(1), same = one_at(4);
  EXPECT_EQ(first_bar(found), 0);
  EXPECT_EQ(first_bar(said), 1);
  EXPECT_EQ(first_bar(same), 0);
  EXPECT_NE(said.files[0].bytes, found.files[0].bytes);
  EXPECT_NE(said.files[1].bytes, found.files[1].bytes);
  EXPECT_NE(said.files[2].bytes, found.files[2].bytes);
  for (const Part& part : said.form.parts)
    if (!part.free && part.name != "Pickup") {
      EXPECT_EQ(part.length % (4 * kBeat), Ticks(0)) << part.name;
    }
  EXPECT_EQ(said.form.parts.front().name, "Pickup");
  EXPECT_LT(said.form.parts.front().length, 4 * kBeat);
}

TEST(HandOver, RoundsInAnotherKeyHaveItsSignatureAndTheRoundsAfterThemTheOldOneAgain) {
  Take take = play(Tune{}, 10);
  const auto moved = [&](Micros at) {
    return at > take.beats[64] - Micros(100'000) && at < take.beats[128] - Micros(100'000);
  };
  for (midi::Event& event : take.events) {
    const bool key = (event.bytes[0] & 0xE0) == 0x80;
    // A key goes up where it was struck in a moved round, and so does its end.
    if (key && moved(event.at)) event.bytes[1] = static_cast<std::uint8_t>(event.bytes[1] + 2);
  }
  const auto folder = handed_over(take);
  std::vector<int> signatures;
  std::string names;
  int bars = 0;
  for (const Part& part : folder.form.parts) {
    signatures.push_back(key_of(folder.form, part).signature);
    names += part.name.substr(0, 1);
    EXPECT_GT(part.times, 1) << "passes in one key are folded";
    bars += static_cast<int>(part.length / (4 * kBeat)) * part.times;
  }
  EXPECT_EQ(signatures, (std::vector{0, 2, 0}));
  EXPECT_EQ(names, "AAA") << "what is the same in another key has the same name";
  EXPECT_EQ(bars, 40);
  EXPECT_EQ(folder.form.parts.at(1).own_key->key, (harmony::Key{PitchClass(2), harmony::Mode::kMajor}));
  std::vector<int> in_file;
  for (const auto& key : parts_of(folder).key_signatures) in_file.push_back(key.fifths);
  EXPECT_EQ(in_file, signatures);
  for (const File& file : folder.files) {
    if (file.name != "lead_sheet.musicxml" && file.name != "lead_sheet_b_flat.musicxml") continue;
    pugi::xml_document sheet;
    ASSERT_TRUE(
        sheet.load_buffer(file.bytes.data(), file.bytes.size(), pugi::parse_default & ~pugi::parse_doctype));
    std::vector<int> written;
    for (const auto& key : sheet.select_nodes("//key/fifths")) written.push_back(key.node().text().as_int());
    EXPECT_EQ(written, file.name == "lead_sheet.musicxml" ? (std::vector{0, 2, 0}) : (std::vector{2, 4, 2}));
    EXPECT_EQ(sheet.select_nodes("//accidental").size(), 0u)
        << file.name << ": the notes are those of the keys";
  }
}

TEST(HandOver, ChordNamesInThePartsFileAreSpelledInTheKeyThatHoldsThere) {
  for (const int shift : {1, 3, 4, 6, 8}) {
    Take take = play(Tune{}, 10);
    const auto moved = [&](Micros at) {
      return at > take.beats[64] - Micros(100'000) && at < take.beats[128] - Micros(100'000);
    };
    for (midi::Event& event : take.events)
      if ((event.bytes[0] & 0xE0) == 0x80 && moved(event.at))
        event.bytes[1] = static_cast<std::uint8_t>(event.bytes[1] + shift);
    const auto folder = handed_over(take);
    const midi::Smf file = parts_of(folder);
    ASSERT_EQ(file.key_signatures.size(), 3u) << shift;
    ASSERT_FALSE(file.texts.empty());
    int moved_chords = 0;
    for (const auto& text : file.texts) {
      int signature = 0;
      for (const auto& key : file.key_signatures)
        if (key.tick <= text.tick) signature = key.fifths;
      if (signature == 0) continue;
      ++moved_chords;
      const auto chord = harmony::parse_symbol(text.text);
      ASSERT_TRUE(chord) << text.text;
      // All these chords are of the scale: seven neighbours in the row of fifths.
      const int fifths = chord->root.fifths() - signature;
      EXPECT_TRUE(-1 <= fifths && fifths <= 5)
          << text.text << " under a signature of " << signature << ", moved by " << shift;
    }
    EXPECT_GE(moved_chords, 16) << shift;
  }
}

TEST(HandOver, ATakeThatBeganWithinAClocksBarHasThatClocksBars) {
  Take take = play(Tune{}, 4);
  const Micros first = take.events.front().at;
  for (auto& event : take.events) event.at -= first;
  for (auto& beat : take.beats) beat -= first;
  // The last clock beat before the take was the fourth of its bar.
  std::vector<takes::Line> said;
  const auto say = [&](Micros at, int place) {
    takes::Line line;
    line.at = at;
    line.kind = takes::LineKind::kBeat;
    line.data = takes::beat_data({at, takes::BeatWord::kClock, Micros(652'000), 4, place});
    said.push_back(line);
  };
  say(take.beats[0] - Micros(652'000), 3);
  for (std::size_t beat = 0; beat + 1 < take.beats.size(); beat += 4) say(take.beats[beat], 0);
  const midi::Smf file = parts_of(handed_over(take, {}, said));
  ASSERT_GE(file.time_signatures.size(), 2u);
  EXPECT_EQ(file.time_signatures[0].numerator, 1) << "what is left of the bar";
  EXPECT_EQ(file.time_signatures[1].tick, file.division.ticks_per_quarter);
  EXPECT_EQ(file.time_signatures[1].numerator, 4);
  const midi::SmfTrack& played = track(file, "as played");
  ASSERT_EQ(played.events.size(), take.events.size());
  const Micros later = Micros(652'000) - take.beats[0];
  for (std::size_t i = 0; i < take.events.size(); ++i)
    EXPECT_NEAR(static_cast<double>((played.events[i].at - take.events[i].at - later).count()), 0, 1000) << i;
  const midi::TickClock clock(file.division, file.tempos);
  for (std::size_t beat = 0; beat + 1 < take.beats.size(); beat += 4) {
    const double bar =
        (static_cast<double>(clock.nearest_tick(take.beats[beat] + later)) / file.division.ticks_per_quarter -
         1) /
        4;
    EXPECT_NEAR(bar, static_cast<double>(beat) / 4, .01) << beat;
  }
}

TEST(HandOver, TheMelodyIsWrittenAsItWasMeant) {
  const Tune tune;
  const Folder folder = handed_over(play(tune, 4));
  ASSERT_FALSE(folder.form.parts.empty());
  const auto& melody = folder.form.parts[0].melody;
  ASSERT_EQ(melody.size(), tune.melody.size());
  for (std::size_t i = 0; i < melody.size(); ++i) {
    EXPECT_EQ(melody[i].pitch.value(), tune.melody[i].pitch);
    EXPECT_DOUBLE_EQ(melody[i].at.beats(), tune.melody[i].at);
    EXPECT_DOUBLE_EQ(melody[i].length.beats(), tune.melody[i].length) << i;
  }
}

TEST(HandOver, TheTempoMapPutsEveryBeatWhereItWasPlayed) {
  const Take take = play(Tune{}, 4);
  const midi::Smf file = parts_of(handed_over(take));
  const midi::TickClock clock(file.division, file.tempos);
  // Bars line up: every chord of the take was struck at a bar line of the file, within the variation of the
  // player.
  int bars = 0;
  for (std::size_t beat = 0; beat + 1 < take.beats.size(); beat += 4) {
    const midi::Tick tick = clock.nearest_tick(take.beats[beat]);
    const midi::Tick lead = file.time_signatures.size() > 1 ? file.time_signatures[1].tick : 0;
    const auto bar =
        (static_cast<double>(tick) - static_cast<double>(lead)) / (4 * file.division.ticks_per_quarter);
    EXPECT_NEAR(bar, std::round(bar), .02) << beat;
    ++bars;
  }
  EXPECT_EQ(bars, 16);
}

TEST(HandOver, WhatWasPlayedIsInTheFileToTheMillisecond) {
  const Take take = play(Tune{}, 4);
  const midi::Smf file = parts_of(handed_over(take));
  const midi::SmfTrack& played = track(file, "as played");
  ASSERT_EQ(played.events.size(), take.events.size());
  for (std::size_t i = 0; i < take.events.size(); ++i) {
    EXPECT_EQ(played.events[i].bytes, take.events[i].bytes);
    EXPECT_NEAR(static_cast<double>((played.events[i].at - take.events[i].at).count()), 0, 1000);
  }
}

TEST(HandOver, HasATrackForEachPlayerWithNamesMarkersAndSignatures) {
  const midi::Smf file = parts_of(handed_over(play(Tune{}, 4)));
  EXPECT_EQ(file.format, 1);
  std::vector<std::string> names;
  for (const auto& t : file.tracks) names.push_back(t.name);
  EXPECT_EQ(names, (std::vector<std::string>{"Untitled", "as played", "melody", "chords", "bass",
                                             "string pad, violin I", "string pad, violin II",
                                             "string pad, viola", "string pad, cello"}));
  ASSERT_FALSE(file.markers.empty());
  EXPECT_TRUE(file.markers[0].text.starts_with("A")) << file.markers[0].text;
  ASSERT_EQ(file.key_signatures.size(), 1u);
  EXPECT_EQ(file.key_signatures[0].fifths, 0);
  ASSERT_FALSE(file.time_signatures.empty());
  EXPECT_EQ(file.time_signatures.back().numerator, 4);
  // The chords track has a text event with a name for each chord, where the bass changes.
  const auto bass = notes_of(track(file, "bass"));
  std::vector<midi::Tick> named;
  for (const auto& text : file.texts) {
    EXPECT_EQ(text.kind, midi::SmfText::Kind::kText);
    EXPECT_EQ(file.tracks[text.track].name, "chords");
    named.push_back(text.tick);
  }
  ASSERT_EQ(bass.size(), named.size());
  EXPECT_EQ(bass.size(), 16u);
  for (std::size_t i = 0; i < bass.size(); ++i)  // the bass is as it was played
    EXPECT_NEAR(static_cast<double>(bass[i].from), static_cast<double>(named[i]), 240);
  EXPECT_EQ(notes_of(track(file, "melody")).size(), 4 * Tune{}.melody.size());
}

TEST(HandOver, StringsStayInRangeAndOrderAndHoldCommonTones) {
  const Folder folder = handed_over(play(Tune{}, 4));
  const midi::Smf file = parts_of(folder);
  std::vector<std::vector<Sounding>> voices;
  for (const char* name :
       {"string pad, cello", "string pad, viola", "string pad, violin II", "string pad, violin I"})
    voices.push_back(notes_of(track(file, name)));
  // The lowest string of each, and two octaves and a fifth above it: easy for players of all four.
  constexpr int kOpenStrings[] = {36, 48, 55, 55};
  for (std::size_t v = 0; v < 4; ++v) {
    for (std::size_t i = 0; i < voices[v].size(); ++i) {
      EXPECT_GE(voices[v][i].pitch, kOpenStrings[v]);
      EXPECT_LE(voices[v][i].pitch, kOpenStrings[v] + 31);
      if (i > 0 && voices[v][i].from == voices[v][i - 1].to) {
        EXPECT_NE(voices[v][i].pitch, voices[v][i - 1].pitch) << "a common tone was struck again";
      }
    }
    if (v == 0) continue;
    for (const Sounding& low : voices[v - 1])
      for (const Sounding& high : voices[v])
        if (low.from < high.to && high.from < low.to) {
          EXPECT_LT(low.pitch, high.pitch);
        }
  }
  EXPECT_EQ(folder.pad_parallels, 0);
}

TEST(HandOver, ASteadyTempoHasOneTempoAndAQuantisedMelody) {
  HandOverOptions options;
  options.parts.steady = true;
  options.parts.tempo = 100;
  const Folder folder = handed_over(play(Tune{}, 4), options);
  const midi::Smf file = parts_of(folder);
  ASSERT_EQ(file.tempos.size(), 1u);
  EXPECT_EQ(file.tempos[0].micros_per_quarter, 600'000u);
  for (const Sounding& note : notes_of(track(file, "melody")))
    EXPECT_TRUE(note.from % (file.division.ticks_per_quarter / 8) == 0 ||
                note.from % (file.division.ticks_per_quarter / 6) == 0)
        << note.from;
}

TEST(HandOver, ASteadyTempoStandsOnEveryPage) {
  const auto text = [](const Folder& folder, std::size_t file) {
    return std::string(folder.files.at(file).bytes.begin(), folder.files.at(file).bytes.end());
  };
  const auto played = play(Tune{}, 4);
  const long heard = std::lround(handed_over(played).form.tempo);
  ASSERT_NE(heard, 100);
  for (const auto& [asked, written] : {std::pair<std::optional<double>, std::string>{100., "100"},
                                       {92.5, "92.5"},
                                       {std::nullopt, std::to_string(heard)}}) {
    HandOverOptions options;
    options.parts.steady = true;
    options.parts.tempo = asked;
    const Folder folder = handed_over(played, options);
    const auto tempos = parts_of(folder).tempos;
    ASSERT_EQ(tempos.size(), 1u);
    EXPECT_EQ(tempos[0].micros_per_quarter,
              static_cast<std::uint32_t>(std::lround(60e6 / std::stod(written))));
    EXPECT_NE(text(folder, 1).find("<per-minute>" + written + "</per-minute>"), std::string::npos) << written;
    EXPECT_NE(text(folder, 1).find("<sound tempo=\"" + written + "\""), std::string::npos) << written;
    EXPECT_NE(text(folder, 2).find("quarter = " + written + "\n"), std::string::npos) << text(folder, 2);
  }
}

TEST(HandOver, WithoutAMelodyItSaysSoAndWritesChords) {
  Tune tune;
  for (auto& chord : tune.chords)
    for (std::size_t i = 1; i < chord.size(); ++i) chord[i] -= 12;
  const Folder folder = handed_over(play(tune, 4, false));
  ASSERT_FALSE(folder.form.parts.empty());
  const std::string sheet(folder.files.at(1).bytes.begin(), folder.files.at(1).bytes.end());
  EXPECT_NE(sheet.find("<harmony"), std::string::npos);
  pugi::xml_document read;
  ASSERT_TRUE(read.load_string(sheet.c_str()));
  EXPECT_GT(read.select_nodes("//note[notehead='slash']").size(), 0u);
  EXPECT_EQ(read.select_nodes("//note[pitch][not(notehead='slash')]").size(), 0u);
  ASSERT_FALSE(folder.remarks.empty());
  EXPECT_NE(folder.remarks.back().find("No melody"), std::string::npos);
}

// Chords of any length one after another, without a beat.
Take free_playing() {
  std::mt19937 random(4);
  Take take;
  std::int64_t now = 300'000;
  for (int i = 0; i < 24; ++i) {
    const std::int64_t length = 700'000 + static_cast<std::int64_t>(random() % 4'000'000);
    const int root = static_cast<int>(random() % 12);
    for (const int pitch : {36 + root, 52 + root, 55 + root, 58 + root}) {
      const Micros roll(static_cast<std::int64_t>(random() % 60'000));
      take.events.push_back(midi::note_on(Micros(now) + roll, 0, Pitch(pitch), Velocity(60)));
      take.events.push_back(midi::note_off(Micros(now + length - 50'000), 0, Pitch(pitch)));
    }
    now += length;
  }
  std::stable_sort(take.events.begin(), take.events.end(),
                   [](const auto& a, const auto& b) { return a.at < b.at; });
  return take;
}

// A phrase returns now and then in a piece that otherwise goes elsewhere, so it does not carry the form.
TEST(Form, ALoopThatIsLittleOfTheTakeDoesNotCarryTheForm) {
  takes::HeardTake take;
  for (int i = 0; i < 20; ++i)
    take.spans.push_back({Micros(1'000'000 * i), Micros(1'000'000 * (i + 1)), {}, {}});
  takes::Loop loop;
  loop.chords.resize(4);
  for (auto& chord : loop.chords) chord.beats = 2;
  takes::LoopPass pass;
  pass.end = Micros(4'000'000);
  loop.passes = {pass, pass};
  EXPECT_FALSE(carries_form(take, loop));
  loop.passes.push_back(pass);
  EXPECT_TRUE(carries_form(take, loop));
  loop.chords.resize(1);
  EXPECT_FALSE(carries_form(take, loop));
}

TEST(HandOver, WithoutAPulseABarIsAChordChangeAndItSaysSo) {
  const Take take = free_playing();
  const Folder folder = handed_over(take);
  EXPECT_FALSE(folder.form.pulse);
  ASSERT_FALSE(folder.remarks.empty());
  EXPECT_NE(folder.remarks[0].find("No pulse"), std::string::npos);
  for (const Part& part : folder.form.parts) {
    EXPECT_TRUE(part.free);
    for (const WrittenChord& chord : part.chords) EXPECT_EQ(chord.at % (4 * kBeat), Ticks(0));
  }
  const midi::Smf file = parts_of(folder);
  const auto& played = track(file, "as played");
  ASSERT_EQ(played.events.size(), take.events.size());
  for (std::size_t i = 0; i < take.events.size(); ++i)
    EXPECT_NEAR(static_cast<double>((played.events[i].at - take.events[i].at).count()), 0, 1000);
  for (const Sounding& note : notes_of(track(file, "bass")))
    EXPECT_TRUE(std::any_of(file.time_signatures.begin(), file.time_signatures.end(), [&](const auto& s) {
      return note.from >= s.tick &&
             (note.from - s.tick) % (s.numerator * std::uint64_t{file.division.ticks_per_quarter}) == 0;
    }));
}

TEST(HandOver, WithoutAPulseASteadyTempoIsWrittenToo) {
  HandOverOptions options;
  options.parts.steady = true;
  options.parts.tempo = 84;
  const Folder folder = handed_over(free_playing(), options);
  ASSERT_FALSE(folder.form.pulse);
  const auto text = [&](std::size_t file) {
    return std::string(folder.files.at(file).bytes.begin(), folder.files.at(file).bytes.end());
  };
  EXPECT_NE(text(1).find("<per-minute>84</per-minute>"), std::string::npos);
  EXPECT_NE(text(2).find("quarter = 84\n"), std::string::npos) << text(2);
  EXPECT_EQ(text(2).find("lengths are free"), std::string::npos);
}

TEST(HandOver, BadInputGetsOneSentence) {
  const auto sentence = [](const std::vector<midi::Event>& events, HandOverOptions options = {}) {
    const auto folder = hand_over(Played{events, {}}, options);
    return folder ? std::string("accepted") : folder.error().message;
  };
  EXPECT_EQ(sentence({}), "There are no notes in this take.");
  const std::vector<midi::Event> one{midi::note_on(Micros(0), 0, Pitch(60), Velocity(80)),
                                     midi::note_off(Micros(500'000), 0, Pitch(60))};
  EXPECT_EQ(sentence(one), "There is only one note in this take; a form needs chords and a melody.");
  HandOverOptions fast;
  fast.parts.steady = true;
  fast.parts.tempo = 9000;
  EXPECT_EQ(sentence(play(Tune{}, 2).events, fast),
            "A steady tempo of 9000 beats a minute is outside 30 to 300.");
}

class OnDisk : public testing::Test {
 protected:
  void SetUp() override {
    top_ = fs::temp_directory_path() / ("undersong-hand-over-" + std::to_string(::getpid()));
    fs::create_directories(top_);
  }
  void TearDown() override { fs::remove_all(top_); }
  fs::path top_;
};

TEST_F(OnDisk, AFolderThatIsNotEmptyIsLeftAloneUnlessForced) {
  const Folder folder = handed_over(play(Tune{}, 4));
  const fs::path directory = top_ / "deep" / "folder";
  ASSERT_TRUE(write_folder(folder, directory, false).has_value());
  for (const File& file : folder.files) EXPECT_EQ(fs::file_size(directory / file.name), file.bytes.size());
  EXPECT_EQ(std::distance(fs::directory_iterator(directory), fs::directory_iterator{}),
            std::ssize(folder.files));
  const auto again = write_folder(folder, directory, false);
  ASSERT_FALSE(again.has_value());
  EXPECT_NE(again.error().message.find("is not empty"), std::string::npos);
  std::ofstream(directory / "mine.txt") << "kept";
  EXPECT_TRUE(write_folder(folder, directory, true).has_value());
  EXPECT_TRUE(fs::exists(directory / "mine.txt"));
  const auto on_file = write_folder(folder, directory / "mine.txt", true);
  ASSERT_FALSE(on_file.has_value());
  EXPECT_NE(on_file.error().message.find("is a file"), std::string::npos);
}

}  // namespace
}  // namespace undersong::song
