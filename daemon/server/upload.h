// Upload: the file that a client is sending in pieces.
//
//   Upload upload(load);
//   auto done = upload.add({name, size, offset}, piece);
//   if (done && *done) use(upload.take());
//
// Only what has come is held in memory: at most kMostBytes of a client, and kMostBytesOfAll of all together.
//
// Units: bytes.
// Threads: the io thread.
// Errors: one sentence; what came before stays, except after a piece that is not the next one.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::server {

class Upload {
 public:
  static constexpr std::uint64_t kMostBytes = 16u << 20;
  static constexpr std::uint64_t kMostBytesOfAll = 64u << 20;
  // Of all clients; shared, because sessions end in any order.
  using Held = std::shared_ptr<std::uint64_t>;
  struct Place {
    std::string file;
    std::uint64_t size = 0, offset = 0;
  };

  explicit Upload(Held held) : held_(std::move(held)) {}
  ~Upload() { forget(); }
  Upload(const Upload&) = delete;
  Upload& operator=(const Upload&) = delete;

  // True when the file is complete.
  Result<bool> add(const Place& place, std::span<const std::uint8_t> piece);
  std::uint64_t received() const { return bytes_.size(); }
  // The file; then there is none.
  std::vector<std::uint8_t> take();
  void forget();

 private:
  const Held held_;
  std::string file_;
  std::uint64_t size_ = 0;
  std::vector<std::uint8_t> bytes_;
};

}  // namespace undersong::server
