// The changes as plain text: bars of chord symbols, sections, repeats, endings; key and tempo on top.
//
// UTF-8, which is plain ASCII but for the title. Four bars a line. A chord that does not begin a bar stands
// after dots for the beats before it, a bar that goes on with its chord shows %. Threads: pure. Source:
// common practice, no source.
#pragma once

#include <string>

#include "daemon/song/form.h"

namespace undersong::song {

std::string chart(const Form& form);

// Beats a minute as they are written: a tempo that was asked for as it was asked, one that was heard in whole
// beats.
std::string tempo_text(const Form& form);
// "1.-3.", "1., 3.": times of an ending for people.
std::string times_text(const std::vector<int>& times);
// The times that have no ending of their own.
std::vector<int> usual_times(const Part& part);

}  // namespace undersong::song
