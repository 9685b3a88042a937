// Whether the signs of a sketch's sections lead anywhere.
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: the end of a sentence about a section, such as "ends with D.S., but ...".
// Source: common practice, no source.
#pragma once

#include <optional>
#include <string>

#include "daemon/song/signs.h"
#include "daemon/song/sketch.h"

namespace undersong::song {

struct LostSign {
  std::size_t section = 0;  // counted from 0
  std::string problem;
};
// The first sign that leads nowhere.
std::optional<LostSign> lost_sign(const Sketch& sketch);

}  // namespace undersong::song
