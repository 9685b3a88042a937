// draw_loop: the chords of a loop as blocks of characters, for a terminal. The higher a block, the tenser the
// chord; the lighter, the brighter it sounds. The words under it say the same, so colour is never the only
// sign.
//
//   fmt::print("{}", draw_loop(blocks, {.width = 80, .colours = true}));
//
// Units: widths in columns; `dark_bright` and `resolved_tense` as in protocol::Coloured.
// Threads: pure.
// Errors: none. A loop that is wider than the terminal goes on in another row of blocks.
#pragma once

#include <string>
#include <vector>

namespace undersong::terminal {

struct LoopBlock {
  std::string name;                 // the symbol of the chord
  double dark_bright = 0;           // -1 dark .. 1 bright
  double resolved_tense = 0;        // 0 resolved .. 1 tense
  std::vector<std::string> colour;  // a word for each of the two
};

struct PictureStyle {
  std::size_t width = 80;
  bool colours = false;  // escape sequences with colours of the usual 256
  bool blocks = true;    // block characters of Unicode; otherwise ASCII
};

std::string draw_loop(const std::vector<LoopBlock>& chords, const PictureStyle& style);

}  // namespace undersong::terminal
