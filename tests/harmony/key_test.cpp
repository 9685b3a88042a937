#include "daemon/harmony/key.h"

#include <gtest/gtest.h>

#include <numeric>

namespace undersong::harmony {
namespace {

Key major(int tonic) {
  return {PitchClass(tonic), Mode::kMajor};
}
Key minor(int tonic) {
  return {PitchClass(tonic), Mode::kMinor};
}

// Source: Krumhansl & Kessler (1982). A widespread misprint (2.33 for 2.23) would make the first sum 41.89.
TEST(Key, ProfilesAreThePublishedOnes) {
  EXPECT_NEAR(std::accumulate(kMajorProfile.begin(), kMajorProfile.end(), 0.0), 41.79, 1e-9);
  EXPECT_NEAR(std::accumulate(kMinorProfile.begin(), kMinorProfile.end(), 0.0), 44.51, 1e-9);
}

// Computed from the published profiles: Pearson correlations, to three decimals.
TEST(Key, CorrelationsOfTheMajorProfileWithAll24Keys) {
  const double kMajors[12] = {1.000, -.501, .041, -.104, -.186, .591, -.683, .591, -.186, -.104, .041, -.501};
  const double kMinors[12] = {.512, -.300, .237, -.653, .536, .214, -.371, .243, -.510, .650, -.402, -.156};
  for (int i = 0; i < 12; ++i) {
    EXPECT_NEAR(profile_correlation(kMajorProfile, major(i)), kMajors[i], 6e-4) << i;
    EXPECT_NEAR(profile_correlation(kMajorProfile, minor(i)), kMinors[i], 6e-4) << i;
  }
}

TEST(Key, CorrelationsOfPlainSetsAreAsWorkedOut) {
  const auto of = [](std::initializer_list<int> tones) {
    std::array<double, 12> out{};
    for (int tone : tones) out[static_cast<std::size_t>(tone)] = 1;
    return out;
  };
  const auto scale = of({0, 2, 4, 5, 7, 9, 11});
  EXPECT_NEAR(profile_correlation(scale, major(0)), .756, 6e-4);
  EXPECT_NEAR(profile_correlation(scale, minor(9)), .712, 6e-4);
  EXPECT_NEAR(profile_correlation(scale, major(7)), .677, 6e-4);
  EXPECT_NEAR(profile_correlation(of({0, 4, 7}), major(0)), .834, 6e-4);
  EXPECT_NEAR(profile_correlation(of({9, 0, 4}), minor(9)), .889, 6e-4);
}

TEST(Key, NamesFollowTheSignature) {
  EXPECT_EQ(text(major(6)), "Gb major");
  EXPECT_EQ(text(minor(3)), "Eb minor");
  EXPECT_EQ(text(minor(6)), "F# minor");
  EXPECT_EQ(harte(minor(6)), "F#:min");
  EXPECT_EQ(signature(minor(0)), -3);
  EXPECT_EQ(signature(major(9)), 3);
}

TEST(Key, IsReadAsPeopleAndProgramsWriteIt) {
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const Key key : {major(tonic), minor(tonic)}) {
      EXPECT_EQ(parse_key(text(key)), key) << text(key);
      EXPECT_EQ(parse_key(harte(key)), key) << harte(key);
    }
  EXPECT_EQ(parse_key("Ebm"), minor(3));
  EXPECT_EQ(parse_key("d# Minor"), minor(3));
  EXPECT_EQ(parse_key(" F# "), major(6));
  EXPECT_EQ(parse_key("bb"), major(10));
  EXPECT_EQ(parse_key("Cb"), major(11));
  for (const char* wrong : {"", " ", "H", "Ebb", "C dur", "Cmm", "C:", "m", "#", "Cmajor7", "C minor!"})
    EXPECT_FALSE(parse_key(wrong)) << wrong;
}

}  // namespace
}  // namespace undersong::harmony
