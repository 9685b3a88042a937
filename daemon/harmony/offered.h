// The chords that are worth offering, and what is known about each of them in each key, computed once.
//
// Units: see each member.
// Threads: any; made at the first use (thread-safe), then read only. No allocation after that.
// Errors: none; all functions are total.
// Source: common practice, no source: the choice of qualities, the promises, the liking.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

inline constexpr std::size_t kOfferedCount = 46;
// Room for every quality in whole vectors of eight floats. Candidate root * kPadded + i has the i-th quality.
inline constexpr std::size_t kPadded = (kOfferedCount + 7) / 8 * 8;
inline constexpr std::size_t kOverRoot = 12 * kPadded;
inline constexpr float kOutsideWeight = 0.1f;
inline constexpr float kChordTone = 1.0f, kTension = 0.45f, kAvoid = -1.5f;

enum TriadKind : std::uint8_t {
  kMajorTriad,
  kMinorTriad,
  kDiminishedTriad,
  kAugmentedTriad,
  kSuspendedTriad
};
inline constexpr std::size_t kTriads = 5;
constexpr TriadKind triad_kind(QualityClass cls) {
  constexpr std::array<TriadKind, kQualityClasses> kTriad{
      kMajorTriad,     kMajorTriad,     kMajorTriad,    kMajorTriad,      kMinorTriad,
      kMinorTriad,     kMinorTriad,     kMinorTriad,    kDiminishedTriad, kDiminishedTriad,
      kAugmentedTriad, kAugmentedTriad, kSuspendedTriad};
  return kTriad[static_cast<std::size_t>(cls)];
}

// For each class, the intervals above the root at which a held note is at rest: the chord's tones and natural
// 9, 11, 13; #11 over a maj7.
inline constexpr std::array<std::uint16_t, kQualityClasses> kRests = [] {
  constexpr auto set = [](std::initializer_list<int> intervals) {
    unsigned bits = 0;
    for (int i : intervals) bits |= 1u << i;
    return static_cast<std::uint16_t>(bits);
  };
  return std::array<std::uint16_t, kQualityClasses>{
      set({0, 4, 7, 2, 9}),     set({0, 4, 7, 9, 2}),        set({0, 4, 7, 11, 2, 9, 6}),
      set({0, 4, 7, 10, 2, 9}), set({0, 3, 7, 2, 5}),        set({0, 3, 7, 9, 2, 5}),
      set({0, 3, 7, 10, 2, 5}), set({0, 3, 7, 11, 2, 5, 9}), set({0, 3, 6, 10, 2, 5}),
      set({0, 3, 6, 9, 2, 5}),  set({0, 4, 8, 2}),           set({0, 4, 8, 10, 2}),
      set({0, 5, 7, 10, 2, 9})};
}();

// A chord in a key.
struct InKey {
  Colour colour;
  NoteName root_name;
  PitchClassSet tones;
  std::uint8_t outside = 0;  // number of tones outside the key's scale
  float liking = 0;          // liking of the quality, minus kOutsideWeight for each tone outside
};

struct Offered {
  std::array<Quality, kOfferedCount> quality;
  std::array<std::uint8_t, kOfferedCount> cls;     // as QualityClass
  std::array<std::uint8_t, kOfferedCount> family;  // as Family
  std::array<float, kOfferedCount> rarer;          // rarity above that of the plainest chord of its class
  // [interval above the root][quality]: 1 / number of tones if the chord has this tone, otherwise 0.
  std::array<std::array<float, kPadded>, 12> tone{};
  // [interval of a held note above the root]: bit = index of a quality that clashes with the note.
  std::array<std::uint64_t, 12> avoids{};
  std::array<std::array<float, kPadded>, 8> of_family{};  // 1 for qualities of this family, otherwise 0
  // Bit s: a chord of this quality s semitones above another is the same keys.
  std::array<std::uint16_t, kOfferedCount> same_keys{};
  std::array<std::array<float, kPadded>, 12> fit{};  // [interval of a note above the root][quality]
  // [interval of a held note above the root]: each bit set is the offered qualities (bit = index) in which
  // the note is the promised degree; one of each set is always in the list.
  std::array<FixedVector<std::uint64_t, 2>, 12> promised{};
  // [interval of a held note above the root][class]: the plainest quality that contains the note, or kNone.
  static constexpr std::uint8_t kNone = 255;
  std::array<std::array<std::uint8_t, kQualityClasses>, 12> plain;
  std::array<std::array<InKey, kOverRoot>, 25> in_key;  // [key][candidate]
  // Members of in_key by themselves, for whole vectors: [key][candidate].
  std::array<std::array<float, kOverRoot>, 25> liking{}, bright{}, tense{};
  // [key][held note][root * 13 + class], 0..8: 3 * step of dark-bright (0..2) + step of tension (0..2).
  std::array<std::array<std::array<std::uint8_t, kTableChords>, 12>, 25> cell;

  // The i-th quality on this root (0..11) in this key.
  const InKey& at(std::size_t key, std::size_t root, std::size_t i) const {
    return in_key[key][root * kPadded + i];
  }
  static std::size_t key_index(const std::optional<Key>& key) {
    return key ? static_cast<std::size_t>(key->tonic.value() + (key->mode == Mode::kMinor ? 12 : 0)) : 24;
  }
};
const Offered& offered();

}  // namespace undersong::harmony
