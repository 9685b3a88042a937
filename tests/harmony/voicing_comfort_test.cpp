// How the voicings of whole lists lie under the hands, counted over many lists: what pianists complain about
// must be rare. Source: common practice, no source.
#include <gtest/gtest.h>

#include <algorithm>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {
namespace {

struct Count {
  int voicings = 0, holes = 0, lone_high = 0, semitones = 0, crowded = 0, tenths = 0, bare = 0;
};

void count(const Voicing& voicing, Count& out) {
  ++out.voicings;
  if (voicing.left.empty() || voicing.right.empty()) return;
  std::vector<int> keys;
  for (const Hand& hand : {voicing.left, voicing.right})
    for (Pitch key : hand) keys.push_back(key.value());
  const int low = voicing.left[0].value(), high = voicing.left.back().value();
  out.holes += voicing.right[0].value() - high > 19;
  out.lone_high += voicing.left.size() == 1 && low >= 53;
  out.semitones += keys.back() - keys[keys.size() - 2] == 1;
  out.crowded += voicing.right.size() == 5;
  out.tenths += high - low > kUsualReach;
  out.bare += voicing.left.size() == 1;
}

// Lists in eight keys under notes from the middle to high up, from two full hands and from the right alone.
TEST(VoicingComfort, WhatPianistsMindIsRareInWholeLists) {
  Count all;
  for (int tonic = 0; tonic < 12; ++tonic)
    for (int note = 60; note < 86; note += 3)
      for (const bool left_free : {false, true}) {
        const int bass = 40 + (tonic + 8) % 12;
        std::vector<Pitch> held{Pitch(note)};
        if (!left_free) held = {Pitch(bass), Pitch(note - 5), Pitch(note)};
        if (!left_free && note - 9 > bass + 7)
          held = {Pitch(bass), Pitch(bass + 7), Pitch(note - 9), Pitch(note - 5), Pitch(note)};
        const Hands hands(held);
        Question question;
        question.melody.push_back(Pitch(note));
        question.key = Key{PitchClass(tonic), note % 2 ? Mode::kMajor : Mode::kMinor};
        Alternatives list;
        rank_alternatives(question, &hands, list);
        for (const Alternative& one : list) {
          count(one.voicing, all);
          if (left_free) {
            EXPECT_EQ(one.voicing.hands_move, 0) << "the one finger that is down stays on the melody";
          }
        }
      }
  ASSERT_GT(all.voicings, 5000);
  const auto share = [&](int n) { return static_cast<double>(n) / all.voicings; };
  RecordProperty("bare", std::to_string(share(all.bare)));
  EXPECT_LT(share(all.holes), 0.01);
  EXPECT_LT(share(all.lone_high), 0.01);
  EXPECT_LT(share(all.semitones), 0.01);
  EXPECT_LT(share(all.crowded), 0.01);
  EXPECT_LT(share(all.tenths), 0.01);
  EXPECT_LT(share(all.bare), 0.2);
}

TEST(VoicingComfort, ASmallHandIsAskedForNoStretchThatALargeOneMakes) {
  int small_far = 0, large_far = 0, lists = 0;
  for (int tonic = 0; tonic < 12; ++tonic)
    for (int note = 62; note < 84; note += 2) {
      Question question;
      question.melody.push_back(Pitch(note));
      question.key = Key{PitchClass(tonic), Mode::kMajor};
      const std::vector<Pitch> held{Pitch(43), Pitch(note - 7), Pitch(note)};
      const Hands small(held, kSmallReach), large(held, kHandSpan);
      Alternatives with_small, with_large;
      rank_alternatives(question, &small, with_small);
      rank_alternatives(question, &large, with_large);
      const auto far = [](const Alternatives& list) {
        return std::count_if(list.begin(), list.end(), [](const Alternative& one) {
          return one.voicing.left.back().value() - one.voicing.left[0].value() > kSmallReach;
        });
      };
      small_far += static_cast<int>(far(with_small)), large_far += static_cast<int>(far(with_large));
      lists += static_cast<int>(with_small.size());
    }
  EXPECT_LT(small_far, lists / 100);
  EXPECT_GT(large_far, lists / 20);
}

}  // namespace
}  // namespace undersong::harmony
