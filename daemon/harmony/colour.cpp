#include "daemon/harmony/colour.h"

#include <algorithm>
#include <array>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// Consonance of interval classes 1..6. Source: Huron (1994), aggregate dyadic consonance weights.
constexpr std::array<float, 7> kConsonance{0.0f, -1.428f, -0.582f, 0.594f, 0.386f, 1.240f, -0.453f};

struct QualityColour {
  float mean_fifths;  // of its tones, above the root on the line of fifths
  float harshness;    // 0..1
};

const std::vector<QualityColour>& table() {
  static const std::vector<QualityColour> kTable = [] {
    std::vector<QualityColour> out;
    for (const QualityRow& made : chord_vocabulary()) {
      float fifths = 0;
      for (Degree degree : made.degrees) fifths += static_cast<float>(NoteName(0).above(degree).fifths());
      float sum = 0;
      int pairs = 0;
      for (int a = 0; a < 12; ++a)
        for (int b = a + 1; b < 12; ++b)
          if (made.tones.contains(PitchClass(a)) && made.tones.contains(PitchClass(b))) {
            const int interval = b - a;
            sum += kConsonance[static_cast<std::size_t>(std::min(interval, 12 - interval))];
            ++pairs;
          }
      const float consonance = pairs ? sum / static_cast<float>(pairs) : 1;  // about -0.5 .. 1.24
      out.push_back({fifths / static_cast<float>(made.degrees.size()), std::clamp((0.75f - consonance) / 1.2f, 0.0f, 1.0f)});
    }
    return out;
  }();
  return kTable;
}

}  // namespace

Colour colour(Chord chord, NoteName root, const std::optional<Key>& key) {
  const QualityColour& own = table()[static_cast<std::size_t>(chord.quality.row())];
  Colour out;
  float outside = 0;
  if (key) {
    const int tonic = tonic_name(*key).fifths();
    // The major scale's seven notes lie about two fifths above its tonic, the minor scale's one below: between is zero.
    const float place = own.mean_fifths + static_cast<float>(root.fifths() - tonic) - 0.5f;
    out.dark_bright = std::clamp(place / 6, -1.0f, 1.0f);
    const PitchClassSet tones = row(chord.quality).tones.transposed(chord.root.value());
    constexpr unsigned kMajorScale = 0b101010110101;
    const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(*key));
    outside = static_cast<float>((tones - scale).size()) / static_cast<float>(tones.size());
  } else {
    out.dark_bright = std::clamp((own.mean_fifths - 0.5f) / 4, -1.0f, 1.0f);
  }
  const float inverted = chord.bass == chord.root ? 0.0f : 0.08f;
  out.resolved_tense = std::clamp(0.8f * own.harshness + 0.3f * outside + inverted, 0.0f, 1.0f);
  return out;
}

}  // namespace undersong::harmony
