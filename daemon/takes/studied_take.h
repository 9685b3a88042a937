// What a study of a take leaves behind, so that nobody has to wait for it again: what is known of the take at
// a glance, and answers that cost a study.
//
// Units: as take_about.h. Threads: plain values. Errors: none.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "daemon/takes/take_about.h"

namespace undersong::takes {

struct StudiedTake {
  TakeId take = 0;
  LineNumber said = 0;  // the last line on its beat or its chords that the study has seen; 0: none
  TakeAbout about;      // without the melody; without chords if nothing is gone round
  std::vector<std::pair<std::string, std::string>> answers;  // name and text
};

}  // namespace undersong::takes
