// Finds the statements that answer a question in the index of a take (statement.h), one take at a time.
//
// A question about a melody note gives one place for each pitch class that the melody had over a matching
// chord. A question about chords gives one place for each matching chord, and a question about a sequence
// gives its first and last chord. Conditions are evaluated once for each kind of chord, so a take costs about
// a nanosecond per chord.
//
// Units: wall time in milliseconds since 1970, UTC.
// Threads: one owner; not synchronised.
// Errors: none.
// Source: common practice, no source.
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

// A kind of chord, as stored in the table chord_kinds.
struct ChordKind {
  PitchClass root, bass;
  harmony::Quality quality;
};
bool alike(const ChordKind& a, const ChordKind& b);  // the same root and family
// Returns nullopt if the quality is unknown.
std::optional<ChordKind> chord_kind(PitchClass root, std::string_view quality, PitchClass bass);

// A statement, reduced to what questions need.
struct Indexed {
  std::uint16_t kind = 0;  // index into the kinds; 0: none
  std::uint16_t met = 0;   // pitch classes of the melody, as bits
  std::uint8_t key = 0;    // as in a digest
  bool same = false;       // the harmony is the same as in the statement before
};
std::vector<Indexed> indexed(std::string_view digest, const std::vector<ChordKind>& kinds);

struct Place {
  std::size_t first = 0, last = 0;  // indices of statements
  std::optional<PitchClass> note;   // empty for questions about chords only
  // This is occurrence `time` of `times` in the take. Only occurrences with another harmony in between count
  // as separate.
  std::uint32_t time = 1, times = 1;
};

class MomentMatcher {
 public:
  // `kinds` and `question` must outlive the matcher. Kind 0 means none.
  MomentMatcher(const Question& question, const std::vector<ChordKind>& kinds,
                std::vector<std::pair<std::int64_t, std::int64_t>> days_ms);

  // Appends the places in a take that began at `begin_utc_ms`, in the order of the take.
  void find(std::span<const Indexed> take, std::int64_t begin_utc_ms, std::vector<Place>& out);
  std::size_t count(std::span<const Indexed> take, std::int64_t begin_utc_ms);
  // False if a take whose only kind of chord is `kind` cannot match. For a sequence, its rarest step decides.
  bool may_match(std::size_t kind) const;

 private:
  using Mask = std::uint16_t;  // bits 0..11: true with this melody note; bit 12: true of the chord by itself
  static constexpr Mask kTrue = 0x1FFF;
  static constexpr std::uint16_t kUnknown = 0xFFFF;
  struct Compiled {
    std::uint16_t moves = 0;
    bool notes = false;
    std::vector<Mask> by_kind;         // conditions on the chord and its melody only
    std::vector<std::uint8_t> may;     // by kind: whether it can match at all
    std::size_t kinds = 0;             // how many kinds can match
    std::vector<const Clause*> when;   // conditions on the key and the day only
    std::vector<const Clause*> mixed;  // conditions on both at once
    std::array<bool, 25> keys{};       // keys in which `when` holds on the current day
    std::vector<std::uint16_t> known;  // results of `mixed` by kind and key, on the current day
  };
  // Selects the day. False if nothing on that day can match.
  bool set_day(std::int64_t begin_utc_ms);
  Mask mask(Compiled& step, const Indexed& at);
  Mask evaluate(const Clause& c, const ChordKind& kind, std::uint8_t key) const;
  bool holds(Compiled& step, const Indexed& at) {
    if (!step.may[at.kind]) return false;  // the usual case, so it is tested first
    const Mask m = mask(step, at);
    return step.notes ? (m & at.met) != 0 : (m >> 12 & 1) != 0;
  }
  template <class Each>
  void each_match(std::span<const Indexed> take, std::int64_t begin_utc_ms, Each each);

  const std::vector<ChordKind>& kinds_;
  std::vector<std::pair<std::int64_t, std::int64_t>> days_ms_;  // first and last millisecond, both included
  std::vector<std::vector<Compiled>> choices_;
  std::uint32_t day_bits_ = 0;
  bool day_known_ = false, day_may_match_ = false;
};

// Counts the places that each of at most 16 matchers finds, in one pass over all takes. `takes` is called
// once, on the calling thread, and must call its argument for every take.
std::vector<std::uint64_t> count_all(
    std::vector<MomentMatcher>& matchers, std::size_t kinds,
    const std::function<
        void(const std::function<void(std::span<const Indexed> take, std::int64_t begin_utc_ms)>&)>& takes);

}  // namespace undersong::takes
