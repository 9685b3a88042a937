// The chords that are worth offering, and what is known of each in each key, worked out once.
//
// Common practice, no source: the choice of qualities, the promises, the liking.
// Threads: made at the first use, then read only. Heap: none after that.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

inline constexpr std::size_t kOfferedCount = 46;
// Room for every quality in whole vectors of eight floats.
inline constexpr std::size_t kPadded = (kOfferedCount + 7) / 8 * 8;
inline constexpr float kOutsideWeight = 0.1f;
inline constexpr float kChordTone = 1.0f, kTension = 0.45f, kAvoid = -1.5f;
inline constexpr float kWorstFit = -1.2f;  // below, the held notes clash
inline constexpr float kUsualFrom = 0.8f,
                       kRareBelow = 0.4f;  // on the scale of Alternative::familiar, for words

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

// By class, the intervals above the root at which a held note rests: its tones and natural 9, 11, 13, #11 of
// a maj7.
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
  std::uint8_t outside = 0;  // tones outside the key's scale
  float liking = 0;          // of the quality, less kOutsideWeight for each tone outside
};

struct Offered {
  std::array<Quality, kOfferedCount> quality;
  std::array<std::uint8_t, kOfferedCount> cls;       // QualityClass
  std::array<std::uint8_t, kOfferedCount> family;    // Family
  std::array<float, kOfferedCount> rarer;            // than the plainest of its class
  std::array<float, kOfferedCount> per_tone;         // 1 / how many tones
  std::array<std::array<float, kPadded>, 12> fit{};  // [interval of a note above the root][quality]
  std::array<std::array<bool, kOfferedCount>, 12> promised{};
  std::array<std::array<InKey, 12 * kOfferedCount>, 25> in_key;  // [key][root * kOfferedCount + quality]
  // [key][held note][root * 13 + class], 0..8: three steps of dark-bright by three of tension.
  std::array<std::array<std::array<std::uint8_t, kTableChords>, 12>, 25> cell;

  static std::size_t key_index(const std::optional<Key>& key) {
    return key ? static_cast<std::size_t>(key->tonic.value() + (key->mode == Mode::kMinor ? 12 : 0)) : 24;
  }
};
const Offered& offered();

}  // namespace undersong::harmony
