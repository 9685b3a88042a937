// The loop of a study, or why there is none, in the words that every command uses.
//
//   const auto loop = loop_of(study);
//   if (!loop) return loop.error();
//   use(**loop);
//
// Threads: pure. Errors: one sentence.
#pragma once

#include "daemon/base/result.h"
#include "daemon/takes/study.h"

namespace undersong::song {

// As long as the study.
Result<const takes::Loop*> loop_of(const takes::Study& study);

}  // namespace undersong::song
