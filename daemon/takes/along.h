// Playing along: the loop of a take as a score that repeats, and which pass each new note belongs to.
//
// The score begins with a count-in on the first root; the first beat of each bar is an octave higher and
// louder. Then the bass plays roots: one at each change, and one more in each bar of a long chord. Chords
// sound above it, voiced around the middle of the keyboard with smooth voice leading, also from the last
// chord to the first. The caller can give other chords in place of the loop's own, and exact notes for each;
// given notes are played once per chord. While the player plays along, the log of the new take gets one line
// of kind kAlong (what is played) and one line of kPass where each pass begins. Their data are JSON; see
// LoggedAlong and LoggedPass in protocol/shapes.h.
//
//   auto along = accompaniment(*study.loop, study.beats, {.tempo = 92});
//   if (along) sender.play(along->score);
//
// Units: Micros; in Along from the beginning of the score or of the cycle, elsewhere on the take's clock.
// Tempo in beats per minute.
// Threads: pure functions; call them from any thread.
// Errors: accompaniment returns one sentence. Readers skip damaged lines.
// Source: common practice, no source.
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
  // The exact notes. If empty, `accompaniment` chooses a voicing. Of two or more notes the lowest counts as
  // the bass and the highest as the melody.
  std::vector<Pitch> notes;
};

struct AlongWish {
  std::optional<double> tempo;                     // beats per minute; if empty, the tempo of the take
  int count_in = 1;                                // bars
  bool bass = true, chords = true, melody = true;  // which layers sound; `melody` applies to given notes only
  Velocity velocity = midi::kQuietly;
  std::vector<GivenChord> given;  // one for each chord of the loop, or none
  int rounds = 0;                 // the score ends after this many passes; 0: it repeats until stopped
};

struct AlongChord {
  Micros at{};  // from the beginning of the cycle
  std::string harte;
};

struct Along {
  midi::Score score;
  Micros count_in{}, cycle{};  // lengths
  double tempo = 0;
  int meter = 4;
  std::vector<AlongChord> chords;
  int rounds = 0;      // 0: repeats until stopped
  bool given = false;  // the chords were given; they are not the loop's own
};

// `accompaniment` limits AlongWish::rounds to this many.
inline constexpr int kMostRounds = 64;

// Errors: no chord of the loop has a length, or the number of given chords differs from the loop's.
Result<Along> accompaniment(const Loop& loop, const Beats& beats, const AlongWish& wish);

// ---- the log

Entry along_begins(Micros at, TakeId of, const Along& along);
Entry pass_begins(Micros at, int number);  // the first pass is 1; the count-in gets no line

struct LoggedAlong {
  TakeId of = 0;
  double tempo = 0;
  int meter = 4;
  Micros cycle{};
  std::vector<AlongChord> chords;
  std::vector<Micros> passes;  // when each pass begins; the first entry is pass `first_pass`
  int first_pass = 1;
};
// `lines`: the lines of one take, in log order. Returns nullopt if the take was not played along to a loop.
std::optional<LoggedAlong> read_along(const std::vector<Line>& lines);

struct PlacedNote {
  Micros at{};
  Pitch pitch;
  int pass = 0;  // 0: before the first pass
  // Position in the cycle; 0 in pass 0. A note up to 90 ms early belongs to the pass or chord that follows.
  Micros place{};
  int chord = -1;  // index into `chords`; -1 in pass 0
};
std::vector<PlacedNote> place_notes(const std::vector<PlayedNote>& notes, const LoggedAlong& along);

}  // namespace undersong::takes
