// How long a chord name must last to count: limits that separate chords that were meant from names that
// appear only on the way to the next chord.
//
// There are two limits, because there are two questions. Was this name ever the harmony? That is decided
// afterwards, for what is stored, and can be strict: only names too short to be played as a chord are dropped
// (kPassing). Should the player see it, or is it counted as tried? That is decided while it sounds, when the
// next chord is not known yet, so the limit is longer (kMeant). All code uses one of these two; clients
// receive them from the daemon, in `welcome` and in the settings.
//
// Units: microseconds.
// Threads: constants.
// Errors: none.
// Source: common practice, no source.
#pragma once

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// A name that lasted less than this was on the way to the next one: the fingers did not land together, or the
// bass came later. In the chords of a take, in its meetings, and where a client shows the past, the next name
// begins in its place. This is the length of a sixteenth note at tempo 100, so no real chord is lost.
inline constexpr Micros kPassing{150'000};

// A chord that lasted this long was meant: from then on it counts as tried, and as heard in the take. By
// default clients also wait this long before they show a chord; the player can change that with the setting
// settle_ms.
inline constexpr Micros kMeant{250'000};

static_assert(kPassing < kMeant, "what is shown or counted is always kept");

}  // namespace undersong::harmony
