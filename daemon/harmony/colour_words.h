// Colour in words: one word for how dark or bright a chord is, one for how resolved or tense.
//
//   dark_bright_word(-0.3f)     "dark"
//   resolved_tense_word(0.7f)   "leaning"
//
// The words and their limits are defined only here. The daemon sends the words with the numbers, and clients
// show them unchanged. The limits follow the distribution of chords: in a key, chords lie between about 0.1
// and 0.9 on the scale resolved to tense, half of them above 0.7; on the scale dark to bright most lie within
// 0.15 of the middle.
//
// Units: none; the ranges are given below.
// Threads: pure functions; call them from any thread. No allocation.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include "daemon/harmony/words.h"

namespace undersong::harmony {

const Word& dark_bright_word(float dark_bright);  // -1 .. 1: very dark, dark, neutral, bright, very bright
const Word& resolved_tense_word(float resolved_tense);  // 0 .. 1: at rest, mild, leaning, tense

}  // namespace undersong::harmony
