// What the player says of a take's chords outranks what the ear heard, in the take and in its loop.
#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/study.h"

namespace undersong::takes {
namespace {

Micros in_seconds(double s) {
  return Micros(static_cast<std::int64_t>(s * 1e6));
}

// Four chords of two seconds each, round and round; the second is A C E G, which has two names.
std::vector<midi::Event> played_rounds(int rounds) {
  const std::vector<std::vector<int>> kChords{
      {41, 57, 60, 64}, {48, 57, 60, 64, 67}, {50, 57, 60, 65}, {43, 59, 62, 65}};
  std::vector<midi::Event> out;
  double now = 1;
  for (int i = 0; i < rounds * 4; ++i, now += 2)
    for (const bool on : {true, false})
      for (const int key : kChords[static_cast<std::size_t>(i % 4)]) {
        midi::Event event;
        event.at = in_seconds(on ? now : now + 1.95);
        event.size = 3;
        event.bytes = {static_cast<std::uint8_t>(on ? 0x90 : 0x80), static_cast<std::uint8_t>(key), 70};
        out.push_back(event);
      }
  return out;
}

Line said_chord(double chord_at, std::string harte) {
  Line line;
  line.at = in_seconds(chord_at);
  line.kind = LineKind::kCorrection;
  line.data = std::move(harte);
  return line;
}

std::string chord_at(const HeardTake& take, double time) {
  for (const ChordSpan& span : take.spans)
    if (span.begin <= in_seconds(time) && in_seconds(time) < span.end)
      return harmony::harte(span.chord, span.root);
  return "";
}

TEST(CorrectedChords, TheChordOfThatTimeHasThePlayersNameAndNoOtherChordDoes) {
  const auto events = played_rounds(5);
  const auto before = study_of(events).take;
  ASSERT_EQ(chord_at(before, 4), "C:maj6") << "what the ear says of it";
  const auto after = study_of(events, {said_chord(3.5, "C:maj(9)"), said_chord(4, "A:min7/b3")}).take;
  EXPECT_EQ(chord_at(after, 4), "A:min7/b3") << "of two corrections the last one counts";
  for (const double time : {2.0, 6.0, 8.0, 12.0})
    EXPECT_EQ(chord_at(after, time), chord_at(before, time)) << time;
}

TEST(CorrectedChords, ThePlayersNameIsTheLoops) {
  const auto events = played_rounds(6);
  const auto before = study_of(events);
  ASSERT_TRUE(before.loop);
  ASSERT_EQ(before.loop->chords.size(), 4u);
  const auto after = study_of(events, {said_chord(12, "C:maj6(9)")});
  ASSERT_TRUE(after.loop);
  ASSERT_EQ(after.loop->chords.size(), 4u);
  std::size_t changed = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    if (after.loop->chords[i].chord == before.loop->chords[i].chord) continue;
    ++changed;
    EXPECT_EQ(harmony::harte(after.loop->chords[i].chord, after.loop->chords[i].root), "C:maj6(9)");
  }
  EXPECT_EQ(changed, 1u);
}

TEST(CorrectedChords, AChordThatIsDeniedGoesAndNonsenseIsPassedOver) {
  const auto events = played_rounds(3);
  const auto before = study_of(events).take;
  const auto without = study_of(events, {said_chord(4, std::string(kNoChord))}).take;
  EXPECT_EQ(chord_at(without, 4), chord_at(before, 2)) << "what sounded before lasts on";
  const auto same = study_of(events, {said_chord(4, "H:dur"), said_chord(-5, "C:maj")}).take;
  for (double time = 1.5; time < 24; time += 1)
    EXPECT_EQ(chord_at(same, time), chord_at(before, time)) << time;
}

}  // namespace
}  // namespace undersong::takes
