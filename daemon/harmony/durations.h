// How long a chord must stand: the times by which a name that was meant is told from one on the way to the
// next.
//
// There are two, because they answer two questions. Was this name ever the harmony? That is decided
// afterwards, about what is kept, and can be strict: only what nobody could have played as a chord of its own
// is left out (kPassing). Should the player be told of it, or be said to have tried it? That is decided while
// it sounds, when the next chord isn't known yet, and is more careful (kMeant). Whoever needs such a time
// takes one of these; clients get them from the daemon, in `welcome` and in the settings.
//
// Units: microseconds. Threads: constants. Source: common practice, no source.
#pragma once

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// A name that stood shorter was on the way to the next: fingers that did not land together, a bass that was
// awaited. It gives its beginning to the next name in the chords of a take, in its meetings and in what a
// client shows of the past. A sixteenth note at 100 a minute is as long, so no chord of its own is lost.
inline constexpr Micros kPassing{150'000};

// A chord that stood so long was meant: from then on it counts as tried and as heard in the take. Clients
// that are read at a glance show a chord once it has stood as long, unless the player chose another time
// (settle_ms, which this is the default of).
inline constexpr Micros kMeant{250'000};

static_assert(kPassing < kMeant, "what is shown or counted is always kept");

}  // namespace undersong::harmony
