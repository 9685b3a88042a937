// Chord qualities as MusicXML says them: a kind, and degrees that are added, altered or left out.
//
// Source: MusicXML 4.0, kind-value and degree: what is added is counted from a dominant chord (so an added 7
// is the minor one), what is altered from the degree that the kind has. Kinds beyond the ninth are taken only
// where all their tones sound, because programs disagree on which they leave out. Threads: pure. Total over
// the vocabulary.
#pragma once

#include <string_view>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::song {

struct DegreeChange {
  std::string_view type;  // "add", "alter", "subtract"
  int value = 0;
  int alter = 0;
};

struct HarmonyKind {
  std::string_view kind;
  std::vector<DegreeChange> degrees;
};

HarmonyKind harmony_kind(const harmony::QualityRow& row);

}  // namespace undersong::song
