#include "daemon/song/loop_of.h"

#include <fmt/format.h>

namespace undersong::song {

Result<const takes::Loop*> loop_of(const takes::Study& study) {
  if (study.loop) return &*study.loop;
  if (study.take.notes.empty()) return invalid_input("There are no notes in its take.");
  const std::size_t chords = study.take.spans.size();
  if (chords == 0) return invalid_input("No chord was heard in its take.");
  return not_found(
      fmt::format("No run of chords comes round often enough to be a loop: this take has {} chord{}.", chords,
                  chords == 1 ? "" : "s"));
}

}  // namespace undersong::song
