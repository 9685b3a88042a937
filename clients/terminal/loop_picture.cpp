#include "clients/terminal/loop_picture.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "clients/terminal/format.h"

namespace undersong::terminal {
namespace {

constexpr int kRows = 5;             // the height of the tensest chord
constexpr std::size_t kColumn = 12;  // for one chord, with the gap after it
constexpr std::size_t kEdge = 11;    // for the words on the left

// From dark to bright: the colour, one of the 256 of terminals, and how full the characters are.
struct Shade {
  int colour;
  const char* block;
  char plain;
};
constexpr std::array kShades{Shade{24, "█", '#'}, Shade{67, "▓", '%'}, Shade{109, "▒", '='},
                             Shade{180, "░", '-'}, Shade{222, "░", '.'}};

// The two ranges in which nearly all chords lie: the daemon's words for colours say so as well.
constexpr double kDarkest = -0.5, kBrightest = 0.5;
constexpr double kMostResolved = 0.4, kTensest = 0.8;

double share(double value, double low, double high) {
  return (std::clamp(value, low, high) - low) / (high - low);
}

const Shade& shade(double dark_bright) {
  const double place = share(dark_bright, kDarkest, kBrightest) * (kShades.size() - 1);
  return kShades[static_cast<std::size_t>(std::lround(place))];
}

// Its height in rows: the most resolved chord still has one.
int height(const LoopBlock& chord) {
  return 1 +
         static_cast<int>(std::lround(share(chord.resolved_tense, kMostResolved, kTensest) * (kRows - 1)));
}

std::string row_of(const LoopBlock& chord, const PictureStyle& style) {
  const Shade& as = shade(chord.dark_bright);
  std::string out;
  for (std::size_t i = 0; i + 2 < kColumn; ++i)
    out += style.blocks ? std::string(as.block) : std::string(1, as.plain);
  if (style.colours) out = fmt::format("\x1b[38;5;{}m{}\x1b[0m", as.colour, out);
  return out + "  ";
}

}  // namespace

std::string draw_loop(const std::vector<LoopBlock>& chords, const PictureStyle& style) {
  const std::size_t fit = std::max<std::size_t>(1, style.width > kEdge ? (style.width - kEdge) / kColumn : 1);
  std::string out;
  const auto put = [&](std::string_view edge, const std::string& line) {
    std::string text = padded(std::string(edge), kEdge) + line;
    text.erase(text.find_last_not_of(' ') + 1);
    out += text + '\n';
  };
  for (std::size_t first = 0; first < chords.size(); first += fit) {
    const std::size_t end = std::min(chords.size(), first + fit);
    if (first > 0) out += '\n';
    int rows = 0;
    for (std::size_t i = first; i < end; ++i) rows = std::max(rows, height(chords[i]));
    for (int row = kRows; row >= 1; --row) {
      if (row > rows) continue;  // nothing is that tense
      std::string line;
      for (std::size_t i = first; i < end; ++i)
        line += row <= height(chords[i]) ? row_of(chords[i], style) : std::string(kColumn, ' ');
      put(row == kRows ? "  tense" : row == 1 ? "  at rest" : "", line);
    }
    for (const std::size_t word : {std::size_t{0}, std::size_t{1}, std::size_t{2}}) {
      std::string line;
      for (std::size_t i = first; i < end; ++i) {
        const auto& colour = chords[i].colour;
        line += padded(word == 0 ? chords[i].name : word <= colour.size() ? colour[word - 1] : "", kColumn);
      }
      put("", line);
    }
  }
  return out;
}

}  // namespace undersong::terminal
