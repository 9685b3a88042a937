// Reading and writing standard MIDI files. The worked examples and the table are those of RP-001 (1996). The
// file is longer than 400 lines because the examples of the standard stand here byte for byte.
#include "daemon/midi/smf.h"

#include <unistd.h>

#include <gtest/gtest.h>

#include <fstream>
#include <random>
#include <set>
#include <sstream>

namespace undersong::midi {
namespace {

using Bytes = std::vector<std::uint8_t>;

Bytes hex(const std::string& text) {
  std::istringstream in(text);
  Bytes out;
  for (std::string word; in >> word;) out.push_back(static_cast<std::uint8_t>(std::stoul(word, nullptr, 16)));
  return out;
}
Bytes operator+(Bytes a, const Bytes& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}
Bytes track(const Bytes& body) {
  const auto n = static_cast<std::uint32_t>(body.size());
  return Bytes{'M',
               'T',
               'r',
               'k',
               std::uint8_t(n >> 24),
               std::uint8_t(n >> 16),
               std::uint8_t(n >> 8),
               std::uint8_t(n)} +
         body;
}
Bytes header(int format, int tracks, int division) {
  return Bytes{'M',
               'T',
               'h',
               'd',
               0,
               0,
               0,
               6,
               0,
               std::uint8_t(format),
               0,
               std::uint8_t(tracks),
               std::uint8_t(division >> 8),
               std::uint8_t(division)};
}

const Bytes kFormat0 = hex("4D 54 68 64 00 00 00 06 00 00 00 01 00 60 4D 54 72 6B 00 00 00 3B") +
                       hex("00 FF 58 04 04 02 18 08  00 FF 51 03 07 A1 20  00 C0 05  00 C1 2E  00 C2 46 "
                           "00 92 30 60  00 3C 60  60 91 43 40  60 90 4C 20  81 40 82 30 40  00 3C 40 "
                           "00 81 43 40  00 80 4C 40  00 FF 2F 00");
const Bytes kFormat1 =
    hex("4D 54 68 64 00 00 00 06 00 01 00 04 00 60") +
    hex("4D 54 72 6B 00 00 00 14 00 FF 58 04 04 02 18 08 00 FF 51 03 07 A1 20 83 00 FF 2F 00") +
    hex("4D 54 72 6B 00 00 00 10 00 C0 05 81 40 90 4C 20 81 40 4C 00 00 FF 2F 00") +
    hex("4D 54 72 6B 00 00 00 0F 00 C1 2E 60 91 43 40 82 20 43 00 00 FF 2F 00") +
    hex("4D 54 72 6B 00 00 00 15 00 C2 46 00 92 30 60 00 3C 60 83 00 30 00 00 3C 00 00 FF 2F 00");

TEST(Smf, EncodesTheStandardsTableOfVariableLengthQuantities) {
  const std::vector<std::pair<std::uint32_t, Bytes>> table = {{0x00000000, hex("00")},
                                                              {0x00000040, hex("40")},
                                                              {0x0000007F, hex("7F")},
                                                              {0x00000080, hex("81 00")},
                                                              {0x00002000, hex("C0 00")},
                                                              {0x00003FFF, hex("FF 7F")},
                                                              {0x00004000, hex("81 80 00")},
                                                              {0x00100000, hex("C0 80 00")},
                                                              {0x001FFFFF, hex("FF FF 7F")},
                                                              {0x00200000, hex("81 80 80 00")},
                                                              {0x08000000, hex("C0 80 80 00")},
                                                              {0x0FFFFFFF, hex("FF FF FF 7F")},
                                                              {200, hex("81 48")}};
  for (const auto& [value, bytes] : table) {
    const Vlq vlq = encode_vlq(value);
    EXPECT_EQ(Bytes(vlq.bytes.begin(), vlq.bytes.begin() + vlq.size), bytes) << value;
    // and the reader agrees: a note after that many ticks
    auto file = read_smf(header(0, 1, 96) + track(bytes + hex("90 3C 40")));
    ASSERT_TRUE(file) << file.error().message;
    EXPECT_EQ(file->tracks[0].events[0].tick, value);
  }
}

TEST(Smf, ReadsTheStandardsExampleOfFormat0) {
  auto file = read_smf(kFormat0);
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_EQ(file->format, 0);
  EXPECT_EQ(file->division, (SmfDivision{96, 0, 0}));
  ASSERT_EQ(file->tempos.size(), 1u);
  EXPECT_EQ(file->tempos[0].micros_per_quarter, 500'000u);
  ASSERT_EQ(file->time_signatures.size(), 1u);
  EXPECT_EQ(file->time_signatures[0], (SmfTimeSignature{0, Micros(0), 4, 4, 24, 8}));
  EXPECT_TRUE(file->warnings.empty());
  ASSERT_EQ(file->tracks.size(), 1u);
  const std::vector<SmfEvent> expected = {{0, Micros(0), {0xC0, 5, 0}, 2},
                                          {0, Micros(0), {0xC1, 0x2E, 0}, 2},
                                          {0, Micros(0), {0xC2, 0x46, 0}, 2},
                                          {0, Micros(0), {0x92, 0x30, 0x60}, 3},
                                          {0, Micros(0), {0x92, 0x3C, 0x60}, 3},
                                          {96, Micros(500'000), {0x91, 0x43, 0x40}, 3},
                                          {192, Micros(1'000'000), {0x90, 0x4C, 0x20}, 3},
                                          {384, Micros(2'000'000), {0x82, 0x30, 0x40}, 3},
                                          {384, Micros(2'000'000), {0x82, 0x3C, 0x40}, 3},
                                          {384, Micros(2'000'000), {0x81, 0x43, 0x40}, 3},
                                          {384, Micros(2'000'000), {0x80, 0x4C, 0x40}, 3}};
  EXPECT_EQ(file->tracks[0].events, expected);
  EXPECT_EQ(file->tracks[0].end, 384u);
}

TEST(Smf, ReadsTheSameMusicFromTheStandardsExampleOfFormat1) {
  auto one = read_smf(kFormat1);
  ASSERT_TRUE(one) << one.error().message;
  EXPECT_EQ(one->format, 1);
  ASSERT_EQ(one->tracks.size(), 4u);
  EXPECT_EQ(one->tracks[1].events[2], (SmfEvent{384, Micros(2'000'000), {0x90, 0x4C, 0}, 3}))
      << "velocity 0 as received";
  // The note-ons are those of format 0, key for key and time for time.
  const auto struck = [](const Smf& file) {
    std::multiset<std::tuple<Micros, int, int, int>> out;
    for (const Event& e : merged_events(file)) {
      if (e.kind() == kNoteOn && e.bytes[2] > 0) out.insert({e.at, e.channel(), e.bytes[1], e.bytes[2]});
    }
    return out;
  };
  EXPECT_EQ(struck(*one), struck(*read_smf(kFormat0)));
  EXPECT_EQ(struck(*one).size(), 4u);
}

TEST(Smf, WritesTheStandardsExamplesByteForByteUpToRunningStatus) {
  auto one = read_smf(kFormat1);
  ASSERT_TRUE(one);
  auto bytes = write_smf(*one);
  ASSERT_TRUE(bytes) << bytes.error().message;
  EXPECT_EQ(*bytes, kFormat1);
  auto zero = write_smf(*read_smf(kFormat0));
  ASSERT_TRUE(zero);
  EXPECT_EQ(*zero, kFormat0);
}

TEST(Smf, Counts6144TicksAt96AQuarterAnd120BpmAs32000Milliseconds) {
  const TickClock clock(SmfDivision{96, 0, 0}, {});
  EXPECT_EQ(clock.at(6144), Micros(32'000'000));
  EXPECT_EQ(clock.nearest_tick(Micros(32'000'000)), 6144u);
}

TEST(Smf, FollowsATempoMapFromAnyTrackWithoutAddingRoundingErrors) {
  // 3 ticks per quarter note; tempo 1,000,001 for 1 tick, then 100,000: thirds must not be rounded twice.
  auto file = read_smf(header(1, 2, 3) + track(hex("00 90 3C 40 01 3C 00 01 3D 40 00 FF 2F 00")) +
                       track(hex("00 FF 51 03 0F 42 41 01 FF 51 03 01 86 A0 00 FF 2F 00")));
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_EQ(file->tracks[0].events[1].at, Micros(333'333));        // 1000001/3 = 333333.67
  EXPECT_EQ(file->tracks[0].events[2].at, Micros(1'100'001 / 3));  // 366667.0
}

TEST(Smf, ReadsSmpteDivisions) {
  const auto first_event_time = [](int division, const char* vlq) {
    auto file = read_smf(header(0, 1, division) +
                         track(hex("00 FF 51 03 01 00 00") + hex(vlq) + hex("90 3C 40 00 FF 2F 00")));
    EXPECT_TRUE(file) << file.error().message;
    return file->tracks[0].events[0].at;
  };
  EXPECT_EQ(first_event_time(0xE728, "87 68"),
            Micros(1'000'000));  // 25 x 40 ticks per second are milliseconds; the tempo has no effect
  EXPECT_EQ(first_event_time(0xE250, "92 60"), Micros(1'000'000));  // 30 x 80
  EXPECT_EQ(first_event_time(0xE804, "60"), Micros(1'000'000));     // 24 x 4
  EXPECT_EQ(first_event_time(0xE364, "97 38"), Micros(1'001'000));  // 30000/1001 x 100: 3000 ticks
  auto odd = read_smf(header(0, 1, 0xE028) + track(hex("00 FF 2F 00")));
  ASSERT_FALSE(odd);
  EXPECT_NE(odd.error().message.find("byte 12"), std::string::npos) << odd.error().message;
}

TEST(Smf, HonoursALongerHeaderAndSkipsUnknownChunksAndMeta) {
  const Bytes longer = hex("4D 54 68 64 00 00 00 08 00 00 00 01 00 60 AA BB");
  const Bytes unknown = hex("58 58 58 58 00 00 00 03 01 02 03");
  auto file = read_smf(
      longer + unknown +
      track(hex("00 FF 60 02 80 80  00 F0 05 43 12 00 07 F7  81 48 90 3C 40  00 FF 7F 01 99  00 FF 2F 00")) +
      unknown);
  ASSERT_TRUE(file) << file.error().message;
  ASSERT_EQ(file->tracks[0].events.size(), 1u);
  EXPECT_EQ(file->tracks[0].events[0].tick, 200u);
}

TEST(Smf, LetsSystemExclusiveAndMetaEventsCancelRunningStatus) {
  for (const char* between : {"00 FF 01 01 41", "00 F0 01 F7", "00 F7 01 F8"}) {
    auto file =
        read_smf(header(0, 1, 96) + track(hex("00 90 3C 40") + hex(between) + hex("00 3E 40 00 FF 2F 00")));
    ASSERT_FALSE(file) << between;
    EXPECT_NE(file.error().message.find("data byte 3E at byte"), std::string::npos) << file.error().message;
  }
}

TEST(Smf, ReadsNamesSignaturesMarkersAndTexts) {
  auto file = read_smf(
      header(1, 2, 96) +
      track(hex("00 FF 03 02 41 42 00 FF 58 04 06 03 24 08 00 FF 59 02 FD 01 60 FF 06 01 58 00 FF 2F 00")) +
      track(hex("00 FF 03 01 43 10 FF 05 02 6C 61 00 FF 2F 00")));
  ASSERT_TRUE(file) << file.error().message;
  EXPECT_EQ(file->tracks[0].name, "AB");
  EXPECT_EQ(file->tracks[1].name, "C");
  EXPECT_EQ(file->time_signatures, (std::vector<SmfTimeSignature>{{0, Micros(0), 6, 8, 36, 8}}));
  EXPECT_EQ(file->key_signatures, (std::vector<SmfKeySignature>{{0, Micros(0), -3, true}}));
  EXPECT_EQ(file->markers, (std::vector<SmfText>{{96, Micros(500'000), SmfText::Kind::kMarker, 0, "X"}}));
  EXPECT_EQ(file->texts, (std::vector<SmfText>{{16, Micros(83'333), SmfText::Kind::kLyric, 1, "la"}}));
}

TEST(Smf, AcceptsAMissingEndOfTrackOnlyWhenTheChunkIsWhole) {
  auto whole = read_smf(header(0, 1, 96) + track(hex("00 90 3C 40 60 3C 00")));
  ASSERT_TRUE(whole) << whole.error().message;
  EXPECT_EQ(whole->tracks[0].events.size(), 2u);
  EXPECT_EQ(whole->tracks[0].end, 96u);
  auto half = read_smf(header(0, 1, 96) + track(hex("00 90 3C 40 60 3C")));
  ASSERT_FALSE(half);
}

TEST(Smf, LeavesOutAMalformedKeySignatureAndSaysSo) {
  auto file = read_smf(header(0, 1, 96) + track(hex("00 FF 59 02 63 00 00 90 3C 40 00 FF 2F 00")));
  ASSERT_TRUE(file);
  EXPECT_TRUE(file->key_signatures.empty());
  EXPECT_EQ(file->tracks[0].events.size(), 1u);
  ASSERT_EQ(file->warnings.size(), 1u);
  EXPECT_EQ(file->warnings[0], "The key signature at byte 23 is malformed and is left out.");
}

TEST(Smf, RefusesWithOneSentenceThatSaysWhere) {
  const std::vector<std::pair<Bytes, std::string>> cases = {
      {{}, "The file is empty."},
      {hex("52 49 46 46 00 00 00 00"),
       "This is not a standard MIDI file: it doesn't begin with MThd at byte 0."},
      {header(2, 1, 96),
       "Format 2 (independent patterns, byte 8) cannot be read: it does not say in which order the tracks "
       "are "
       "played."},
      {header(3, 1, 96), "The format at byte 8 is 3; there are only formats 0, 1 and 2."},
      {header(0, 1, 0), "The division at byte 12 has no ticks in a quarter note."},
      {header(1, 0, 96), "The header promises no tracks at byte 10."},
      {header(1, 2, 96) + track(hex("00 FF 2F 00")),
       "The file is cut short: its header promises 2 tracks, but it ends at byte 26 after 1."},
      {header(0, 1, 96) + track(hex("00 90 90 40 00 FF 2F 00")),
       "There is 90 at byte 24 where status 90 needs a data byte."},
      {header(0, 1, 96) + track(hex("00 F8 00 FF 2F 00")),
       "The status F8 at byte 23 has no place in a MIDI file."},
      {header(0, 1, 96) + track(hex("00 FF 51 03 00 00 00 00 FF 2F 00")),
       "The tempo at byte 23 is 0 microseconds a quarter note."},
      {header(0, 1, 96) + track(hex("00 FF 01 09 41")),
       "The meta event whose length is at byte 25 says it has 9 bytes but its track has 1 left."},
      {header(0, 1, 96) + track(hex("FF FF FF FF 7F 90 3C 40")),
       "The delta time at byte 22 is longer than the four bytes of the standard."},
      {header(0, 1, 96) + hex("4D 54 72 6B 00 00 00 09 00"),
       "The file is cut short: the chunk at byte 14 says it has 9 bytes but only 1 are left."},
  };
  for (const auto& [bytes, sentence] : cases) {
    auto file = read_smf(bytes);
    ASSERT_FALSE(file) << sentence;
    EXPECT_EQ(file.error().message, sentence);
    EXPECT_EQ(file.error().code, ErrorCode::kInvalidInput);
  }
}

TEST(Smf, NamesTheFileThatCantBeRead) {
  auto missing = read_smf_file("/nonexistent/tune.mid");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().code, ErrorCode::kNotFound);
  EXPECT_EQ(missing.error().message, "/nonexistent/tune.mid can't be opened: No such file or directory.");
  auto folder = read_smf_file(testing::TempDir());
  ASSERT_FALSE(folder);
  EXPECT_NE(folder.error().message.find("is a folder"), std::string::npos);
  Smf smf;
  smf.tracks.resize(1);
  auto written = write_smf_file(smf, "/nonexistent/tune.mid");
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().message, "/nonexistent/tune.mid can't be written: No such file or directory.");
}

TEST(Smf, KeepsOrderOfEqualTimesAcrossTracksWhenMerging) {
  auto file = read_smf(header(1, 2, 96) + track(hex("60 90 40 01 00 41 02 00 FF 2F 00")) +
                       track(hex("00 91 42 03 60 43 04 00 FF 2F 00")));
  ASSERT_TRUE(file);
  std::vector<int> velocities;
  for (const Event& e : merged_events(*file)) velocities.push_back(e.bytes[2]);
  EXPECT_EQ(velocities, (std::vector<int>{3, 1, 2, 4}));
  EXPECT_EQ(merged_events(*file)[0].port, 0);
}

// A random file in the order in which the writer writes, so that reading gives back the same value.
Smf random_smf(std::mt19937& rng) {
  const auto pick = [&](int from, int to) { return std::uniform_int_distribution<int>(from, to)(rng); };
  Smf smf;
  smf.format = static_cast<std::uint8_t>(pick(0, 1));
  static constexpr std::array<std::uint8_t, 4> kFrames{24, 25, 29, 30};
  if (pick(0, 3) == 0) {
    smf.division = {0, kFrames[static_cast<std::size_t>(pick(0, 3))],
                    static_cast<std::uint8_t>(pick(1, 255))};
  } else {
    smf.division = {static_cast<std::uint16_t>(pick(1, 0x7FFF)), 0, 0};
  }
  smf.tracks.resize(smf.format == 0 ? 1 : static_cast<std::size_t>(pick(1, 5)));
  const auto text = [&] {
    std::string s(static_cast<std::size_t>(pick(0, 200)), ' ');
    for (char& c : s) c = static_cast<char>(pick(0, 255));
    return s;
  };
  Tick last_meta = 0;
  const auto ticks = [&](int most) {
    std::vector<Tick> out(static_cast<std::size_t>(pick(0, most)));
    Tick now = 0;
    for (Tick& t : out)
      t = now += static_cast<Tick>(pick(0, 2) == 0 ? 0 : pick(0, pick(0, 9) == 0 ? 3'000'000 : 300));
    if (!out.empty()) last_meta = std::max(last_meta, out.back());
    return out;
  };
  for (Tick t : ticks(5)) smf.tempos.push_back({t, {}, static_cast<std::uint32_t>(pick(1, 0xFFFFFF))});
  for (Tick t : ticks(5)) {
    smf.time_signatures.push_back({t,
                                   {},
                                   static_cast<std::uint8_t>(pick(1, 255)),
                                   static_cast<std::uint16_t>(1 << pick(0, 6)),
                                   static_cast<std::uint8_t>(pick(0, 255)),
                                   static_cast<std::uint8_t>(pick(0, 255))});
  }
  for (Tick t : ticks(5))
    smf.key_signatures.push_back({t, {}, static_cast<std::int8_t>(pick(-7, 7)), pick(0, 1) == 1});
  for (Tick t : ticks(5)) smf.markers.push_back({t, {}, SmfText::Kind::kMarker, 0, text()});
  for (std::size_t i = 0; i < smf.tracks.size(); ++i) {
    SmfTrack& tr = smf.tracks[i];
    tr.name = pick(0, 1) ? text() : "";
    for (Tick t : ticks(60)) {
      SmfEvent e{t, {}, {}, 3};
      const int kind = pick(0x8, 0xE);
      e.bytes = {static_cast<std::uint8_t>(kind << 4 | pick(0, 2)), static_cast<std::uint8_t>(pick(0, 127)),
                 static_cast<std::uint8_t>(pick(0, 127))};
      if (kind == 0xC || kind == 0xD) e.size = 2, e.bytes[2] = 0;
      tr.events.push_back(e);
      tr.end = t;
    }
    if (pick(0, 1)) tr.end += static_cast<Tick>(pick(0, 1000));
    if (i == 0) tr.end = std::max(tr.end, last_meta);
  }
  const TickClock clock(smf.division, smf.tempos);
  const auto time = [&](auto& list) {
    for (auto& item : list) item.at = clock.at(item.tick);
  };
  time(smf.tempos), time(smf.time_signatures), time(smf.key_signatures), time(smf.markers);
  for (SmfTrack& tr : smf.tracks) time(tr.events);
  return smf;
}

TEST(Smf, ReadsBackWhatItWrote) {
  std::mt19937 rng(20261);
  for (int round = 0; round < 2000; ++round) {
    const Smf smf = random_smf(rng);
    auto bytes = write_smf(smf);
    ASSERT_TRUE(bytes) << bytes.error().message;
    auto again = read_smf(*bytes);
    ASSERT_TRUE(again) << again.error().message;
    ASSERT_EQ(*again, smf) << "round " << round;
  }
}

TEST(Smf, FindsTheTickNearestToATimeForEveryTempoMap) {
  std::mt19937 rng(5);
  for (int round = 0; round < 300; ++round) {
    const Smf smf = random_smf(rng);
    const TickClock clock(smf.division, smf.tempos);
    Micros before(-1);
    for (const SmfEvent& e : smf.tracks[0].events) {
      EXPECT_GE(e.at, before);
      before = e.at;
      // Several ticks may fall into one microsecond. The tick found must have the event's time, within one
      // rounding.
      const Micros found = clock.at(clock.nearest_tick(e.at));
      EXPECT_LE(std::abs((found - e.at).count()), 1 + (clock.at(e.tick + 1) - e.at).count() / 2);
    }
  }
}

TEST(Smf, SurvivesBeingCutShortAtEveryByte) {
  std::mt19937 rng(7);
  std::vector<Bytes> files{kFormat0, kFormat1};
  for (int i = 0; i < 20; ++i) files.push_back(*write_smf(random_smf(rng)));
  int refused = 0;
  for (const Bytes& good : files) {
    ASSERT_TRUE(read_smf(good));
    for (std::size_t length = 0; length < good.size(); ++length) {
      auto file = read_smf(std::span(good.data(), length));
      ASSERT_FALSE(file) << "music was lost silently at " << length;
      EXPECT_EQ(file.error().message.back(), '.');
      EXPECT_EQ(file.error().message.find('\n'), std::string::npos);
      ++refused;
    }
  }
  EXPECT_GT(refused, 1000);
}

TEST(Smf, SurvivesDamageAndWhatItAcceptsItCanWriteAgain) {
  std::mt19937 rng(11);
  int accepted = 0, refused = 0;
  for (int round = 0; round < 20'000; ++round) {
    Bytes bytes = round % 3 == 0 ? kFormat0 : round % 3 == 1 ? kFormat1 : *write_smf(random_smf(rng));
    const int hits = 1 + static_cast<int>(rng() % 4);
    for (int i = 0; i < hits; ++i) bytes[rng() % bytes.size()] = static_cast<std::uint8_t>(rng());
    auto file = read_smf(bytes);
    if (!file) {
      ++refused;
      ASSERT_FALSE(file.error().message.empty());
      continue;
    }
    ++accepted;
    auto written = write_smf(*file);
    ASSERT_TRUE(written) << written.error().message;
    auto again = read_smf(*written);
    ASSERT_TRUE(again) << again.error().message;
    ASSERT_EQ(merged_events(*again), merged_events(*file));
  }
  EXPECT_GT(accepted, 100);
  EXPECT_GT(refused, 100);
}

TEST(Smf, RefusesToWriteWhatAFileCantHold) {
  Smf smf;
  EXPECT_FALSE(write_smf(smf)) << "no tracks";
  smf.tracks.resize(2);
  smf.format = 0;
  EXPECT_FALSE(write_smf(smf)) << "two tracks in format 0";
  smf.format = 1;
  ASSERT_TRUE(write_smf(smf));
  smf.tracks[1].events.push_back({0, {}, {0x90, 0x80, 0}, 3});
  auto bad = write_smf(smf);
  ASSERT_FALSE(bad);
  EXPECT_EQ(bad.error().message, "Track 2 has a malformed channel message at tick 0.");
  smf.tracks[1].events = {{kLargestVlq + Tick{1}, {}, {0x90, 60, 1}, 3}};
  auto silent = write_smf(smf);
  ASSERT_FALSE(silent);
  EXPECT_EQ(silent.error().message,
            "Track 2 is silent for 268435456 ticks from tick 0; a MIDI file can hold 268435455.");
}

TEST(Smf, ExportsAPerformanceWithinHalfATick) {
  std::vector<Event> played = {
      note_on(Micros(1'234'567), 0, Pitch(60), Velocity(80), 0),
      note_on(Micros(1'300'000), 1, Pitch(64), Velocity(70), 3), Event{Micros(1'400'000), {0xF8, 0, 0}, 1, 0},
      note_off(Micros(2'000'001), 0, Pitch(60), 0), note_off(Micros(2'000'001), 1, Pitch(64), 3)};
  const Smf smf = smf_from_events(played, "Take 7", 960);
  EXPECT_EQ(smf.format, 1);
  const auto path = std::filesystem::path(testing::TempDir()) /
                    ("undersong-smf-export-test-" + std::to_string(::getpid()) + ".mid");
  ASSERT_TRUE(write_smf_file(smf, path));
  auto again = read_smf_file(path);
  std::filesystem::remove(path);
  ASSERT_TRUE(again) << again.error().message;
  EXPECT_EQ(again->tracks[0].name, "Take 7");
  EXPECT_EQ(again->tracks[1].name, "Take 7 (input 3)");
  const auto events = merged_events(*again);
  ASSERT_EQ(events.size(), 4u) << "the clock is left out";
  EXPECT_LE(std::abs((events[0].at - Micros(1'234'567)).count()), 261);
  EXPECT_LE(std::abs((events[3].at - Micros(2'000'001)).count()), 261);
}

}  // namespace
}  // namespace undersong::midi
