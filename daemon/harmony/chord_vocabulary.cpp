#include "daemon/harmony/chord_vocabulary.h"

#include <array>
#include <cstdlib>
#include <vector>

namespace undersong::harmony {
namespace {

using F = Family;

struct Source {
  std::string_view harte, letters, signs;
  Family family;
  std::string_view degrees;  // root first
  std::string_view may_omit;
  float rarity;
};

// Degrees that may be left out: a perfect fifth, and the lower tensions of higher chords.
// clang-format off
constexpr Source kSources[] = {
    // harte              letters        signs         family        degrees               may omit   rarity
    {"maj",               "",            "",           F::kMajor,    "1 3 5",              "",        0.00f},
    {"min",               "m",           "-",          F::kMinor,    "1 b3 5",             "",        0.05f},
    {"dim",               "dim",         "°",          F::kDiminished, "1 b3 b5",          "",        0.45f},
    {"aug",               "aug",         "+",          F::kAugmented, "1 3 #5",            "",        0.50f},
    {"sus2",              "sus2",        "sus2",       F::kSuspended, "1 2 5",             "",        0.40f},
    {"sus4",              "sus4",        "sus4",       F::kSuspended, "1 4 5",             "",        0.35f},
    {"5",                 "5",           "5",          F::kPower,    "1 5",                "",        0.30f},
    {"maj6",              "6",           "6",          F::kMajor,    "1 3 5 6",            "",        0.30f},
    {"min6",              "m6",          "-6",         F::kMinor,    "1 b3 5 6",           "",        0.40f},
    {"maj6(9)",           "6/9",         "6/9",        F::kMajor,    "1 3 5 6 9",          "5",       0.40f},
    {"min6(9)",           "m6/9",        "-6/9",       F::kMinor,    "1 b3 5 6 9",         "5",       0.60f},
    {"7",                 "7",           "7",          F::kDominant, "1 3 5 b7",           "5",       0.10f},
    {"maj7",              "maj7",        "Δ7",         F::kMajor,    "1 3 5 7",            "5",       0.15f},
    {"min7",              "m7",          "-7",         F::kMinor,    "1 b3 5 b7",          "5",       0.10f},
    {"minmaj7",           "m(maj7)",     "-Δ7",        F::kMinor,    "1 b3 5 7",           "5",       0.60f},
    {"hdim7",             "m7b5",        "ø7",         F::kHalfDiminished, "1 b3 b5 b7",   "",        0.30f},
    {"dim7",              "dim7",        "°7",         F::kDiminished, "1 b3 b5 bb7",      "",        0.35f},
    {"aug(b7)",           "aug7",        "+7",         F::kDominant, "1 3 #5 b7",          "",        0.45f},
    {"aug(7)",            "maj7#5",      "+Δ7",        F::kAugmented, "1 3 #5 7",          "",        0.70f},
    {"7(*5,b5)",          "7b5",         "7b5",        F::kDominant, "1 3 b5 b7",          "",        0.60f},
    {"maj7(*5,b5)",       "maj7b5",      "Δ7b5",       F::kMajor,    "1 3 b5 7",           "",        0.90f},
    {"sus4(b7)",          "7sus4",       "7sus4",      F::kSuspended, "1 4 5 b7",          "5",       0.25f},
    {"9",                 "9",           "9",          F::kDominant, "1 3 5 b7 9",         "5",       0.25f},
    {"maj9",              "maj9",        "Δ9",         F::kMajor,    "1 3 5 7 9",          "5",       0.25f},
    {"min9",              "m9",          "-9",         F::kMinor,    "1 b3 5 b7 9",        "5",       0.25f},
    {"minmaj7(9)",        "m(maj9)",     "-Δ9",        F::kMinor,    "1 b3 5 7 9",         "5",       0.75f},
    {"hdim7(9)",          "m9b5",        "ø9",         F::kHalfDiminished, "1 b3 b5 b7 9", "",        0.80f},
    {"hdim7(11)",         "m11b5",       "ø11",        F::kHalfDiminished, "1 b3 b5 b7 11", "",       0.80f},
    {"sus4(b7,9)",        "9sus4",       "9sus4",      F::kSuspended, "1 4 5 b7 9",        "5",       0.30f},
    {"sus4(b7,b9)",       "7sus4b9",     "7sus4b9",    F::kSuspended, "1 4 5 b7 b9",       "5",       0.75f},
    {"9(11)",             "11",          "11",         F::kDominant, "1 3 5 b7 9 11",      "5 9",     0.60f},
    {"min7(11)",          "m7(11)",      "-7(11)",     F::kMinor,    "1 b3 5 b7 11",       "5",       0.45f},
    {"min9(11)",          "m11",         "-11",        F::kMinor,    "1 b3 5 b7 9 11",     "5",       0.35f},
    {"maj7(#11)",         "maj7#11",     "Δ7#11",      F::kMajor,    "1 3 5 7 #11",        "5",       0.50f},
    {"maj9(#11)",         "maj9#11",     "Δ9#11",      F::kMajor,    "1 3 5 7 9 #11",      "5",       0.50f},
    {"7(#11)",            "7#11",        "7#11",       F::kDominant, "1 3 5 b7 #11",       "5",       0.50f},
    {"9(#11)",            "9#11",        "9#11",       F::kDominant, "1 3 5 b7 9 #11",     "5",       0.50f},
    {"7(13)",             "7(13)",       "7(13)",      F::kDominant, "1 3 5 b7 13",        "5",       0.45f},
    {"9(13)",             "13",          "13",         F::kDominant, "1 3 5 b7 9 13",      "5",       0.40f},
    {"9(#11,13)",         "13#11",       "13#11",      F::kDominant, "1 3 5 b7 9 #11 13",  "5 9",     0.65f},
    {"maj7(13)",          "maj7(13)",    "Δ7(13)",     F::kMajor,    "1 3 5 7 13",         "5",       0.55f},
    {"maj9(13)",          "maj13",       "Δ13",        F::kMajor,    "1 3 5 7 9 13",       "5",       0.50f},
    {"min7(13)",          "m7(13)",      "-7(13)",     F::kMinor,    "1 b3 5 b7 13",       "5",       0.70f},
    {"min9(11,13)",       "m13",         "-13",        F::kMinor,    "1 b3 5 b7 9 11 13",  "5 9 11",  0.60f},
    {"sus4(b7,9,13)",     "13sus4",      "13sus4",     F::kSuspended, "1 4 5 b7 9 13",     "5 9",     0.55f},
    {"maj(9)",            "add9",        "add9",       F::kMajor,    "1 3 5 9",            "5",       0.25f},
    {"min(9)",            "m(add9)",     "-(add9)",    F::kMinor,    "1 b3 5 9",           "",        0.35f},
    {"maj(11)",           "add11",       "add11",      F::kMajor,    "1 3 5 11",           "",        0.90f},
    {"min(11)",           "m(add11)",    "-(add11)",   F::kMinor,    "1 b3 5 11",          "",        0.80f},
    {"7(b9)",             "7b9",         "7b9",        F::kDominant, "1 3 5 b7 b9",        "5",       0.35f},
    {"7(#9)",             "7#9",         "7#9",        F::kDominant, "1 3 5 b7 #9",        "5",       0.40f},
    {"7(b13)",            "7b13",        "7b13",       F::kDominant, "1 3 5 b7 b13",       "",        0.60f},
    {"7(b9,13)",          "13b9",        "13b9",       F::kDominant, "1 3 5 b7 b9 13",     "5",       0.55f},
    {"7(b9,#11,13)",      "13b9#11",     "13b9#11",    F::kDominant, "1 3 5 b7 b9 #11 13", "5",       0.75f},
    {"maj9(#11,13)",      "maj13#11",    "Δ13#11",     F::kMajor,    "1 3 5 7 9 #11 13",   "5 9",     0.60f},
    {"7(b9,b13)",         "7b9b13",      "7b9b13",     F::kDominant, "1 3 5 b7 b9 b13",    "5",       0.50f},
    {"7(b9,#11)",         "7b9#11",      "7b9#11",     F::kDominant, "1 3 5 b7 b9 #11",    "5",       0.70f},
    {"aug(b7,9)",         "9#5",         "+9",         F::kDominant, "1 3 #5 b7 9",        "",        0.60f},
    {"aug(b7,#9)",        "7#9#5",       "+7#9",       F::kDominant, "1 3 #5 b7 #9",       "",        0.50f},
    {"7(*5,b9,#9,#11,b13)", "7alt",      "7alt",       F::kDominant, "1 3 b7 b9 #9 #11 b13", "b9 #9 #11 b13", 0.70f},
    {"(4,b7)",            "quartal",     "quartal",    F::kSuspended, "1 4 b7",            "",        0.75f},
    {"(b3,4,b7)",         "quartal(4)",  "quartal(4)", F::kSuspended, "1 b3 4 b7",         "",        0.85f},
};
// clang-format on
constexpr std::size_t kQualityCount = std::size(kSources);

FixedVector<Degree, 8> parse_list(std::string_view list) {
  FixedVector<Degree, 8> out;
  while (!list.empty()) {
    const auto space = list.find(' ');
    out.push_back(*parse_degree(list.substr(0, space)));
    list = space == std::string_view::npos ? std::string_view{} : list.substr(space + 1);
  }
  return out;
}

PitchClassSet set_of(const FixedVector<Degree, 8>& degrees) {
  PitchClassSet out;
  for (Degree degree : degrees) out.insert(PitchClass(semitones(degree)));
  return out;
}

struct Table {
  std::array<QualityRow, kQualityCount> rows;
  std::array<std::array<Role, 12>, kQualityCount> roles;
  std::array<std::array<Degree, 12>, kQualityCount> names;

  Table() {
    for (std::size_t i = 0; i < kQualityCount; ++i) {
      const Source& source = kSources[i];
      QualityRow& made = rows[i];
      made.harte = source.harte;
      made.letters = source.letters;
      made.signs = source.signs;
      made.family = source.family;
      made.rarity = source.rarity;
      made.degrees = parse_list(source.degrees);
      made.tones = set_of(made.degrees);
      made.essential = made.tones - set_of(parse_list(source.may_omit));
      fill_roles(i);
    }
  }

  void fill_roles(std::size_t i) {
    const QualityRow& made = rows[i];
    const bool dominant = made.family == Family::kDominant;
    for (int interval = 0; interval < 12; ++interval) {
      Degree name = usual_degree(interval);
      Role how = Role::kAvoid;
      if (made.tones.contains(PitchClass(interval))) {
        how = Role::kChordTone;
        for (Degree degree : made.degrees)
          if (pitch_class_offset(degree) == interval) name = degree;
      } else {
        const bool above_whole = made.tones.contains(PitchClass(interval - 2));
        const bool above_half = made.tones.contains(PitchClass(interval - 1));
        if (above_whole && !above_half) how = Role::kTension;
        // The exceptions of every dominant chord. Over a suspended fourth the third clashes, so only real
        // dominants have them.
        if (dominant && (interval == 1 || interval == 3 || interval == 6 || interval == 8))
          how = Role::kTension;
        if (dominant && interval == 3) name = {9, 1};
        // Nothing clashes with the sixth above a minor seventh chord: it is the usual 13th.
        if (made.family == Family::kMinor && interval == 9) how = Role::kTension;
      }
      roles[i][static_cast<std::size_t>(interval)] = how;
      names[i][static_cast<std::size_t>(interval)] = name;
    }
  }
};

const Table& table() {
  static const Table kTable;
  return kTable;
}

}  // namespace

std::span<const QualityRow> chord_vocabulary() {
  return table().rows;
}
const QualityRow& row(Quality quality) {
  return table().rows[static_cast<std::size_t>(quality.row())];
}

std::optional<Quality> find_quality(std::string_view harte) {
  for (std::size_t i = 0; i < kQualityCount; ++i)
    if (table().rows[i].harte == harte) return Quality(static_cast<int>(i));
  return std::nullopt;
}

Quality quality(std::string_view harte) {
  const auto found = find_quality(harte);
  if (!found) std::abort();
  return *found;
}

Role role(Quality quality, int interval) {
  return table().roles[static_cast<std::size_t>(quality.row())][static_cast<std::size_t>(interval)];
}
Degree degree_in(Quality quality, int interval) {
  return table().names[static_cast<std::size_t>(quality.row())][static_cast<std::size_t>(interval)];
}

}  // namespace undersong::harmony
