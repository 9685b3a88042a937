// Playing along: the loop of a take as a score that goes round, and which pass each note of the new take
// belongs to.
//
// The score: a count-in on the first root (its first beat an octave higher and louder), then bass roots,
// struck at each change and anew in each bar of a long chord, and chords above them, voiced around the middle
// and led round the cycle. Other chords can be given in place of the loop's own, and the very notes of each:
// then these sound, once a chord. The log of the take that is played along has a line of kind kAlong (what is
// played) and one of kPass where each time round begins; data are JSON, as in protocol/shapes.h LoggedAlong
// and LoggedPass.
//
// Threads: pure. Times: Micros; in Along from its own beginning. Source: common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/midi/audition.h"
#include "daemon/midi/sender.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/loop.h"

namespace undersong::takes {

struct GivenChord {
  harmony::Chord chord;
  harmony::NoteName root;
  std::vector<Pitch>
      notes;  // empty: laid out here. Of two or more the lowest is its bass, the highest its melody
};

struct AlongWish {
  std::optional<double> tempo;                     // beats a minute; the take's own where left out
  int count_in = 1;                                // bars
  bool bass = true, chords = true, melody = true;  // melody: of given notes only
  Velocity velocity = midi::kQuietly;
  std::vector<GivenChord> given;  // one for each chord of the loop, or none
  int rounds = 0;                 // then it ends; 0: for ever
};

struct AlongChord {
  Micros at{};  // from the beginning of the cycle
  std::string harte;
};

struct Along {
  midi::Score score;
  Micros count_in{}, cycle{};
  double tempo = 0;
  int meter = 4;
  std::vector<AlongChord> chords;
  int rounds = 0;      // 0: for ever
  bool given = false;  // the chords are not the loop's own
};

inline constexpr int kMostRounds = 64;

// Errors: the loop has no chord that lasts, or not as many chords as are given.
Result<Along> accompaniment(const Loop& loop, const Beats& beats, const AlongWish& wish);

// ---- the log

Entry along_begins(Micros at, TakeId of, const Along& along);
Entry pass_begins(Micros at, int number);  // from 1; the count-in has no line

struct LoggedAlong {
  TakeId of = 0;
  double tempo = 0;
  int meter = 4;
  Micros cycle{};
  std::vector<AlongChord> chords;
  std::vector<Micros> passes;  // when each begins; the first is pass first_pass
  int first_pass = 1;
};
// The lines of a take, in order; nothing when it was not played along.
std::optional<LoggedAlong> read_along(const std::vector<Line>& lines);

struct PlacedNote {
  Micros at{};
  Pitch pitch;
  int pass = 0;  // 0: before the first
  Micros
      place{};  // in the cycle; 0 in pass 0. A note that comes a little early belongs to what it anticipates.
  int chord = -1;  // index into chords
};
std::vector<PlacedNote> place_notes(const std::vector<PlayedNote>& notes, const LoggedAlong& along);

}  // namespace undersong::takes
