#include "clients/offline/heard_loop.h"

#include <fmt/format.h>

#include <cstdio>
#include <utility>

#include "daemon/midi/smf.h"

namespace undersong::offline {

std::optional<takes::Study> hear_loop(const std::string& name, const BeatOptions& beat) {
  const auto fail = [&](const std::string& why) {
    fmt::print(stderr, "undersong: {}: {}\n", name, why);
    return std::nullopt;
  };
  const auto file = midi::read_smf_file(name);
  if (!file) {
    fmt::print(stderr, "undersong: {}\n", file.error().message);
    return std::nullopt;
  }
  for (const auto& warning : file->warnings) fmt::print(stderr, "undersong: {}\n", warning);
  const auto events = midi::merged_events(*file);
  const auto said = beat.said(events);
  if (!said) return fail(said.error().message);
  auto out = takes::study_of(events, *said);
  if (out.take.notes.empty()) return fail("no notes in this file.");
  if (out.take.notes.size() == 1) return fail("only one note in this file; a loop needs chords that repeat.");
  if (const auto wrong = beat.refused(out.beats)) return fail(wrong->message);
  if (!out.loop)
    return fail(
        fmt::format("no run of chords repeats often enough to be a loop among the {} chords of this file.",
                    out.take.spans.size()));
  return out;
}

}  // namespace undersong::offline
