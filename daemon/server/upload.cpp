#include "daemon/server/upload.h"

namespace undersong::server {

Result<bool> Upload::add(const Place& place, std::span<const std::uint8_t> piece) {
  if (place.size == 0) return invalid_input("The file is empty.");
  if (place.size > kMostBytes)
    return invalid_input("The file is larger than " + std::to_string(kMostBytes >> 20) + " MB.");
  if (place.offset == 0) {
    forget();
    file_ = place.file;
    size_ = place.size;
  }
  if (place.file != file_ || place.size != size_ || place.offset != bytes_.size()) {
    const std::string sentence = "params.offset is " + std::to_string(place.offset) + ", but of this file " +
                                 std::to_string(place.file == file_ ? bytes_.size() : 0) +
                                 " bytes have come; begin it again with offset 0.";
    forget();
    return invalid_input(sentence);
  }
  if (piece.empty() || piece.size() > size_ - bytes_.size()) {
    forget();
    return invalid_input(piece.empty() ? "params.base64 is empty." : "params.size is less than what came.");
  }
  if (*held_ + piece.size() > kMostBytesOfAll) {
    forget();
    return Error{ErrorCode::kExhausted, "Too many files are being sent; send this one again in a moment."};
  }
  bytes_.insert(bytes_.end(), piece.begin(), piece.end());
  *held_ += piece.size();
  return bytes_.size() == size_;
}

std::vector<std::uint8_t> Upload::take() {
  *held_ -= bytes_.size();
  file_.clear();
  size_ = 0;
  return std::exchange(bytes_, {});
}

void Upload::forget() {
  (void)take();
}

}  // namespace undersong::server
