#include "daemon/harmony/voice_leading.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace undersong::harmony {
namespace {

std::vector<PitchClass> tones(std::initializer_list<int> values) {
  std::vector<PitchClass> out;
  for (int value : values) out.emplace_back(value);
  return out;
}
std::vector<PitchClass> chord(int root, std::initializer_list<int> above) {
  std::vector<PitchClass> out;
  for (int value : above) out.emplace_back(root + value);
  return out;
}
int least(const std::vector<PitchClass>& a, const std::vector<PitchClass>& b) {
  return minimal_voice_leading(a, b).semitones;
}

// Source: README and tests of R package minVL (Harrison), which is checked against Tymoczko's own program.
TEST(VoiceLeading, MatchesPublishedMinima) {
  EXPECT_EQ(least(tones({4, 7, 11}), tones({0, 4, 7})), 1);
  EXPECT_EQ(least(tones({3, 6, 10}), tones({0, 4, 7})), 4);
  EXPECT_EQ(least(tones({0, 4, 7}), tones({7, 2, 11})), 3);
  EXPECT_EQ(minimal_voice_leading(tones({0, 4, 7}), tones({7, 2, 11}), true).semitones, 8);
}
TEST(VoiceLeading, NamesTheVoicesOfTheMinimum) {
  const auto found = minimal_voice_leading(tones({0, 4, 7}), tones({7, 2, 11}));
  std::vector<std::pair<int, int>> voices;
  for (auto voice : found.voices) voices.emplace_back(voice.from.value(), voice.to.value());
  std::sort(voices.begin(), voices.end());
  EXPECT_EQ(voices, (std::vector<std::pair<int, int>>{{0, 11}, {4, 2}, {7, 7}}));
}
// Source: as above.
TEST(VoiceLeading, MatchesPublishedDistances) {
  EXPECT_EQ(pitch_class_distance(PitchClass(10), PitchClass(7)), 3);
  EXPECT_EQ(pitch_class_distance(PitchClass(11), PitchClass(0)), 1);
  EXPECT_EQ(pitch_class_distance(PitchClass(7), PitchClass(1)), 6);
  EXPECT_EQ(ascending(PitchClass(11), PitchClass(0)), 1);
  EXPECT_EQ(ascending(PitchClass(7), PitchClass(1)), 6);
  EXPECT_EQ(ascending(PitchClass(6), PitchClass(6)), 0);
}

// Computed by trying all assignments.
TEST(VoiceLeading, FromCMajorToEveryTriad) {
  constexpr std::array<int, 12> kMajor{0, 3, 6, 3, 2, 3, 6, 3, 2, 3, 6, 3},
      kMinor{1, 2, 5, 4, 1, 2, 5, 4, 3, 2, 5, 4};
  for (int root = 0; root < 12; ++root) {
    const auto at = static_cast<std::size_t>(root);
    EXPECT_EQ(least(tones({0, 4, 7}), chord(root, {0, 4, 7})), kMajor[at]) << root;
    EXPECT_EQ(least(tones({0, 4, 7}), chord(root, {0, 3, 7})), kMinor[at]) << root;
  }
}
TEST(VoiceLeading, BetweenSeventhsAndChordsOfDifferentSize) {
  const auto seventh = [](int root) { return chord(root, {0, 4, 7, 10}); };
  const auto major7 = [](int root) { return chord(root, {0, 4, 7, 11}); };
  const auto minor7 = [](int root) { return chord(root, {0, 3, 7, 10}); };
  EXPECT_EQ(least(seventh(7), major7(0)), 3);
  EXPECT_EQ(least(seventh(7), seventh(0)), 4);
  EXPECT_EQ(least(minor7(2), seventh(7)), 3);
  EXPECT_EQ(least(major7(0), minor7(9)), 2);
  EXPECT_EQ(least(seventh(0), seventh(6)), 2);
  EXPECT_EQ(least(seventh(0), seventh(3)), 2);
  EXPECT_EQ(least(seventh(0), seventh(9)), 2);
  EXPECT_EQ(least(seventh(0), chord(4, {0, 3, 6, 9})), 1);
  EXPECT_EQ(least(chord(5, {0, 3, 6, 10}), seventh(4)), 2);
  EXPECT_EQ(least(chord(0, {0, 4, 8}), chord(0, {0, 4, 7})), 1);
  EXPECT_EQ(least(chord(0, {0, 4, 8}), chord(9, {0, 3, 7})), 1);
  EXPECT_EQ(least(seventh(7), chord(0, {0, 4, 7})), 4);
  EXPECT_EQ(least(chord(0, {0, 4, 7}), major7(0)), 1);
  EXPECT_EQ(least(chord(0, {0, 4, 7}), seventh(5)), 4);
}

// Brute force over every assignment that leaves no tone out, for small chords.
int brute_force(const std::vector<int>& a, const std::vector<int>& b, bool circle) {
  const auto n = a.size() * b.size();
  int best = 1 << 20;
  for (unsigned mask = 1; mask < 1u << n; ++mask) {
    unsigned from = 0, to = 0;
    int sum = 0;
    for (std::size_t k = 0; k < n; ++k)
      if (mask >> k & 1u) {
        from |= 1u << (k / b.size()), to |= 1u << (k % b.size());
        const int way = std::abs(a[k / b.size()] - b[k % b.size()]);
        sum += circle ? std::min(way % 12, 12 - way % 12) : way;
      }
    if (from == (1u << a.size()) - 1 && to == (1u << b.size()) - 1) best = std::min(best, sum);
  }
  return best;
}
TEST(VoiceLeading, IsMinimalAgainstBruteForce) {
  std::uint32_t seed = 7;
  const auto next = [&](int below) {
    return static_cast<int>((seed = seed * 1664525u + 1013904223u) >> 8) % below;
  };
  for (int i = 0; i < 400; ++i) {
    std::vector<int> a, b;
    for (int n = 1 + next(3); n > 0; --n) a.push_back(next(12));
    for (int n = 1 + next(4); n > 0; --n) b.push_back(next(12));
    std::vector<PitchClass> ta, tb;
    std::vector<Pitch> ka, kb;
    for (int v : a) ta.emplace_back(v), ka.emplace_back(v + 48);
    for (int v : b) tb.emplace_back(v), kb.emplace_back(v + 50);
    EXPECT_EQ(least(ta, tb), brute_force(a, b, true));
    for (int& v : b) v += 2;
    EXPECT_EQ(voice_leading_distance(ka, kb), brute_force(a, b, false));
  }
}

}  // namespace
}  // namespace undersong::harmony
