// Colour in words: one word for how dark or bright a chord is, one for how resolved or tense.
//
//   dark_bright_word(-0.3f)     "dark"
//   resolved_tense_word(0.7f)   "leaning"
//
// The words and their limits are defined only here. The daemon sends the words with the numbers, and clients
// show them unchanged. The limits follow the distribution of chords: in a key, tonic, subdominant and their
// major sevenths are at rest, the other chords of the key mild, plain dominants lean, and altered dominants
// and chords far from the key are tense. On the scale dark to bright, a third of all chords lies within 0.15
// of the middle, and one in ten beyond 0.4.
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
