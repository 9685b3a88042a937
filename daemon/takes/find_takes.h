// find_takes ranks takes by how surely they hold what somebody played.
//
//   const FoundTakes found = find_takes(query, lines_of_all_takes, read_notes, 20);
//
// First all takes are compared by their lines: the melody and the highest notes by seeds (find_line.h), the
// chords one by one (find_chords.h). Then the most likely places are looked at with all their notes
// (find_tune.h, find_texture.h). A single line is looked for as a tune, anything else as chords,
// and both as a whole passage; a passage that is there comes first, because it can't be there by chance.
//
// Places that follow one another without a gap are one place: somebody who circled a loop eight times is
// shown the whole run.
//
// Units: FindTime from the beginning of a take.
// Threads: pure, except that `read_notes` is called on the calling thread.
// Errors: none; a take whose notes can't be read is compared by its lines alone, and left out.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "daemon/takes/find_query.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

inline constexpr std::size_t kMostFoundTakes = 20;

struct FindLines {
  TakeId take = 0;
  FindPrint lines;  // without notes
};

enum class FoundAs : std::uint8_t { kTune, kChords, kPassage };

struct FoundTake {
  TakeId take = 0;
  FoundAs as = FoundAs::kTune;
  float score = 0;
  FindTime from = 0, to = 0;
  int shift = 0;    // keys from the playing to the take; for chords 0..11
  double rate = 1;  // durations in the take against those played
  int times = 1;    // places in the take that are as good
};

using ReadNotes = std::function<std::optional<std::vector<FindNote>>(TakeId)>;
struct FindEffort {
  std::size_t places = 600;  // looked at with all notes
};
// Best first, each take once, at most `limit`.
std::vector<FoundTake> find_takes(const FindQuery& query, std::span<const FindLines* const> takes,
                                  const ReadNotes& read_notes, std::size_t limit = kMostFoundTakes,
                                  FindEffort effort = {});

}  // namespace undersong::takes
