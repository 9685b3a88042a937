// The player's own idiom in the store: what each take adds to it, and what all takes add up to.
//
// Every chord of a take counts by what the player did with it:
//
//   kOnceCounts      it was played
//   kReturnedCounts  it had been played in this take before, and another chord in between
//   kMarkedCounts    it was in force when the player set a mark (added)
//   kTakenCounts     the list had offered it before it was played (added)
//   kHeardCounts     the player had listened to it, at most kHeardFor before it was played (added)
//
// So what was tried once and left counts little. The chords of a take that are alike (same chord, chords
// before it and held note) are stored as one row of the table `own`, with the sum of what they count. A row
// is made when a take ends or was analysed again, from what the store keeps anyway, so it can be made anew at
// any time. Deleted takes, and those before the player erased the own idiom, are left out when the rows are
// added up.
//
// A row holds six bytes for each chord: second last and last chord, chord, held note (player_memory.h), and
// the weight in sixteenths, low byte first. Rows are stored, so the meaning of a byte never changes.
//
// Units: Micros of the take; milliseconds since 1970, UTC.
// Threads: pure functions; call them from any thread.
// Errors: own_chords returns nullopt if the bytes are damaged.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/player_memory.h"
#include "daemon/takes/statement.h"

namespace undersong::takes {

inline constexpr float kOnceCounts = 0.25f, kReturnedCounts = 1, kMarkedCounts = 2, kTakenCounts = 1,
                       kHeardCounts = 1;
inline constexpr Micros kHeardFor{60'000'000};
// Raise it when takes are to be counted anew.
inline constexpr int kOwnLayout = 1;
// So many of the newest takes count; those before them have faded to less than a thousandth.
inline constexpr std::size_t kMostOwnTakes = 400;

// What the player did in a take besides playing; each in ascending order.
struct Signs {
  std::vector<Micros> marks;
  std::vector<Micros> taken;     // when a chord had settled that the list had offered
  std::vector<KeptChord> heard;  // what was listened to
};
// What a take adds. Chords without a known key are left out.
std::vector<harmony::PlayedChord> played_chords(std::span<const Statement> statements,
                                                std::span<const KeptMeeting> meetings, const Signs& signs);

std::string own_row(std::span<const harmony::PlayedChord> played);
std::optional<std::vector<harmony::PlayedChord>> own_chords(std::string_view row);

// What all takes add up to.
struct OwnIdiom {
  std::shared_ptr<const harmony::PlayerMemory> memory;  // null if nothing was counted
  // What the player goes to most, greatest share first; at most kMostHabits each.
  std::vector<harmony::PlayerCounts::Habit> chords, steps;
  static constexpr std::size_t kMostHabits = 12;
  std::uint64_t takes = 0;                    // how many are in it
  std::optional<std::int64_t> since_utc_ms;   // beginning of the oldest of them
  std::optional<std::int64_t> erased_utc_ms;  // when the player erased it last
  std::uint64_t damaged = 0;                  // rows that could not be read
};

}  // namespace undersong::takes
