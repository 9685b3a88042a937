// The scales of keys as sets of pitch classes above their tonic.
//
//   PitchClassSet(kMajorScale).transposed(key.tonic.value())
//
// Units: bit n is the pitch class n semitones above the tonic. Threads: constants. Errors: none.
// Source: common practice, no source.
#pragma once

namespace undersong::harmony {

inline constexpr unsigned kMajorScale = 0b101010110101;
inline constexpr unsigned kMinorScale = 0b110110101101;  // with both sevenths

}  // namespace undersong::harmony
