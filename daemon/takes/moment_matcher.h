// Which statements of a take answer a question: over what is indexed of takes (statement.h), one take at a
// time.
//
// A question about a note answers with one place for each pitch class of the melody over one chord; one about
// chords, with each chord; a sequence, with its first and last chord. What a condition says of a kind of
// chord is worked out once for each kind, so a take costs about a nanosecond a chord.
//
// Threads: one owner. Errors: none. Source: common practice, no source.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "daemon/takes/question.h"
#include "daemon/takes/statement.h"

namespace undersong::takes {

// A kind of chord as it is stored.
struct ChordKind {
  PitchClass root, bass;
  harmony::Quality quality;
};
bool alike(const ChordKind& a, const ChordKind& b);  // one root and family
// Nothing when the quality is none that could be read.
std::optional<ChordKind> chord_kind(PitchClass root, std::string_view quality, PitchClass bass);

// A statement as questions need it.
struct Indexed {
  std::uint16_t kind = 0;
  std::uint16_t met = 0;  // pitch classes of the melody
  std::uint8_t key = 0;   // as in a digest
  bool same = false;      // the harmony is that of the one before
};
std::vector<Indexed> indexed(std::string_view digest, const std::vector<ChordKind>& kinds);

struct Place {
  std::size_t first = 0, last = 0;  // statements
  std::optional<PitchClass> note;   // none: about chords alone
  std::uint32_t time = 1,
                times = 1;  // which of how many in this take: returned to when another harmony was in between
};

class MomentMatcher {
 public:
  // `kinds` and `question` outlive it. Kind 0 is none.
  MomentMatcher(const Question& question, const std::vector<ChordKind>& kinds,
                std::vector<std::pair<std::int64_t, std::int64_t>> days_ms);

  // Places in a take that began then, in the order of the take.
  void find(std::span<const Indexed> take, std::int64_t begin_utc_ms, std::vector<Place>& out);
  std::size_t count(std::span<const Indexed> take, std::int64_t begin_utc_ms);
  // Does it look for this kind of chord at all? Without one there is no match in a take.
  bool may_match(std::size_t kind) const;

 private:
  using Mask = std::uint16_t;  // bit 0..11: true with this note; bit 12: true of the chord by itself
  static constexpr Mask kTrue = 0x1FFF;
  static constexpr std::uint16_t kUnknown = 0xFFFF;
  struct Compiled {
    std::uint16_t moves = 0;
    bool notes = false;
    std::vector<Mask> by_kind;         // what is said of the chord and its melody alone
    std::vector<std::uint8_t> may;     // by kind: it can match at all
    std::size_t kinds = 0;             // so many of them
    std::vector<const Clause*> when;   // of the key and the day alone
    std::vector<const Clause*> mixed;  // of both at once
    std::array<bool, 25> keys{};       // in which the conditions of `when` hold on this day
    std::vector<std::uint16_t> known;  // of `mixed`, by kind and key, on this day
  };
  // False when nothing of that day can match.
  bool set_day(std::int64_t begin_utc_ms);
  Mask mask(Compiled& step, const Indexed& at);
  Mask evaluate(const Clause& c, const ChordKind& kind, std::uint8_t key) const;
  bool holds(Compiled& step, const Indexed& at) {
    if (!step.may[at.kind]) return false;  // most are none of it
    const Mask m = mask(step, at);
    return step.notes ? (m & at.met) != 0 : (m >> 12 & 1) != 0;
  }
  template <class Each>
  void each_match(std::span<const Indexed> take, std::int64_t begin_utc_ms, Each each);

  const std::vector<ChordKind>& kinds_;
  std::vector<std::pair<std::int64_t, std::int64_t>> days_ms_;  // first and last, both included
  std::vector<std::vector<Compiled>> choices_;
  std::uint32_t day_bits_ = 0;
  bool day_known_ = false, day_may_match_ = false;
};

// How many places each of at most 16 matchers finds in all takes that `takes` gives, in one pass.
std::vector<std::uint64_t> count_all(
    std::vector<MomentMatcher>& matchers, std::size_t kinds,
    const std::function<
        void(const std::function<void(std::span<const Indexed> take, std::int64_t begin_utc_ms)>&)>& takes);

}  // namespace undersong::takes
