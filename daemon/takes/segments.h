// Segments of harmony: a take divided into chords once it is known as a whole, as the loop needs them.
//
// Where a chord is broken up, the ear changes its mind while it listens (Fmaj7 in eighths is F, then Am).
// Here the whole take is heard again: the most probable course of chords, given what sounds, the bass, what
// the ear said, and that chords rather change on beats, on bar lines and where the bass is struck. It needs
// no beats; they only help. A chord that is struck twice is two segments; struck more often it is one.
//
// Units: Micros of the take; likeness 0..1.
// Threads: pure functions; call them from any thread.
// Errors: none; an empty take has no segments.
// Source: pitch-class profiles, Fujishima (1999), "Realtime chord recognition of musical sound"; the course
// of chords as a hidden Markov model, Sheh & Ellis (2003), "Chord segmentation and recognition using
// EM-trained hidden Markov models". The weights were chosen on invented takes.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"

namespace undersong::takes {

// How much each pitch class sounds, and how much of it lies in the bass; together of length 1.
struct Profile {
  std::array<float, 12> tones{}, bass{};
  Profile& operator+=(const Profile& other);
  void normalise();
};
// The cosine. `up`: `b` is compared as if it were played this many semitones higher.
double likeness(const Profile& a, const Profile& b, int up = 0);

struct Segment {
  std::size_t first = 0, last = 0;  // spans of the take, both included
  Micros begin{}, end{};
  int root = 0;  // pitch class
  harmony::Family family = harmony::Family::kMajor;
  Profile profile;
  bool free = false;  // there is no pulse here, but there is one elsewhere in the take
  bool based = true;  // its root is struck as a bass note
  double length() const { return seconds(end - begin); }
};

std::vector<Segment> segments_of(const HeardTake& take, const Beats& beats);

// `next` follows `to`; what it stated becomes part of it.
void join(Segment& to, const Segment& next);

// As if each tone of the chord sounded as much.
Profile profile_of(const harmony::Chord& chord);

// What sounds from `begin` to `end`. The melody counts less than what lies below it.
Profile profile_between(const HeardTake& take, Micros begin, Micros end);

}  // namespace undersong::takes
