// Statements: the harmony of a take in order. Each is one chord in force, with the melody notes over it.
// Questions (question.h) are answered from statements.
//
// A digest holds the statements of a take as bytes, six for each: three for the kind of chord (a number in
// the table chord_kinds), one for the key (0 none, 1 + tonic for major, 13 + tonic for minor), and two for
// the pitch classes of the melody, as bits. Low bytes come first. Digests are stored, so the meaning of a
// byte never changes.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

// The version of the ear that is stored with each indexed take. Raise it when the analysis has improved, so
// that kept takes are analysed again.
inline constexpr int kEarVersion = 1;

struct Statement {
  Micros at{}, length{};
  std::string harte, key;  // key: Harte form; "" if none was known
  std::uint16_t met = 0;   // pitch classes of the melody, as bits
};

struct KeptChord {
  Micros at{};
  std::string harte;
};
struct KeptMeeting {
  Micros at{};
  MeetingFacts facts;
};

// `chords` and `keys`: in log order. Names that lasted for less than harmony::kPassing are merged as in
// timeline.h.
std::vector<Statement> statements_of(const std::vector<KeptChord>& chords, const std::vector<KeptChord>& keys,
                                     const std::vector<KeptMeeting>& meetings, Micros end);

// The key as in a digest; 0 if `harte` is not a key.
std::uint8_t key_code(std::string_view harte);

struct DigestEntry {
  std::uint32_t kind = 0;
  std::uint8_t key = 0;
  std::uint16_t met = 0;
};
inline constexpr std::size_t kDigestEntry = 6;
void append_digest(std::string& out, const DigestEntry& entry);
inline DigestEntry digest_entry(const char* bytes) {
  const auto byte = [&](std::size_t i) {
    return static_cast<std::uint32_t>(static_cast<unsigned char>(bytes[i]));
  };
  return {byte(0) | byte(1) << 8 | byte(2) << 16, static_cast<std::uint8_t>(byte(3)),
          static_cast<std::uint16_t>(byte(4) | byte(5) << 8)};
}

}  // namespace undersong::takes
