// Limits that decide both what was struck and how it is named. See headline.h.
//
// Units: Micros; a number of tones.
// Threads, errors: constants.
// Source: common practice, no source; chosen by us on playing that the ear did not learn from.
#pragma once

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr Micros kStroke{60'000};  // keys at most this far apart are one stroke
// A hand that struck less than a chord so long before the other belongs to the same chord.
inline constexpr Micros kHandsApart{250'000};
// The two parts of a chord may be this far apart: the bass or one hand first.
inline constexpr Micros kInTwo{700'000};
inline constexpr int kWholeTones = 3;  // a chord has at least as many

}  // namespace undersong::harmony
