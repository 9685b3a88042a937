// The chord chart of a form as plain text: bars of chord symbols, sections, repeats and endings, with key and
// tempo on top.
//
// The text is UTF-8, and plain ASCII except for the title. A line holds four bars. A chord that does not
// begin a bar follows dots for the beats before it. A bar that only continues the chord before it shows %.
//
// Units: tempo in beats per minute.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <string>

#include "daemon/song/form.h"

namespace undersong::song {

std::string chart(const Form& form);

// A tempo in beats per minute as text: rounded to two decimals if the user asked for it, else to a whole
// number.
std::string tempo_text(const Form& form, double tempo);
// The numbers of an ending's times, for people: "1.-3.", "1., 3.".
std::string times_text(const std::vector<int>& times);
// The times without an ending of their own.
std::vector<int> usual_times(const Part& part);

}  // namespace undersong::song
