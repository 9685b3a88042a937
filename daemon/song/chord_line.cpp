#include "daemon/song/chord_line.h"

#include <fmt/format.h>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::song {
namespace {

using Words = std::vector<std::string_view>;

// The words of each bar. A "|" at the beginning or end is only a frame.
std::vector<Words> bars_of(std::string_view line) {
  std::vector<Words> out(1);
  for (std::size_t i = 0; i < line.size();) {
    if (line[i] == '|') {
      out.emplace_back();
      ++i;
    } else if (line[i] == ' ' || line[i] == '\t' || line[i] == '\n' || line[i] == '\r') {
      ++i;
    } else {
      std::size_t to = i;
      while (to < line.size() && std::string_view("| \t\n\r").find(line[to]) == std::string_view::npos) ++to;
      out.back().push_back(line.substr(i, to - i));
      i = to;
    }
  }
  if (out.front().empty()) out.erase(out.begin());
  if (!out.empty() && out.back().empty()) out.pop_back();
  return out;
}

bool goes_on(std::string_view word) {
  return word == "." || word == "/" || word == "%";
}

}  // namespace

Result<void> check_chord_line(std::string_view line) {
  const auto bars = bars_of(line);
  if (bars.empty()) return invalid_input("has no chords");
  if (bars.size() > kMostChordBars)
    return invalid_input(fmt::format("has {} bars; {} are the most", bars.size(), kMostChordBars));
  for (std::size_t bar = 0; bar < bars.size(); ++bar) {
    if (bars[bar].empty()) return invalid_input(fmt::format("has nothing in bar {}", bar + 1));
    for (const std::string_view word : bars[bar]) {
      if (word == "%" && bars[bar].size() > 1)
        return invalid_input(
            fmt::format("has % beside other signs in bar {}; it stands for a whole bar", bar + 1));
      if (!goes_on(word) && !harmony::parse_chord(word))
        return invalid_input(fmt::format("holds \"{}\" in bar {}, which is not a chord", word, bar + 1));
    }
  }
  if (goes_on(bars.front().front()))
    return invalid_input(
        fmt::format("begins with {}, but there is no chord before it to go on", bars.front().front()));
  return {};
}

Result<ChordLine> read_chord_line(std::string_view line, int meter) {
  if (const auto good = check_chord_line(line); !good) return good.error();
  ChordLine out;
  const Ticks whole = meter * kBeat;
  const auto bars = bars_of(line);
  for (std::size_t bar = 0; bar < bars.size(); ++bar) {
    const auto count = static_cast<std::int64_t>(bars[bar].size());
    const bool even = whole.count() % count == 0 && whole.count() / count % 240 == 0;
    if (!even && count > meter)
      return invalid_input(
          fmt::format("its chords have {} signs in bar {}, which has {} beats", count, bar + 1, meter));
    const Ticks step = even ? Ticks(whole.count() / count) : kBeat;
    for (std::int64_t i = 0; i < count; ++i) {
      const std::string_view word = bars[bar][static_cast<std::size_t>(i)];
      if (goes_on(word)) continue;
      const auto parsed = harmony::parse_chord(word);
      out.chords.push_back({parsed->chord, parsed->root, out.length + i * step, {}});
    }
    out.length += whole;
  }
  for (std::size_t i = 0; i < out.chords.size(); ++i)
    out.chords[i].length = (i + 1 < out.chords.size() ? out.chords[i + 1].at : out.length) - out.chords[i].at;
  return out;
}

}  // namespace undersong::song
