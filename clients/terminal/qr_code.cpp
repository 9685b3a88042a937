#include "clients/terminal/qr_code.h"

namespace undersong::terminal {

std::string draw_qr_code(const std::vector<std::string>& rows) {
  const std::size_t size = rows.size() + 2 * kQrMargin;
  const auto dark = [&](std::size_t x, std::size_t y) {
    if (x < kQrMargin || y < kQrMargin || y - kQrMargin >= rows.size()) return false;
    const std::string& row = rows[y - kQrMargin];
    return x - kQrMargin < row.size() && row[x - kQrMargin] == '1';
  };
  std::string out;
  for (std::size_t y = 0; y < size; y += 2) {
    // 16 and 231 of the 256 colours are black and white in every theme.
    out += "\x1b[38;5;16;48;5;231m";
    for (std::size_t x = 0; x < size; ++x) {
      const bool upper = dark(x, y), lower = dark(x, y + 1);
      out += upper ? lower ? "█" : "▀" : lower ? "▄" : " ";
    }
    out += "\x1b[0m\n";
  }
  return out;
}

}  // namespace undersong::terminal
