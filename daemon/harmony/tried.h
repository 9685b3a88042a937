// Tried, Liked: how often each chord was played under a note, and how often the player came back to it.
//
// What is told holds for the exact chord: root and quality as shown. A chord shown in root position is the
// same in every inversion, because any chord tone may be its bass; a slash chord is the same only over its
// own bass. A neighbour, such as Am(maj9) beside Am, is another chord.
//
//   Tried tried;
//   tried.add(am);
//   tried.times(am);         // 1
//   tried.times(am_maj9);    // 0
//
// Remembers 48 chords; when another one comes, the one played longest ago is forgotten.
//
// Units: counts saturate at 255.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: none needed.
#pragma once

#include <array>
#include <cstdint>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"

namespace undersong::harmony {

// True if a player who sounds `played` has sounded what is shown as `shown`.
bool is_played_as(const Chord& shown, const Chord& played);

class Tried {
 public:
  struct Entry {
    Chord chord;
    std::uint8_t times = 0;
  };
  static constexpr std::size_t kMost = 48;

  void add(const Chord& chord, int times = 1);
  int times(const Chord& shown) const;                                 // 0..255
  const FixedVector<Entry, kMost>& chords() const { return chords_; }  // the newest first
  void clear() { chords_.clear(); }

 private:
  FixedVector<Entry, kMost> chords_;
};

// Chords that the player came back to in this take, or that sounded when the player set a mark. In the
// ranking, liking a chord also speaks a little for others of its root and family.
class Liked {
 public:
  void add(const Chord& chord, int times = 1);
  int times(const Chord& shown) const { return chords_.times(shown); }  // 0..255
  const FixedVector<Tried::Entry, Tried::kMost>& chords() const { return chords_.chords(); }
  const std::array<std::uint8_t, 8>& kin(PitchClass root) const {
    return kin_[static_cast<std::size_t>(root.value())];
  }  // by Family, 0..kMostKin
  void clear() { *this = {}; }
  static constexpr int kMostKin = 4;

 private:
  Tried chords_;
  std::array<std::array<std::uint8_t, 8>, 12> kin_{};  // [root][Family]
};

}  // namespace undersong::harmony
