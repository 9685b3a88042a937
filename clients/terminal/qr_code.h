// draw_qr_code: a QR code as text for a terminal. One line holds two rows of the code, in half blocks.
//
// The colours are set, dark on light, because cameras do not read a code in a dark theme's colours.
//
// Units: `rows` as in protocol::PairingCode; the margin is kQrMargin modules on each side.
// Threads: pure.
// Errors: none.
#pragma once

#include <string>
#include <vector>

namespace undersong::terminal {

inline constexpr std::size_t kQrMargin = 4;

std::string draw_qr_code(const std::vector<std::string>& rows);

}  // namespace undersong::terminal
