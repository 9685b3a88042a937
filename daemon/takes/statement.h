// What a take says of harmony, in order: each chord in force that was meant, and which notes the melody had
// over it. This is what questions are asked of (question.h).
//
// A digest is the same as bytes, six for a statement: three for its kind of chord (a number in the table
// chord_kinds), one for the key (0 none, 1 + tonic for major, 13 + tonic for minor), two for the pitch
// classes that were melody over it, as bits; the lower byte first. Stored, so the meaning of a byte never
// changes.
//
// Threads: pure. Source: common practice, no source.
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

// Which ear heard what is indexed. Raised when the analysis has become better, so that kept takes are
// listened to again.
inline constexpr int kEarVersion = 1;

struct Statement {
  Micros at{}, length{};
  std::string harte, key;  // key: Harte form, "" when none was known
  std::uint16_t met = 0;   // pitch classes of the melody
};

struct KeptChord {
  Micros at{};
  std::string harte;
};
struct KeptMeeting {
  Micros at{};
  MeetingFacts facts;
};

// `chords` and `keys` in the order of the log; names that stood for a blink are joined as in timeline.h.
std::vector<Statement> statements_of(const std::vector<KeptChord>& chords, const std::vector<KeptChord>& keys,
                                     const std::vector<KeptMeeting>& meetings, Micros end);

// 0 when it is no key.
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
