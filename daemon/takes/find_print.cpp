#include "daemon/takes/find_print.h"

#include <algorithm>
#include <array>
#include <cstdlib>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::takes {
namespace {

std::optional<FindTime> find_time(Micros begin, Micros at) {
  const auto hundredths = (at - begin).count() / 10'000;
  if (at < begin || hundredths > kLongestFind) return std::nullopt;
  return static_cast<FindTime>(hundredths);
}

bool earlier(const FindNote& a, const FindNote& b) {
  return a.at != b.at ? a.at < b.at : a.key < b.key;
}

constexpr FindTime kSameTime = 3;

void put(std::string& out, std::uint32_t n) {
  for (; n > 127; n >>= 7) out += static_cast<char>(n | 128);
  out += static_cast<char>(n);
}
void put(std::string& out, std::span<const FindNote> notes) {
  put(out, static_cast<std::uint32_t>(notes.size()));
  FindTime at = 0;
  for (const FindNote& note : notes) {
    put(out, static_cast<std::uint32_t>(note.at - at));
    out += static_cast<char>(note.key);
    at = note.at;
  }
}

// Reads what `put` wrote; `bad` once bytes are missing or a number is out of range.
struct Reader {
  std::string_view bytes;
  bool bad = false;
  std::uint32_t byte() {
    if (bytes.empty()) {
      bad = true;
      return 0;
    }
    const auto out = static_cast<unsigned char>(bytes.front());
    bytes.remove_prefix(1);
    return out;
  }
  std::uint32_t number() {
    std::uint32_t out = 0;
    for (int shift = 0; shift < 28; shift += 7) {
      const std::uint32_t next = byte();
      out |= (next & 127) << shift;
      if (next < 128) return out;
    }
    bad = true;
    return 0;
  }
  FindTime later(FindTime at) {
    const std::uint32_t step = number();
    if (step > static_cast<std::uint32_t>(kLongestFind - at)) bad = true;
    return bad ? at : at + static_cast<FindTime>(step);
  }
  std::vector<FindNote> notes() {
    const std::uint32_t count = number();
    std::vector<FindNote> out;
    if (count > bytes.size()) bad = true;
    if (bad) return out;
    out.reserve(count);
    FindTime at = 0;
    for (std::uint32_t i = 0; i < count && !bad; ++i) {
      at = later(at);
      out.push_back({at, static_cast<std::uint8_t>(byte() & 127)});
    }
    return out;
  }
};

}  // namespace

std::string packed_lines(const FindPrint& print) {
  std::string out;
  put(out, print.melody);
  put(out, print.top);
  put(out, static_cast<std::uint32_t>(print.chords.size()));
  FindTime at = 0;
  for (const FindChord& chord : print.chords) {
    put(out, static_cast<std::uint32_t>(chord.at - at));
    put(out, static_cast<std::uint32_t>(chord.length));
    out += static_cast<char>(chord.root);
    out += static_cast<char>(chord.tones.bits() & 0xFF);
    out += static_cast<char>(chord.tones.bits() >> 8);
    at = chord.at;
  }
  return out;
}

std::string packed_notes(std::span<const FindNote> notes) {
  std::string out;
  put(out, notes);
  return out;
}

bool unpack_lines(std::string_view bytes, FindPrint& print) {
  Reader in{bytes};
  print.melody = in.notes();
  print.top = in.notes();
  const std::uint32_t count = in.number();
  if (in.bad || count > in.bytes.size()) return false;
  print.chords.clear();
  print.chords.reserve(count);
  FindTime at = 0;
  for (std::uint32_t i = 0; i < count && !in.bad; ++i) {
    at = in.later(at);
    const FindTime length = in.later(0);
    const auto root = static_cast<std::uint8_t>(in.byte() % 12);
    const std::uint32_t low = in.byte();
    print.chords.push_back({at, length, root, harmony::PitchClassSet(low | in.byte() << 8)});
  }
  return !in.bad;
}

std::optional<std::vector<FindNote>> unpack_notes(std::string_view bytes) {
  Reader in{bytes};
  auto out = in.notes();
  if (in.bad) return std::nullopt;
  return out;
}

// Only how often each key is struck, so that a time that is rounded another way makes no difference.
std::int64_t content_of(std::span<const FindNote> notes) {
  std::array<std::uint32_t, 128> struck{};
  for (const FindNote& note : notes) ++struck[note.key & 127];
  std::uint64_t hash = 1469598103934665603u;  // FNV-1a
  for (const std::uint32_t count : struck)
    for (int shift = 0; shift < 32; shift += 8) hash = (hash ^ (count >> shift & 0xFF)) * 1099511628211u;
  return static_cast<std::int64_t>(hash);
}

bool same_content(std::span<const FindNote> a, std::span<const FindNote> b) {
  if (a.size() != b.size()) return false;
  if (a.empty()) return true;
  const auto by_key = [](std::span<const FindNote> notes) {
    std::vector<FindNote> out(notes.begin(), notes.end());
    std::stable_sort(out.begin(), out.end(),
                     [](const FindNote& x, const FindNote& y) { return x.key < y.key; });
    return out;
  };
  const FindTime later = b.front().at - a.front().at;
  const auto x = by_key(a), y = by_key(b);
  for (std::size_t i = 0; i < x.size(); ++i)
    if (x[i].key != y[i].key || std::abs(y[i].at - x[i].at - later) > kSameTime) return false;
  return true;
}

std::vector<FindNote> highest_line(std::span<const FindNote> notes) {
  std::vector<FindNote> out;
  for (const FindNote& note : notes) {
    if (!out.empty() && note.at - out.back().at < kStruckTogether)
      out.back().key = std::max(out.back().key, note.key);
    else
      out.push_back(note);
  }
  return out;
}

FindPrint find_print(Micros begin, std::span<const PlayedNote> notes, std::span<const HeardNote> melody,
                     std::span<const KeptChord> chords, Micros end) {
  FindPrint out;
  const auto add = [&](std::vector<FindNote>& to, Micros at, Pitch pitch) {
    if (const auto time = find_time(begin, at))
      to.push_back({*time, static_cast<std::uint8_t>(pitch.value())});
  };
  for (const PlayedNote& note : notes) add(out.notes, note.at, note.pitch);
  for (const HeardNote& note : melody) add(out.melody, note.at, note.pitch);
  std::sort(out.notes.begin(), out.notes.end(), earlier);
  std::sort(out.melody.begin(), out.melody.end(), earlier);
  out.top = highest_line(out.notes);
  for (std::size_t i = 0; i < chords.size(); ++i) {
    const auto from = find_time(begin, chords[i].at),
               to = find_time(begin, i + 1 < chords.size() ? chords[i + 1].at : end);
    const auto parsed = harmony::parse_harte(chords[i].harte);
    if (!from || !to || *to <= *from || !parsed) continue;
    FindChord chord{*from, *to - *from, static_cast<std::uint8_t>(parsed->chord.root.value()),
                    harmony::row(parsed->chord.quality).tones};
    if (!out.chords.empty() && out.chords.back().root == chord.root && out.chords.back().tones == chord.tones)
      out.chords.back().length = chord.at + chord.length - out.chords.back().at;
    else
      out.chords.push_back(chord);
  }
  return out;
}

}  // namespace undersong::takes
