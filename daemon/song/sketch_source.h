// The take that a section of a sketch is drawn from.
//
// Threads: pure function; the reader is called on the caller's thread.
// Errors: those of the reader, or one sentence if nothing can be drawn from the take.
#pragma once

#include <memory>

#include "daemon/song/sketch.h"

namespace undersong::song {

// The study of a source, if a section can be drawn from it.
Result<std::shared_ptr<const TakeStudy>> study_of_source(const SourceReader& read,
                                                         const SketchSource& source);

}  // namespace undersong::song
