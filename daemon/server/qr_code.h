// qr_rows: a text as a QR code.
//
//   for (const std::string& row : *qr_rows("http://192.168.1.20:8345/")) ...;
//
// Units: one text for each row, of as many characters as there are rows: '1' dark, '0' light. Whoever draws
// it leaves a margin of four light modules on each side.
// Threads: any.
// Errors: one sentence, for a text that no code can hold.
// Source: ISO/IEC 18004:2015, by libqrencode.
#pragma once

#include <string>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::server {

// With error correction of level M, which forgives 15 % of the code being unreadable.
Result<std::vector<std::string>> qr_rows(const std::string& text);

}  // namespace undersong::server
