// MIDI files that a client brings, in pieces, through the real socket.
#include <gtest/gtest.h>

#include <algorithm>

#include "daemon/midi/smf.h"
#include "protocol/base64.h"
#include "tests/server/server_fixture.h"
#include "tests/takes/invented_pieces.h"

namespace undersong::server {
namespace {

std::vector<std::uint8_t> file_of(unsigned seed, int parts = 4) {
  return *midi::write_smf(
      midi::smf_from_events(takes::played(takes::invented_piece(seed, parts).notes), "piano"));
}

protocol::BringTake piece_of(const std::string& name, const std::vector<std::uint8_t>& file,
                             std::size_t offset, std::size_t size) {
  const std::span<const std::uint8_t> all(file);
  return {name, file.size(), offset,
          protocol::base64(all.subspan(offset, std::min(size, file.size() - offset))), 1'700'000'000'000};
}

// Sends the whole file in pieces of this size.
protocol::Read<protocol::BroughtTake> bring(protocol::Connection& client, const std::string& name,
                                            const std::vector<std::uint8_t>& file,
                                            std::size_t size = 40u << 10) {
  for (std::size_t offset = 0;; offset += size) {
    auto answer = client.request(piece_of(name, file, offset, size), std::chrono::seconds(60));
    if (!answer || answer->take) return answer;
    EXPECT_EQ(answer->received, std::min(offset + size, file.size()));
    if (offset + size >= file.size()) return answer;
  }
}

TEST(Bring, AFileInPiecesBecomesATakeWithItsDate) {
  Running running;
  auto client = running.connect();
  const auto file = file_of(1);
  const auto brought = bring(client, "rounds 2019-05-31.mid", file, 1000);
  ASSERT_TRUE(brought) << brought.error().sentence;
  EXPECT_EQ(brought->take, std::optional<std::uint64_t>(1));
  EXPECT_FALSE(brought->known);
  EXPECT_EQ(brought->received, file.size());
  const auto take = client.request(protocol::GetTake{1});
  ASSERT_TRUE(take) << take.error().sentence;
  EXPECT_EQ(take->summary.title, "rounds 2019-05-31");
  EXPECT_EQ(take->summary.begin_utc_ms, *brought->begin_utc_ms);
  EXPECT_LT(take->summary.begin_utc_ms, 1'560'000'000'000);
  EXPECT_EQ(take->summary.notes, takes::invented_piece(1).notes.size());

  const auto again = bring(client, "copy.mid", file);
  ASSERT_TRUE(again) << again.error().sentence;
  EXPECT_TRUE(again->known);
  EXPECT_EQ(again->take, brought->take);
  const auto dated = bring(client, "folder/other.mid", file_of(2));
  ASSERT_TRUE(dated) << dated.error().sentence;
  EXPECT_EQ(dated->begin_utc_ms, std::optional<std::int64_t>(1'700'000'000'000));
  EXPECT_EQ(client.request(protocol::GetTake{*dated->take})->summary.title, "other");
}

TEST(Bring, WhatIsBeingPlayedStaysItsOwnTake) {
  Running running;
  auto client = running.connect();
  ASSERT_TRUE(client.request(protocol::Subscribe{{protocol::Topic::kLog}, {}}));
  running.play_cadence();
  std::uint64_t playing = 0;
  running.on_server([&] { playing = running.stage->recorder().take()->id.value_or(0); });
  ASSERT_NE(playing, 0u);
  const auto brought = bring(client, "piece.mid", file_of(3));
  ASSERT_TRUE(brought) << brought.error().sentence;
  EXPECT_NE(*brought->take, playing);
  running.on_server([&] {
    EXPECT_EQ(running.stage->recorder().take()->id, std::optional<takes::TakeId>(playing));
    midi::Lane& keys = *running.inputs.lane(Running::kKeyboard);
    keys.push(midi::note_on(midi::steady_now(), 0, Pitch(76), Velocity(80)));
  });
  ASSERT_TRUE(client.request(protocol::EndTake{}));
  const auto mine = client.request(protocol::GetTake{playing});
  ASSERT_TRUE(mine) << mine.error().sentence;
  EXPECT_TRUE(mine->summary.ended);
  EXPECT_EQ(mine->summary.notes, 65u);  // sixteen chords of four, and the one above
  const auto other = client.request(protocol::GetTake{*brought->take});
  EXPECT_EQ(other->summary.notes, takes::invented_piece(3).notes.size());
  // Every line came, in order and without gaps.
  const auto end = client.request(protocol::GetEvents{playing, {}, 500, {}});
  ASSERT_TRUE(end) << end.error().sentence;
  std::uint64_t last = 0;
  while (last < end->lines.back().number) {
    const auto note = client.next_notification(std::chrono::seconds(30));
    ASSERT_TRUE(note) << note.error().sentence;
    ASSERT_TRUE(*note);
    if ((*note)->method != "log") continue;
    const auto number = (*note)->params.at("number").to_number<std::uint64_t>();
    if (last != 0) {
      ASSERT_EQ(number, last + 1);
    }
    last = number;
  }
}

TEST(Bring, EachTroubleIsOneSentenceAndTheNextFileIsTaken) {
  Running running;
  auto client = running.connect();
  const auto file = file_of(4);
  const auto refused = [&](protocol::BringTake wish) {
    const auto answer = client.request(wish);
    EXPECT_FALSE(answer);
    return answer ? std::string() : answer.error().sentence;
  };
  EXPECT_EQ(refused(piece_of("later.mid", file, 1000, 1000)),
            "params.offset is 1000, but of this file 0 bytes have come; begin it again with offset 0.");
  ASSERT_TRUE(client.request(piece_of("begun.mid", file, 0, 1000)));
  EXPECT_EQ(refused(piece_of("begun.mid", file, 500, 1000)),
            "params.offset is 500, but of this file 1000 bytes have come; begin it again with offset 0.");
  auto wrong = piece_of("text.mid", file, 0, 1000);
  wrong.base64 = "no base64";
  EXPECT_EQ(refused(wrong), "params.base64 is not base64 text.");
  wrong = piece_of("short.mid", file, 0, 1000);
  wrong.size = 999;
  EXPECT_EQ(refused(wrong), "params.size is less than what came.");
  wrong.size = Upload::kMostBytes + 1;
  EXPECT_EQ(refused(wrong), "The file is larger than 16 MB.");
  wrong.size = 0;
  EXPECT_EQ(refused(wrong), "The file is empty.");
  const std::string_view text = "MThd, but no more";
  const std::vector<std::uint8_t> broken(text.begin(), text.end());
  const auto unreadable = bring(client, "broken.mid", broken);
  ASSERT_FALSE(unreadable);
  EXPECT_EQ(unreadable.error().sentence, "The header length at byte 4 is 740319861 but only 9 bytes follow.");
  const auto silent = bring(client, "silent.mid", *midi::write_smf(midi::smf_from_events({}, "piano")));
  ASSERT_FALSE(silent);
  EXPECT_EQ(silent.error().sentence, "It has no notes.");
  const auto brought = bring(client, "whole.mid", file);
  ASSERT_TRUE(brought) << brought.error().sentence;
  EXPECT_EQ(brought->take, std::optional<std::uint64_t>(1));
}

// A client that begins files and goes away must not fill the memory.
TEST(Bring, WhatAClientLeavesHalfSentIsForgotten) {
  const auto held = std::make_shared<std::uint64_t>(0);
  const std::vector<std::uint8_t> piece(1u << 20);
  std::vector<std::unique_ptr<Upload>> uploads;
  Result<bool> last = false;
  while (last) {
    uploads.push_back(std::make_unique<Upload>(held));
    for (std::uint64_t offset = 0; last && offset + piece.size() < Upload::kMostBytes; offset += piece.size())
      last = uploads.back()->add({"long.mid", Upload::kMostBytes, offset}, piece);
  }
  EXPECT_EQ(last.error().code, ErrorCode::kExhausted);
  EXPECT_LE(*held, Upload::kMostBytesOfAll);
  EXPECT_GT(*held, Upload::kMostBytesOfAll / 2);
  uploads.clear();
  EXPECT_EQ(*held, 0u);
}

}  // namespace
}  // namespace undersong::server
