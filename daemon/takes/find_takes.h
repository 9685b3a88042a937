// find_takes ranks takes by how surely they hold what somebody played.
//
//   const FoundTakes found = find_takes(query, shelf, read_notes, 20);
//
// First the shelf names the takes that are worth looking at (find_shelf.h). These are compared by their
// lines: the melody and the highest notes by seeds (find_line.h), the chords one by one (find_chords.h). Then
// the most likely places are looked at with all their notes (find_tune.h, find_texture.h). A single line is
// looked for as a tune, anything else as chords, and both as a whole passage; a passage that is there comes
// first, because it can't be there by chance.
//
// Places that follow one another without a gap are one place: somebody who circled a loop eight times is
// shown the whole run. A song repeats itself, and of places that are as good the one that was meant cannot be
// known: the others are named too.
//
// Units: FindTime from the beginning of a take.
// Threads: pure, except that `read_notes` is called on the calling thread.
// Errors: none; a take whose notes can't be read is compared by its lines alone, and left out.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/takes/find_query.h"
#include "daemon/takes/find_shelf.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/take_content.h"

namespace undersong::takes {

inline constexpr std::size_t kMostFoundTakes = 20;

enum class FoundAs : std::uint8_t { kTune, kChords, kPassage };

struct FoundSpan {
  FindTime from = 0, to = 0;
};

struct FoundTake {
  TakeId take = 0;
  FoundAs as = FoundAs::kTune;
  float score = 0;
  FindTime from = 0, to = 0;
  int shift = 0;                    // keys from the playing to the take; for chords 0..11
  double rate = 1;                  // durations in the take against those played
  int times = 1;                    // places in the take that are as good, or nearly
  std::vector<FoundSpan> others{};  // the places that are as good as from..to and apart from it, by time
};

using ReadNotes = std::function<std::optional<std::vector<FindNote>>(TakeId)>;
inline constexpr std::size_t kSmallStore = 1000;  // takes
struct FindEffort {
  std::size_t windows = 1500;         // places in takes, compared by their lines
  std::size_t chord_steps = 800'000;  // of comparing chords, those first that share most
  std::size_t seeds = 60'000;         // of a line in the most likely places
  std::size_t followed = 16'000;      // places where a line is followed
  std::size_t places = 200;           // looked at with all notes
};
// Tries every take: what the index leaves out is measured against it.
inline constexpr FindEffort kEveryTake{SIZE_MAX, SIZE_MAX, SIZE_MAX, SIZE_MAX, 600};

// What fits into a tenth of a second with as many takes; a store of a thousand is looked through as a whole.
constexpr FindEffort usual_effort(std::size_t takes) {
  if (takes > kSmallStore) return {};
  return {SIZE_MAX, SIZE_MAX, SIZE_MAX, 30'000, 600};
}

// Best first, each take once, at most `limit`.
std::vector<FoundTake> find_takes(const FindQuery& query, const FindShelf& shelf, const ReadNotes& read_notes,
                                  std::size_t limit, const FindEffort& effort);

struct FoundPlace {
  FoundTake found;
  std::string title;
  std::optional<TakeContent> content{};  // of a take without a title
  std::int64_t begin_utc_ms = 0;         // of the take
};

struct FoundPlaces {
  std::vector<FoundPlace> places;  // best first
  std::uint64_t takes = 0;         // on the shelf
  std::uint64_t unprinted = 0;     // takes that have no find print yet, and are not in the answer
};

}  // namespace undersong::takes
