// Chord qualities in the form of MusicXML: a kind, and degrees that are added, altered or subtracted.
//
// Added degrees are counted from a dominant chord, so an added 7 is the minor seventh. Altered degrees are
// counted from the degree of the kind. Kinds beyond the ninth are used only if all their tones sound, because
// programs disagree about which ones they leave out; but a thirteenth chord may lack its eleventh, which
// players leave out anyway (common practice, no source).
//
// Units: `alter` in semitones.
// Threads: pure; call it from any thread.
// Errors: none; the function is total for every row of the vocabulary.
// Source: MusicXML 4.0, kind-value and degree.
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
