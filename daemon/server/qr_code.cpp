#include "daemon/server/qr_code.h"

#include <qrencode.h>

#include <memory>

namespace undersong::server {

Result<std::vector<std::string>> qr_rows(const std::string& text) {
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeString8bit(text.c_str(), 0, QR_ECLEVEL_M), QRcode_free);
  if (!code) return invalid_input("No QR code can hold a text of " + std::to_string(text.size()) + " bytes.");
  const auto width = static_cast<std::size_t>(code->width);
  std::vector<std::string> rows(width, std::string(width, '0'));
  for (std::size_t y = 0; y < width; ++y)
    for (std::size_t x = 0; x < width; ++x)
      if ((code->data[y * width + x] & 1) != 0) rows[y][x] = '1';
  return rows;
}

}  // namespace undersong::server
