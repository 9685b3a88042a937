// take_about is what is known of a take at a glance: what it is called by, the line of its melody, and the
// loops that were gone round in it. It is kept with the take, so that a list, a picture and a digest cost one
// row each, however long the take is.
//
// It is made twice. When a take ends it is read from the names of its chords, which are in the store already.
// Then the take is studied (song/describer.h), and what was found with its beats takes the place of that.
//
//   TakeAbout about = about_from_names(statements, meetings, begin);
//   about.melody = melody_picture(print.melody, length);
//
// Units: Micros from the beginning of the take; tempo in beats a minute.
// Threads: plain values and pure functions; any thread.
// Errors: the functions that unpack return nullopt for text that they have not packed.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/takes/find_print.h"
#include "daemon/takes/statement.h"
#include "daemon/takes/take_content.h"

namespace undersong::takes {

// Raise it when it is made in another way; takes are then studied again.
inline constexpr int kAboutVersion = 1;
inline constexpr std::size_t kPictureSpans = 96;

struct AboutPass {
  Micros from{}, length{};
  int transposed = 0;    // semitones upwards, -5..6
  bool variant = false;  // a chord was replaced, added or left out
  friend bool operator==(const AboutPass&, const AboutPass&) = default;
};

struct AboutLoop {
  std::vector<std::string> chords;  // in Harte form
  std::vector<AboutPass> passes;    // by beginning
  friend bool operator==(const AboutLoop&, const AboutLoop&) = default;
};

struct TakeAbout {
  bool studied = false;
  TakeContent content;  // without `again`, which changes with other takes
  int meter = 4;        // beats a bar
  // kPictureSpans parts of the take: the melody note that sounds longest in each, 0 for none.
  std::vector<std::uint8_t> melody;
  std::vector<AboutLoop> loops;  // the one that explains most first
  friend bool operator==(const TakeAbout&, const TakeAbout&) = default;
};

// `begin`: of the take, on the clock of the statements.
TakeAbout about_from_names(std::span<const Statement> statements, std::span<const KeptMeeting> meetings,
                           Micros begin);
std::vector<std::uint8_t> melody_picture(std::span<const FindNote> melody, Micros length);
// How long the passes last together; where they overlap, once.
Micros circled(std::span<const AboutLoop> loops);
// Pairs of a melody note and a harmony that the player came back to, outside the loops' passes: within a loop
// every note comes back.
std::uint32_t returns(std::span<const KeptMeeting> meetings, std::span<const AboutLoop> loops, Micros begin);

// The same number for loops of the same chords, in any key and wherever one begins to count; 0 if the loop is
// too short to be recognised by it. `root`: pitch class of its first chord, for the distance between two.
struct LoopKey {
  std::int64_t number = 0;
  int root = 0;
  friend bool operator==(const LoopKey&, const LoopKey&) = default;
};
LoopKey loop_key(std::span<const std::string> chords);
// From one pitch class to another the nearer way, -5..6.
int nearest_shift(int from, int to);

std::string packed_name(const TakeAbout& about);
std::string packed_picture(const TakeAbout& about);
bool unpack_name(const std::string& text, TakeAbout& about);
bool unpack_picture(const std::string& text, TakeAbout& about);

}  // namespace undersong::takes
