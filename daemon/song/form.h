// The written form of a take: what a lead sheet shows and a band plays. Plain data in written beats.
//
// A form is a row of parts. A part is a strain with its own chords and melody, played `times` times; endings
// say what is different in some of these times. All positions in a part count from the part's own beginning.
// Parts that were played without a pulse are `free`: each chord change takes one bar, whatever its length
// was.
//
// Units: Ticks, 480 a beat; a beat is a quarter note. Threads: plain values, pure functions.
// Errors: one sentence when there is nothing to write down.
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
#include "daemon/song/ticks.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/loop.h"
#include "daemon/takes/section.h"

namespace undersong::song {

struct WrittenNote {
  Pitch pitch;
  harmony::NoteName name;
  Ticks at, length;
  Velocity velocity;
  friend bool operator==(const WrittenNote&, const WrittenNote&) = default;
};

struct WrittenChord {
  harmony::Chord chord;
  harmony::NoteName root;
  Ticks at, length;
  friend bool operator==(const WrittenChord&, const WrittenChord&) = default;
};

// In these times the part goes another way from `from` to its end. All endings of a part begin at the same
// place, which is a bar line, and no chord or note of the part reaches across it.
struct Ending {
  std::vector<int> times;  // 1 is the first time; ascending; no time is in two endings
  Ticks from;
  Ticks length;  // from `from`; usually as long as what it replaces
  std::vector<WrittenChord>
      chords;  // these, not the part's, from `from` on; positions count from the part's beginning
  std::vector<WrittenNote> melody;
};

// Which of the layers play in a part.
struct Layers {
  bool melody = true, chords = true, bass = true, pad = true;
  friend bool operator==(const Layers&, const Layers&) = default;
};

// How a key is written: its signature in fifths, flats negative.
struct WrittenKey {
  std::optional<harmony::Key> key;
  int signature = 0;
  friend bool operator==(const WrittenKey&, const WrittenKey&) = default;
};

struct Part {
  std::string label;  // "A", "B", "A'"; empty for what lies outside the sections
  takes::SectionKind kind = takes::SectionKind::kTheme;
  std::string name;  // rehearsal text: "A", "Intro"
  bool free = false;
  Ticks length;                      // of one time
  std::vector<WrittenChord> chords;  // by beginning, without overlap
  std::vector<WrittenNote> melody;   // by beginning, one voice
  int times = 1;
  std::vector<Ending> endings;
  Layers layers;
  std::optional<WrittenKey> own_key;  // nothing: the form's
  Micros begin{}, end{};              // in the take, all times together
};

struct Form {
  std::string title;
  std::optional<harmony::Key> key;  // of a song in several keys: the first one's
  int signature = 0;                // fifths, flats negative
  int meter = 4;                    // quarter notes a bar
  bool pulse = true;                // false: every part is free
  double tempo = 120;               // beats a minute, the median of the take; 120 where there is no pulse
  bool steady = false;  // the tempo was asked for: it holds throughout, also where there is no pulse
  std::vector<Part> parts;
};

// The key a part is written in.
inline WrittenKey key_of(const Form& form, const Part& part) {
  return part.own_key.value_or(WrittenKey{form.key, form.signature});
}

// What is played the given time round (1 is the first): the part's own chords and melody, or the ending's
// from where it begins.
std::vector<WrittenChord> chords_at(const Part& part, int time);
std::vector<WrittenNote> melody_at(const Part& part, int time);
Ticks length_at(const Part& part, int time);

// Without a loop that carries the form the take is written out from beginning to end.
struct TakeStudy;
Result<Form> form_of_take(const TakeStudy& study);

}  // namespace undersong::song
