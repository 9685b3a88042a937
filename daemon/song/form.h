// The written form of a take: what a lead sheet shows and a band plays. Plain data in written beats.
//
// A form is a list of parts. A part has its own chords and melody and is played `times` times. In some of
// these times it may have another ending. All positions in a part count from the part's own beginning. Parts
// that were played without a pulse are `free`: each chord change takes one bar, whatever its length was.
//
// Units: Ticks, 480 per beat. Tempo in beats per minute.
// Threads: plain values and pure functions; use them from any thread.
// Errors: form_of_take returns one sentence if there is nothing to write down; the other functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"
#include "daemon/song/meter.h"
#include "daemon/song/tempo_mark.h"
#include "daemon/song/ticks.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/loop.h"
#include "daemon/takes/section.h"

namespace undersong::song {

struct WrittenPitch {
  Pitch pitch;
  harmony::NoteName name;
  friend bool operator==(const WrittenPitch&, const WrittenPitch&) = default;
};

// A syllable under a note. A note on which an earlier syllable goes on has one without text.
enum class Syllabic : std::uint8_t { kSingle, kBegin, kMiddle, kEnd };
struct Syllable {
  int verse = 1;
  std::string text;
  Syllabic syllabic = Syllabic::kSingle;
  bool goes_on = false;  // over the next note, too
  friend bool operator==(const Syllable&, const Syllable&) = default;
};

struct WrittenNote {
  Pitch pitch;
  harmony::NoteName name;
  Ticks at, length;
  Velocity velocity;
  bool slurred = false;               // slurred to the next note of the voice
  std::vector<WrittenPitch> above{};  // further notes of a chord, ascending
  std::vector<Syllable> words{};      // by verse
  bool slash = false;                 // no note, but a beat for which the player finds one
  friend bool operator==(const WrittenNote&, const WrittenNote&) = default;
};

struct WrittenChord {
  harmony::Chord chord;
  harmony::NoteName root;
  Ticks at, length;
  friend bool operator==(const WrittenChord&, const WrittenChord&) = default;
};

// The bass over a row of chords: what the passes have in common, and the bars in which they have nothing.
struct BassLine {
  std::vector<WrittenNote> notes;  // one voice
  std::vector<Ticks> slashes;      // beginnings of bars, ascending
  bool empty() const { return notes.empty() && slashes.empty(); }
  friend bool operator==(const BassLine&, const BassLine&) = default;
};

// A dynamic, words above the staff, or the beginning or end of a hairpin.
enum class Wedge : std::uint8_t { kEnd, kLouder, kSofter };
struct Direction {
  Ticks at;
  std::string dynamic;  // "p", "mf"; if empty, a hairpin or words
  Wedge wedge = Wedge::kEnd;
  std::string words{};  // "div."
  friend bool operator==(const Direction&, const Direction&) = default;
};

// An alternative ending. In the repeats listed in `times`, it replaces the part's own chords and melody from
// `from` to the end. All endings of a part begin at the same bar line, and no chord or note of the part
// crosses it.
struct Ending {
  std::vector<int> times;  // 1 is the first time; ascending; no time is in two endings of a part
  Ticks from;
  Ticks length;                      // counted from `from`; usually as long as what it replaces
  std::vector<WrittenChord> chords;  // positions count from the beginning of the part
  std::vector<WrittenNote> melody;
  std::vector<Direction> directions{};
  BassLine bass{};
};

// Which layers of the arrangement play in a part.
struct Layers {
  bool melody = true, chords = true, bass = true, pad = true;
  friend bool operator==(const Layers&, const Layers&) = default;
};

// Swing is written in even eighths and played long and short.
enum class Feel : std::uint8_t { kStraight, kSwing };

// Signs that lead through a song. A part that is played again after the jump is played once, with its last
// ending.
enum class Jump : std::uint8_t { kNone, kDaCapo, kDalSegno };
enum class Until : std::uint8_t { kEnd, kFine, kCoda };
struct Signs {
  bool segno = false, coda = false;    // where the part begins
  bool fine = false, to_coda = false;  // where it ends
  Jump jump = Jump::kNone;             // after its last time
  Until until = Until::kEnd;
  friend bool operator==(const Signs&, const Signs&) = default;
};

// How a key is written. `signature`: number of sharps; flats are negative.
struct WrittenKey {
  std::optional<harmony::Key> key;
  int signature = 0;
  friend bool operator==(const WrittenKey&, const WrittenKey&) = default;
};

struct Part {
  std::string label;  // "A", "B", "A'"; empty outside the sections
  takes::SectionKind kind = takes::SectionKind::kTheme;
  std::string name;  // rehearsal text: "A", "Intro"
  bool free = false;
  bool pickup = false;               // less than a bar, before the first bar
  Ticks length;                      // length of one time
  std::vector<WrittenChord> chords;  // ordered by beginning, without overlap
  std::vector<WrittenNote> melody;   // ordered by beginning, one voice
  BassLine bass;                     // empty: the bass of each chord is held
  std::vector<Direction> directions;
  int times = 1;
  int transposed = 0;  // semitones above its loop, as it was played in its take
  std::vector<Ending> endings;
  Layers layers;
  std::optional<WrittenKey> own_key;  // empty: the key of the form
  std::optional<double> own_tempo;    // beats per minute; empty: the tempo of the form
  Feel feel = Feel::kStraight;
  std::string dynamic;  // that holds here, "pp" to "ff"; empty: as it was played
  Signs signs;
  bool ritardando = false, fermata = false;  // at the end of the last time
  std::optional<Meter> own_meter;            // empty: the metre of the form
  int section = 0;                           // of the sketch that it was made from, from 1; 0: of none
  Micros begin{}, end{};                     // time in the take, from the first time to the last
};

struct Form {
  std::string title;
  std::optional<harmony::Key> key;  // in a song with several keys, that of the first part
  int signature = 0;                // number of sharps; flats are negative
  Meter meter;                      // of the first part that is not free
  bool pulse = true;                // false: every part is free
  double tempo = 120;   // beats per minute, 30..300: the median of the take, or 120 without a pulse
  bool steady = false;  // the user asked for this tempo; it holds throughout, even without a pulse
  int count_in = 0;     // bars before the song, in its MIDI file
  std::vector<Part> parts;
};

// The key in which a part is written.
inline WrittenKey key_of(const Form& form, const Part& part) {
  return part.own_key.value_or(WrittenKey{form.key, form.signature});
}

inline Meter meter_of(const Form& form, const Part& part) {
  return part.free ? Meter{} : part.own_meter.value_or(form.meter);
}

inline double tempo_of(const Form& form, const Part& part) {
  return part.own_tempo.value_or(form.tempo);
}

// What is played in repeat number `time`, counted from 1: the part's own chords and melody, or those of an
// ending from where it begins.
std::vector<WrittenChord> chords_at(const Part& part, int time);
std::vector<WrittenNote> melody_at(const Part& part, int time);
BassLine bass_at(const Part& part, int time);
Ticks length_at(const Part& part, int time);

// Where the loop goes on in another key, the parts say so (Part::transposed, own_key). If the loop does not
// carry the form (TakeStudy::carries), the take is written out from beginning to end.
struct TakeStudy;
Result<Form> form_of_take(const TakeStudy& study);

}  // namespace undersong::song
