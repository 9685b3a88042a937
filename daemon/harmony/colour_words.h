// Colour in words: one word for how dark or bright a chord is, one for how resolved or tense.
//
//   dark_bright_word(-0.3f)     "dark"
//   resolved_tense_word(0.7f)   "leaning"
//
// The words and their limits stand here only: the daemon sends them beside the numbers, and clients show them
// as they come. Limits: in a key chords lie between about .1 and .9 of resolved-tense, half of them above .7;
// most lie within .15 of the middle of dark-bright. Source: common practice, no source. Pure; no allocation.
#pragma once

#include "daemon/harmony/words.h"

namespace undersong::harmony {

const Word& dark_bright_word(float dark_bright);  // -1 .. 1: very dark, dark, neutral, bright, very bright
const Word& resolved_tense_word(float resolved_tense);  // 0 .. 1: at rest, mild, leaning, tense

}  // namespace undersong::harmony
