#include "daemon/takes/statement.h"

#include <algorithm>

#include "daemon/harmony/durations.h"

namespace undersong::takes {

std::vector<Statement> statements_of(const std::vector<KeptChord>& chords, const std::vector<KeptChord>& keys,
                                     const std::vector<KeptMeeting>& meetings, Micros end) {
  std::vector<Statement> out;
  for (const KeptChord& chord : chords) {
    Micros at = chord.at;
    while (!out.empty() && at - out.back().at < harmony::kPassing) {
      at = std::min(at, out.back().at);
      out.pop_back();
    }
    if (out.empty() || out.back().harte != chord.harte) out.push_back({at, {}, chord.harte, {}, 0});
  }
  for (const KeptMeeting& met : meetings) end = std::max(end, met.at + met.facts.length);
  const auto by_time = [](Micros at, const Statement& s) { return at < s.at; };
  for (const KeptMeeting& met : meetings) {
    const auto bit = static_cast<std::uint16_t>(1u << met.facts.pitch.pitch_class().value());
    auto next = std::upper_bound(out.begin(), out.end(), met.at, by_time);
    if (next != out.begin() && (next - 1)->harte == met.facts.harte) {
      (next - 1)->met |= bit;
    } else {  // a chord that was in force before the take began
      out.insert(next, {met.at, {}, met.facts.harte, {}, bit});
    }
  }
  std::size_t key = 0;
  std::string now;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const Micros until = i + 1 < out.size() ? out[i + 1].at : std::max(end, out[i].at);
    out[i].length = until - out[i].at;
    // The key is told a little after the chord that shows it.
    while (key < keys.size() && keys[key].at < until) now = keys[key++].harte;
    out[i].key = now;
  }
  return out;
}

std::uint8_t key_code(std::string_view harte) {
  const auto colon = harte.find(':');
  if (colon == std::string_view::npos) return 0;
  const auto tonic = harmony::parse_note_name(harte.substr(0, colon));
  const auto mode = harte.substr(colon + 1);
  if (!tonic || (mode != "maj" && mode != "min")) return 0;
  return static_cast<std::uint8_t>((mode == "maj" ? 1 : 13) + tonic->pitch_class().value());
}

void append_digest(std::string& out, const DigestEntry& entry) {
  for (const std::uint32_t byte : {entry.kind, entry.kind >> 8, entry.kind >> 16, std::uint32_t{entry.key},
                                   std::uint32_t{entry.met}, std::uint32_t{entry.met} >> 8})
    out += static_cast<char>(byte & 0xFF);
}

}  // namespace undersong::takes
