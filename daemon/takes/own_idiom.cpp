#include "daemon/takes/own_idiom.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/key.h"

namespace undersong::takes {
namespace {

using harmony::PlayedChord;

constexpr std::size_t kRowEntry = 6;
constexpr float kSixteenth = 16;

// The tonic of the signature of each statement; a chord before the first key counts in that key.
std::vector<std::optional<PitchClass>> tonics_of(std::span<const Statement> statements) {
  std::vector<std::optional<PitchClass>> out(statements.size());
  std::optional<PitchClass> now;
  for (std::size_t i = statements.size(); i-- > 0;) {
    if (const auto key = harmony::parse_key(statements[i].key))
      now = PitchClass(7 * harmony::signature(*key));
    out[i] = now;
  }
  return out;
}

std::uint8_t seen_from(PitchClass tonic, const std::optional<harmony::ParsedChord>& parsed) {
  return parsed ? harmony::seen_from(tonic, parsed->chord) : PlayedChord::kNoChord;
}

// The note that stood over the statement longest.
std::uint8_t held_over(const Statement& statement, std::span<const KeptMeeting> meetings, PitchClass tonic) {
  const auto first = std::lower_bound(meetings.begin(), meetings.end(), statement.at,
                                      [](const KeptMeeting& met, Micros at) { return met.at < at; });
  std::array<Micros, 12> sounded{};
  for (auto met = first; met != meetings.end() && met->at < statement.at + statement.length; ++met)
    sounded[static_cast<std::size_t>(met->facts.pitch.pitch_class().value())] += met->facts.length;
  const auto longest = std::max_element(sounded.begin(), sounded.end());
  if (*longest <= Micros{}) return PlayedChord::kNoNote;
  return static_cast<std::uint8_t>(ascending(tonic, PitchClass(static_cast<int>(longest - sounded.begin()))));
}

bool within(const Statement& statement, std::span<const Micros> times) {
  const auto first = std::lower_bound(times.begin(), times.end(), statement.at);
  return first != times.end() && *first < statement.at + statement.length;
}

}  // namespace

std::vector<PlayedChord> played_chords(std::span<const Statement> statements,
                                       std::span<const KeptMeeting> meetings, const Signs& signs) {
  const auto tonics = tonics_of(statements);
  std::vector<std::optional<harmony::ParsedChord>> chords;
  chords.reserve(statements.size());
  for (const Statement& statement : statements) chords.push_back(harmony::parse_harte(statement.harte));
  // When a chord that was listened to is played next, if soon.
  std::vector<bool> heard(statements.size());
  for (const KeptChord& each : signs.heard) {
    const std::uint8_t wanted = seen_from(PitchClass(0), harmony::parse_harte(each.harte));
    for (std::size_t i = 0; i < statements.size(); ++i)
      if (statements[i].at >= each.at && statements[i].at - each.at <= kHeardFor &&
          wanted != PlayedChord::kNoChord && seen_from(PitchClass(0), chords[i]) == wanted) {
        heard[i] = true;
        break;
      }
  }
  std::array<bool, harmony::kTableChords> played_before{};  // by absolute root and class
  std::vector<PlayedChord> out;
  for (std::size_t i = 0; i < statements.size(); ++i) {
    const std::uint8_t there = seen_from(PitchClass(0), chords[i]);
    if (there == PlayedChord::kNoChord) continue;
    const bool returned = std::exchange(played_before[there], true);
    if (!tonics[i]) continue;
    PlayedChord played;
    played.chord = seen_from(*tonics[i], chords[i]);
    if (i > 0) played.last = seen_from(*tonics[i], chords[i - 1]);
    if (i > 1) played.second = seen_from(*tonics[i], chords[i - 2]);
    played.held = held_over(statements[i], meetings, *tonics[i]);
    played.weight = (returned ? kReturnedCounts : kOnceCounts) +
                    (within(statements[i], signs.marks) ? kMarkedCounts : 0) +
                    (within(statements[i], signs.taken) ? kTakenCounts : 0) + (heard[i] ? kHeardCounts : 0);
    const auto alike = std::find_if(out.begin(), out.end(), [&](const PlayedChord& other) {
      return other.chord == played.chord && other.last == played.last && other.second == played.second &&
             other.held == played.held;
    });
    if (alike == out.end())
      out.push_back(played);
    else
      alike->weight = std::min(alike->weight + played.weight, PlayedChord::kMostWeight);
  }
  return out;
}

std::string own_row(std::span<const PlayedChord> played) {
  std::string out;
  out.reserve(played.size() * kRowEntry);
  for (const PlayedChord& each : played) {
    const auto weight = static_cast<unsigned>(
        std::lround(std::clamp(each.weight, 0.0f, PlayedChord::kMostWeight) * kSixteenth));
    for (const unsigned byte : {unsigned{each.second}, unsigned{each.last}, unsigned{each.chord},
                                unsigned{each.held}, weight & 0xFF, weight >> 8})
      out += static_cast<char>(byte);
  }
  return out;
}

std::optional<std::vector<PlayedChord>> own_chords(std::string_view row) {
  if (row.size() % kRowEntry != 0) return std::nullopt;
  std::vector<PlayedChord> out;
  out.reserve(row.size() / kRowEntry);
  for (std::size_t at = 0; at < row.size(); at += kRowEntry) {
    const auto byte = [&](std::size_t i) { return static_cast<std::uint8_t>(row[at + i]); };
    const PlayedChord played{byte(0), byte(1), byte(2), byte(3),
                             static_cast<float>(byte(4) | byte(5) << 8) / kSixteenth};
    if (played.second > PlayedChord::kNoChord || played.last > PlayedChord::kNoChord ||
        played.chord >= PlayedChord::kNoChord || played.held > PlayedChord::kNoNote)
      return std::nullopt;
    out.push_back(played);
  }
  return out;
}

}  // namespace undersong::takes
