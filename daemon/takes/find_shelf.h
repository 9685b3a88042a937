// The find prints of a store in memory, with an index that says which places are worth looking at.
//
//   shelf.put({take, print});
//   for (const FindWindow& window : shelf.likely(tune, 300)) ...
//
// For every three notes in a row of a melody or highest line (their two intervals, and whether the second
// duration is shorter, equal or longer) the index knows where they are. Three notes of what is asked vote for
// the place where all of it would lie if they were a part of it; the places where most notes of it have a
// vote are looked at. Either side may have notes too many, so up to one note between two is left out.
// Progressions are looked for in the takes that share most with them: two chords in a row by the movement of
// the root and their thirds, rare ones more.
//
// Memory: a take of three minutes has about fifteen kilobytes. Times of all takes lie one after the other on
// one line of 32 bits, which is enough for a year of playing without a break; tunes in takes after that are
// not found. A shelf is filled when the daemon starts, and then kept.
//
// Units: FindTime.
// Threads: one owner; not synchronised. What `all` and `likely` point to lasts until that take is changed.
// Errors: none.
// Source: votes for a place by symbolic fingerprints after Arzt, Boeck and Widmer, Fast identification of
// piece and score position via symbolic fingerprinting (ISMIR 2012); rare chords count more, as inverse
// document frequency after Spaerck Jones (Journal of Documentation 28, 1972).
#pragma once

#include <cstdint>
#include <map>
#include <span>
#include <utility>
#include <vector>

#include "daemon/takes/find_print.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

struct FindLines {
  TakeId take = 0;
  FindPrint lines;  // without notes
};

// A part of a take.
struct FindWindow {
  const FindLines* take = nullptr;
  FindTime from = 0, to = kLongestFind;
  int votes = 0;  // how likely; only as an order
};

class FindShelf {
 public:
  FindShelf();

  void put(FindLines take);
  void erase(TakeId take);
  std::size_t size() const { return takes_.size(); }
  // The parts of takes where the tune is most likely, by take and time, from at most `most` places; all takes
  // if there are no more than that.
  std::vector<FindWindow> likely(std::span<const FindNote> tune, std::size_t most) const;
  // The takes that share most with these chords, most likely first, at most `most`.
  std::vector<const FindLines*> likely(std::span<const FindChord> progression, std::size_t most) const;

 private:
  using Slot = std::uint32_t;  // of a take in the index; not used again
  using Time = std::uint32_t;  // on the line of all takes
  struct Kept {
    FindLines lines;
    Slot slot = 0;
  };
  struct Placed {
    Time begin = 0;
    const FindLines* lines = nullptr;  // null: erased
  };
  struct Three {  // notes in a row: where the first begins, the time to the third, and the first key
    Time at = 0;
    std::uint16_t length = 0;
    std::uint8_t key = 0;
  };
  void enter(std::span<const FindNote> line, Time begin, bool skipping);
  void enter(const FindNote& a, const FindNote& b, const FindNote& c, Time begin);
  struct Asked;
  std::vector<Asked> asked_of(std::span<const FindNote> tune) const;
  struct Stretch {
    Time at = 0;
    int score = 0;
  };
  std::vector<Stretch> voted(std::span<const FindNote> tune, std::size_t most) const;

  std::map<TakeId, Kept> takes_;
  std::vector<Placed> slots_;  // by slot, so by time
  Time end_ = 0;
  std::vector<std::vector<Three>> notes_;
  std::vector<std::vector<Slot>> chords_;
};

}  // namespace undersong::takes
