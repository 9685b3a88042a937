#include "daemon/harmony/ear_classes.h"

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::harmony {
namespace {

Quality quality_of(const EarChord& heard) {
  static const auto kTable = [] {
    std::array<std::array<Quality, 128>, kEarClasses> table;
    for (std::size_t cls = 0; cls < table.size(); ++cls)
      for (std::size_t extensions = 0; extensions < 128; ++extensions) {
        const Quality frame = quality(kEarClassText[cls]);
        PitchClassSet tones = row(frame).tones;
        for (std::size_t i = 0; i < kEarExtensions; ++i)
          if (extensions >> i & 1) tones.insert(PitchClass(semitones(*parse_degree(kEarExtensionText[i]))));
        table[cls][extensions] = enrich(frame, PitchClass(0), tones);
      }
    return table;
  }();
  return kTable[static_cast<std::size_t>(heard.cls)][heard.extensions & 127u];
}

// The cost of each difference when a class is sought for a row. Most expensive: a tone of the class that the
// row lacks. Then thirds, fifths, sixths and sevenths that the class lacks, then all other tones.
float differs_by(const QualityRow& frame, const QualityRow& made) {
  constexpr unsigned kWeighty = 1u << 3 | 1u << 4 | 1u << 7 | 1u << 9 | 1u << 10 | 1u << 11;
  float cost = frame.family == made.family ? 0.0f : 0.6f;
  for (unsigned tone = 0; tone < 12; ++tone) {
    const bool in_class = frame.tones.bits() >> tone & 1u, in_row = made.tones.bits() >> tone & 1u;
    if (in_class && !in_row) cost += 3.0f;
    if (!in_class && in_row) cost += kWeighty >> tone & 1u ? 1.5f : 1.0f;
  }
  return cost;
}

}  // namespace

Chord chord_of(const EarChord& heard) {
  return {heard.root, quality_of(heard), heard.bass};
}

int ear_class(Quality of) {
  static const auto kTable = [] {
    std::array<std::int8_t, 256> table{};
    const auto rows = chord_vocabulary();
    for (std::size_t i = 0; i < rows.size(); ++i) {
      float best = 1e9f;
      for (std::size_t cls = 0; cls < kEarClassText.size(); ++cls) {
        const float cost = differs_by(row(quality(kEarClassText[cls])), rows[i]);
        if (cost >= best) continue;
        best = cost;
        table[i] = static_cast<std::int8_t>(cls);
      }
    }
    return table;
  }();
  return kTable[static_cast<std::size_t>(of.row())];
}

}  // namespace undersong::harmony
