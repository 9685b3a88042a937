// How a whole piece is written down: the signature from its notes, then the letters of chord roots and melody
// notes.
//
//   const int signature = signature_of(chords, melody);
//   const auto roots = spell_roots(chords, signature);
//
// Every name has a price: its distance on the line of fifths from the signature's middle, from the letters of
// the chord it sounds in, and from its neighbours in the melody. The cheapest sequence of names is found
// exactly (Viterbi). A diminished chord a semitone below the next root is the chord of its leading tone and
// is spelled that way.
//
// Units: fifths; times in beats or seconds, whichever the caller has, because only their proportions count.
// Threads: any; pure functions. All but spell_note allocate, so they are for files and finished takes.
// Errors: none; all functions are total. REQUIRES: chords and melody in time order; as many roots as chords.
// Source of the idea: Temperley (2001), "The Cognition of Basic Musical Structures", ch. 5, spelling by
// closeness on the line of fifths. The prices were fitted to 134 written lead sheets (OpenEWLD, DOI
// 10.5281/zenodo.4332855): nine numbers to 18,000 names. Fitted on every second sheet, they do as well on the
// others.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

// Times in beats or seconds.
struct WrittenChord {
  double begin = 0, end = 0;
  Chord chord;
};
struct WrittenNote {
  double begin = 0, end = 0;
  Pitch pitch;
};

// The signature in fifths, -6 (six flats) .. 6 (six sharps).
int signature_of(std::span<const WrittenChord> chords, std::span<const WrittenNote> melody);
// The names of the chord roots, one for each chord.
std::vector<NoteName> spell_roots(std::span<const WrittenChord> chords, int signature);
// The names of the melody notes, one for each note. `roots`: from spell_roots.
std::vector<NoteName> spell_melody(std::span<const WrittenNote> melody, std::span<const WrittenChord> chords,
                                   std::span<const NoteName> roots, int signature);

// The name of a note that sounds now, when nothing is known of what follows; never with two accidentals.
// `chord` and `root` may both be null.
NoteName spell_note(PitchClass pitch_class, int signature, const Chord* chord, const NoteName* root);

}  // namespace undersong::harmony
