// How a whole piece is written down: the signature from its notes, then the letters of chord roots and melody
// notes.
//
// Every name has a price: its distance on the line of fifths from the signature's middle, from the letters of
// the chord it sounds in, and from its neighbours in the melody; the cheapest row of names is found exactly
// (Viterbi). A diminished chord a semitone below the next root is its leading tone's chord and is spelled as
// such. Source of the idea: Temperley (2001), "The Cognition of Basic Musical Structures", ch. 5, spelling by
// closeness on the line of fifths. The prices were fitted to 134 written lead sheets (OpenEWLD,
// DOI 10.5281/zenodo.4332855), nine numbers to 18,000 names; fitted on every second sheet they do as well on
// the others. For files and finished takes: allocates.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

// Times in beats or seconds, whichever the caller has; only their proportions count.
struct WrittenChord {
  double begin = 0, end = 0;
  Chord chord;
};
struct WrittenNote {
  double begin = 0, end = 0;
  Pitch pitch;
};

// Fifths of the signature, -6 (six flats) .. 6 (six sharps).
int signature_of(std::span<const WrittenChord> chords, std::span<const WrittenNote> melody);
std::vector<NoteName> spell_roots(std::span<const WrittenChord> chords, int signature);
// `roots` as from spell_roots; chords and melody in order of time.
std::vector<NoteName> spell_melody(std::span<const WrittenNote> melody, std::span<const WrittenChord> chords,
                                   std::span<const NoteName> roots, int signature);

// The same for a note that sounds now, with nothing known of what follows; never with two accidentals.
// `chord` and `root` may be null together.
NoteName spell_note(PitchClass pitch_class, int signature, const Chord* chord, const NoteName* root);

}  // namespace undersong::harmony
