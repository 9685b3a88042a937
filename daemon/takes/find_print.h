// A find print: what of a take is compared with what somebody plays to find it again. It holds the notes, the
// melody that the ear heard, the highest line, and the chords. It is made once, when a take ends, and kept
// with the take, so that nobody has to listen to the take again.
//
//   const FindPrint print = find_print(take.at, played_notes(events).notes, melody, chords, end);
//   const std::string kept = packed_lines(print);
//
// Units: FindTime is hundredths of a second from the beginning of the take, 0..kLongestFind. Keys 0..127.
// Threads: plain values and pure functions; any thread.
// Errors: unpack functions return nullopt for bytes that are not a print.
// Source: own design; the highest line is the "skyline" of Uitdenbogerd and Zobel, Melodic matching
// techniques for large music databases (ACM Multimedia, 1999).
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/pitch_class_set.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/statement.h"

namespace undersong::takes {

// Raise it when prints are made in another way; kept ones are then made anew.
inline constexpr int kFindVersion = 1;

using FindTime = std::int32_t;
inline constexpr FindTime kLongestFind = 24 * 3600 * 100;  // what is later in a take is not searched
// Notes that begin within this time count as struck together.
inline constexpr FindTime kStruckTogether = 6;

struct FindNote {
  FindTime at = 0;
  std::uint8_t key = 0;
  friend bool operator==(const FindNote&, const FindNote&) = default;
};

struct FindChord {
  FindTime at = 0, length = 0;
  std::uint8_t root = 0;         // pitch class
  harmony::PitchClassSet tones;  // seen from the root
  friend bool operator==(const FindChord&, const FindChord&) = default;
};

struct FindPrint {
  std::vector<FindNote> notes;    // by time, then key
  std::vector<FindNote> melody;   // as heard, by time
  std::vector<FindNote> top;      // the highest of the notes struck together, by time
  std::vector<FindChord> chords;  // by time; none follows the same one
  friend bool operator==(const FindPrint&, const FindPrint&) = default;
};

// `begin`: of the take. `chords` in Harte syntax, each until the next one or `end`.
FindPrint find_print(Micros begin, std::span<const PlayedNote> notes, std::span<const HeardNote> melody,
                     std::span<const KeptChord> chords, Micros end);
// The highest of the notes that are struck together.
std::vector<FindNote> highest_line(std::span<const FindNote> notes);

// As kept: `lines` is everything but the notes. Numbers are LEB128, times as differences.
std::string packed_lines(const FindPrint& print);
std::string packed_notes(std::span<const FindNote> notes);
bool unpack_lines(std::string_view bytes, FindPrint& print);
std::optional<std::vector<FindNote>> unpack_notes(std::string_view bytes);

// Two takes with the same notes at the same times have the same content number, wherever they begin.
std::int64_t content_of(std::span<const FindNote> notes);
// True if the notes are the same, and each begins within three hundredths of a second of the other's.
bool same_content(std::span<const FindNote> a, std::span<const FindNote> b);

}  // namespace undersong::takes
