// Contrasting sections for a sketch (grow.h): proposes them for the loop of one of its sections, and writes
// the chosen one into the sketch's text. Everything else in the text, with its comments, stays as it is.
//
// Units: sections and proposals are counted from 0.
// Threads: pure functions; the reader is called on the caller's thread.
// Errors: one sentence.
// Source: common practice, no source.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "daemon/song/grow.h"
#include "daemon/song/sketch.h"

namespace undersong::song {

struct SketchGrowth {
  std::size_t from = 0;              // the section with the loop
  harmony::Key key;                  // of this section
  std::vector<WrittenChord> chords;  // of one time
  Growth growth;
  std::vector<SketchSection> sections;  // one for each of `growth`
};

// `section`: by default the first theme, verse or chorus.
Result<SketchGrowth> grow_sketch(const Sketch& sketch, const SourceReader& read,
                                 std::optional<std::size_t> section = std::nullopt);

// The text of the sketch with a proposal after the section that it grows from. If the song does not go back
// to that section next, the section comes once more. `text`: from which `sketch` was read; `name` appears in
// errors.
Result<std::string> grown_text(const std::string& text, const std::string& name, const Sketch& sketch,
                               const SketchGrowth& grown, std::size_t proposal, const SourceReader& read);

}  // namespace undersong::song
