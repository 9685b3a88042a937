// Compound metres, fives and sevens are written as such: on paper, in the MIDI files and in words.
#include "daemon/song/meter.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <pugixml.hpp>
#include <random>

#include "daemon/midi/smf.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/notation.h"
#include "daemon/song/quantise.h"
#include "tests/song/rounds.h"

namespace undersong::song {
namespace {

constexpr Meter kSixEight{2, BeatValue::kDottedQuarter}, kNineEight{3, BeatValue::kDottedQuarter},
    kTwelveEight{4, BeatValue::kDottedQuarter}, kSevenEight{7, BeatValue::kEighth};

WrittenNote meter_note(std::int64_t at, std::int64_t length) {
  return {Pitch(72), {}, Ticks(at), Ticks(length), Velocity(80)};
}

std::string meter_words(const std::vector<Symbol>& symbols) {
  std::string out;
  for (const Symbol& s : symbols) {
    out += (out.empty() ? "" : " ") + std::string(s.note ? "" : "rest-") + std::string(s.type);
    for (int i = 0; i < s.dots; ++i) out += '.';
    if (s.tied_after) out += '~';
    if (s.beams[0] == Mark::kBegin) out += '[';
    if (s.beams[0] == Mark::kEnd) out += ']';
  }
  return out;
}

TEST(Meter, SignaturesAreThoseOfTheTrade) {
  EXPECT_EQ(text(kSixEight.signature()), "6/8");
  EXPECT_EQ(text(kTwelveEight.signature()), "12/8");
  EXPECT_EQ(text(kTwelveEight.signature(2 * kBeat)), "6/8");
  EXPECT_EQ(text(kSevenEight.signature()), "7/8");
  EXPECT_EQ(text(Meter{3}.signature()), "3/4");
  EXPECT_EQ(beat_value(2, 3, 1.1), BeatValue::kDottedQuarter);
  EXPECT_EQ(beat_value(7, 2, .25), BeatValue::kEighth);
  EXPECT_EQ(beat_value(5, 2, .5), BeatValue::kQuarter) << "a slow five is counted in quarters";
}

TEST(Meter, CompoundBarsShowTheirBeats) {
  const auto bar = [](std::vector<WrittenNote> notes, const Meter& meter) {
    return meter_words(write_bar(notes, Ticks(0), meter.bar(), meter));
  };
  EXPECT_EQ(bar({meter_note(0, 160), meter_note(160, 160), meter_note(320, 160), meter_note(480, 320),
                 meter_note(800, 160)},
                kSixEight),
            "eighth[ eighth eighth] quarter eighth");
  EXPECT_EQ(bar({meter_note(0, 960)}, kSixEight), "half.");
  EXPECT_EQ(bar({meter_note(0, 320), meter_note(320, 640)}, kSixEight), "quarter eighth~ quarter.");
  EXPECT_EQ(bar({meter_note(0, 240), meter_note(240, 80), meter_note(320, 160)}, kSixEight),
            "eighth.[ 16th eighth] rest-quarter.");
  EXPECT_EQ(bar({meter_note(0, 240), meter_note(240, 240), meter_note(480, 480)}, kSixEight),
            "eighth.[ eighth.] quarter.");
  EXPECT_EQ(bar({meter_note(0, 160)}, kSixEight), "eighth rest-eighth rest-eighth rest-quarter.");
  EXPECT_EQ(bar({meter_note(0, 1440)}, kNineEight), "half.~ quarter.");
  EXPECT_EQ(bar({meter_note(480, 1440)}, kTwelveEight), "rest-quarter. quarter.~ half.");
  EXPECT_EQ(bar({meter_note(0, 1920)}, kTwelveEight), "whole.");
}

TEST(Meter, SevensShowTheirGroups) {
  Meter late = kSevenEight, early = kSevenEight;
  early.groups = 0b101001;  // 3+2+2
  std::vector<WrittenNote> eighths;
  for (int i = 0; i < 7; ++i) eighths.push_back(meter_note(480 * i, 480));
  EXPECT_EQ(meter_words(write_bar(eighths, Ticks(0), late.bar(), late)),
            "eighth[ eighth] eighth[ eighth] eighth[ eighth eighth]");
  EXPECT_EQ(meter_words(write_bar(eighths, Ticks(0), early.bar(), early)),
            "eighth[ eighth eighth] eighth[ eighth] eighth[ eighth]");
  const std::vector<WrittenNote> held{meter_note(0, 3360)};
  EXPECT_EQ(meter_words(write_bar(held, Ticks(0), late.bar(), late)), "half~ quarter.");
  EXPECT_EQ(meter_words(write_bar(held, Ticks(0), early.bar(), early)), "quarter.~ half");
}

// A bar of one beat is not written: it belongs to the bar before it.
TEST(Meter, OneBeatLeftOverJoinsTheBarBeforeIt) {
  const auto bars = [](const Meter& meter, Ticks length) {
    std::vector<std::string> out;
    for (Ticks at, next; at < length; at += next) {
      next = meter.next_bar(length - at);
      out.push_back(text(meter.signature(next)));
    }
    return out;
  };
  using Bars = std::vector<std::string>;
  EXPECT_EQ(bars(Meter{4}, 9 * kBeat), (Bars{"4/4", "5/4"}));
  EXPECT_EQ(bars(Meter{4}, 10 * kBeat), (Bars{"4/4", "4/4", "2/4"}));
  EXPECT_EQ(bars(Meter{3}, 7 * kBeat), (Bars{"3/4", "4/4"}));
  EXPECT_EQ(bars(kSixEight, 3 * kBeat), (Bars{"9/8"}));
  EXPECT_EQ(bars(Meter{4}, kBeat), (Bars{"1/4"})) << "a pickup of one beat is one";
}

// Whatever was played, the values on paper add up to the bar, and what is tied sounds as it was given.
TEST(Meter, ValuesOnPaperSayExactlyWhatSounds) {
  std::mt19937 random(5);
  for (const Meter& meter : {kSixEight, kNineEight, kTwelveEight, kSevenEight, Meter{5, BeatValue::kEighth}})
    for (int piece = 0; piece < 100; ++piece) {
      std::vector<PlayedInBeats> played;
      for (double at = 0; at < 4 * meter.beats;) {
        const double next = .1 + static_cast<double>(random() % 1000) / 400;
        played.push_back({at, at + next * static_cast<double>(random() % 100) / 70, Pitch(60), Velocity(80)});
        at += next;
      }
      const auto notes =
          quantise(played, 4 * meter.bar(), meter.value == BeatValue::kEighth ? .25 : 1, meter.value);
      std::vector<WrittenNote> back;
      for (Ticks from; from < 4 * meter.bar(); from += meter.bar()) {
        Ticks at = from;
        std::int64_t paper = 0;
        for (const Symbol& symbol : write_bar(notes, from, meter.bar(), meter)) {
          EXPECT_EQ(symbol.at, at);
          EXPECT_FALSE(symbol.type.empty() && !symbol.whole_bar) << symbol.written;
          EXPECT_EQ(symbol.actual, 1);
          at += symbol.length;
          paper += symbol.written;
          if (!symbol.note) continue;
          if (symbol.tied_before) {
            ASSERT_FALSE(back.empty());
            back.back().length += symbol.length;
          } else {
            back.push_back(*symbol.note);
            back.back().length = symbol.length;
          }
        }
        EXPECT_EQ(at, from + meter.bar());
        EXPECT_EQ(paper, 240 * meter.signature().upper);
      }
      EXPECT_EQ(back, notes);
    }
}

struct Page {
  pugi::xml_document document;
  std::string text(const char* path) const { return document.select_node(path).node().text().get(); }
  std::size_t count(const char* path) const { return document.select_nodes(path).size(); }
};

void read(const Folder& folder, const std::string& name, Page& page) {
  const auto file =
      std::find_if(folder.files.begin(), folder.files.end(), [&](const File& f) { return f.name == name; });
  ASSERT_NE(file, folder.files.end()) << name;
  ASSERT_TRUE(page.document.load_buffer(file->bytes.data(), file->bytes.size(),
                                        pugi::parse_default & ~pugi::parse_doctype));
}

TEST(Meter, SixEightIsHandedOverAsSixEight) {
  const auto folder = hand_over(Played{rounds({3, 3}, .36)}, {});
  ASSERT_TRUE(folder) << folder.error().message;
  EXPECT_EQ(folder->form.meter, kSixEight);
  for (const char* name : {"lead_sheet.musicxml", "bass.musicxml", "score.musicxml", "viola.musicxml",
                           "chords.musicxml", "lead_sheet_b_flat.musicxml"}) {
    Page page;
    read(*folder, name, page);
    EXPECT_EQ(page.text("//part[1]/measure[1]/attributes/time/beats"), "6") << name;
    EXPECT_EQ(page.text("//part[1]/measure[1]/attributes/time/beat-type"), "8") << name;
    EXPECT_EQ(page.text("//metronome/beat-unit"), "quarter") << name;
    EXPECT_EQ(page.count("//metronome/beat-unit-dot"), 1u) << name;
    EXPECT_EQ(page.count("//time-modification"), 0u) << name;
    // A bar of six eighths is three quarter notes long in every part.
    for (const auto& bar : page.document.select_nodes("//measure")) {
      int length = 0;
      for (const auto& child : bar.node().children("note"))
        if (!child.child("chord") && !child.child("cue")) length += child.child("duration").text().as_int();
      EXPECT_EQ(length, 1440) << name << ", bar " << bar.node().attribute("number").value();
    }
  }
  Page sheet;
  read(*folder, "lead_sheet.musicxml", sheet);
  const double beats = sheet.document.select_node("//metronome/per-minute").node().text().as_double();
  EXPECT_NEAR(beats, 60 / (3 * .36), 1.5);
  EXPECT_NEAR(sheet.document.select_node("//sound[@tempo]").node().attribute("tempo").as_double(),
              1.5 * beats, 1.5);
  EXPECT_NE(std::string(folder->files[2].bytes.begin(), folder->files[2].bytes.end())
                .find("6/8, dotted quarter = "),
            std::string::npos);
  const auto file = midi::read_smf(folder->files[0].bytes);
  ASSERT_TRUE(file);
  const auto& signature = file->time_signatures.back();
  EXPECT_EQ(signature.numerator, 6);
  EXPECT_EQ(signature.denominator, 8);
  EXPECT_EQ(signature.clocks_per_click, 36);
  // The file counts in quarter notes: two thirds of a beat.
  std::vector<std::uint32_t> tempos;
  for (const auto& tempo : file->tempos) tempos.push_back(tempo.micros_per_quarter);
  std::nth_element(tempos.begin(), tempos.begin() + static_cast<std::ptrdiff_t>(tempos.size() / 2),
                   tempos.end());
  EXPECT_NEAR(tempos[tempos.size() / 2], 2 * 360'000, 30'000);
}

TEST(Meter, SevenEightIsHandedOverWithTheGroupsThatWerePlayed) {
  for (const bool early : {false, true}) {
    const auto folder =
        hand_over(Played{rounds(early ? std::vector{3, 2, 2} : std::vector{2, 2, 3}, .25)}, {});
    ASSERT_TRUE(folder) << folder.error().message;
    EXPECT_EQ(text(folder->form.meter.signature()), "7/8");
    EXPECT_EQ(folder->form.meter.groups, early ? 0b101001 : 0b10101);
    Page page;
    read(*folder, "lead_sheet.musicxml", page);
    EXPECT_EQ(page.count("//time"), 1u) << "one signature throughout";
    EXPECT_EQ(page.text("//metronome/beat-unit"), "eighth");
  }
}

}  // namespace
}  // namespace undersong::song
