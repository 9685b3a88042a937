// digest picks the moments of an evening, or of a week, that are most worth hearing again.
//
// There are four reasons, and each has its own order:
//
//   marked     The player marked it. Newest mark first. What is heard are the six bars before the mark and
//              the two after it.
//   circled    A loop that was gone round, longest first, all takes of it together, in any key. What is heard
//              are its last times round, about eight bars.
//   returned   A chord under a melody note that the player came back to outside of loops, most often first.
//              What is heard is the last time, from a bar before it.
//   new        A chord under a melody note (its quality, and the note's degree in it) that no earlier take
//              has, held for two bars or more, longest first. What is heard begins a bar before it.
//
// Eight moments at a time are made of them: two marked, three circled, one returned, one new, and one more of
// whichever comes first in this order and is left. Where there are too few of one reason, the others move up.
// A moment that lies mostly within one that was picked already adds its reason to that one, and so does the
// same loop.
//
// Every moment has four to sixteen bars. Without a pulse a bar counts as two seconds. What the player
// dismissed is left out.
//
//   const auto moments = digest(takes, known, 24);
//
// Units: Micros from the beginning of each take.
// Threads: plain values and pure functions; any thread. `evening_of` uses the time zone of the machine.
// Errors: none.
// Source: own design; tests/bench/digest_bench measures it on invented evenings.
#pragma once

#include <bitset>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/takes/log_line.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/take_about.h"

namespace undersong::takes {

enum class DigestReason : std::uint8_t { kMarked, kCircled, kReturned, kNewChords };

struct DigestMark {
  Micros at{};
  std::string text;
};

// What the digest reads of a take.
struct DigestTake {
  TakeId take = 0;
  std::string title;
  std::int64_t begin_utc_ms = 0;
  Micros length{};
  TakeAbout about;
  std::vector<DigestMark> marks;
  std::vector<KeptMeeting> meetings;  // `at` from the beginning of the take
  std::vector<Judgement> judged;      // the newest of each part
};

// The pairs of a degree (semitones from the root up to the melody note) and a chord quality that were met.
class MetChords {
 public:
  void add(int degree, harmony::Quality quality) { met_.set(place(degree, quality)); }
  bool has(int degree, harmony::Quality quality) const { return met_.test(place(degree, quality)); }

 private:
  static std::size_t place(int degree, harmony::Quality quality) {
    return (static_cast<std::size_t>(quality.row()) & 255) * 12 + static_cast<std::size_t>(degree % 12);
  }
  std::bitset<256 * 12> met_;
};

struct DigestMoment {
  std::size_t take = 0;  // index
  Micros from{}, length{};
  std::optional<int> bars;  // empty without a pulse
  std::vector<DigestReason> reasons;
  std::string reason;               // in words
  std::vector<std::string> chords;  // in Harte form
  Verdict verdict = Verdict::kOpen;
};

// `known`: what was met before the first of the takes. At most `limit`, best first.
std::vector<DigestMoment> digest(const std::vector<DigestTake>& takes, const MetChords& known,
                                 std::size_t limit);

// An evening lasts from five in the morning until the next.
struct Evening {
  std::int64_t from_utc_ms = 0, to_utc_ms = 0;  // the end is not included
};
Evening evening_of(std::int64_t utc_ms);
// The seven evenings that end with that one.
Evening week_of(std::int64_t utc_ms);

struct DigestSearch {
  bool week = false;
  std::size_t limit = 24;
};
struct FoundDigest {
  Evening span;
  std::vector<DigestTake> takes;  // newest first; those without a moment too
  std::vector<DigestMoment> moments;
  std::uint64_t unstudied = 0;
};

}  // namespace undersong::takes
