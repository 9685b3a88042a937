#include "daemon/takes/file_header.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <string_view>

#include "daemon/takes/database.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kHeader = 100, kPage = 4096;
using Header = std::array<unsigned char, kHeader>;

std::uint32_t header_number(const Header& header, std::size_t at) {
  return std::uint32_t{header[at]} << 24 | std::uint32_t{header[at + 1]} << 16 |
         std::uint32_t{header[at + 2]} << 8 | header[at + 3];
}
void put32(Header& header, std::size_t at, std::uint32_t value) {
  for (std::size_t i = 0; i < 4; ++i) header[at + i] = static_cast<unsigned char>(value >> (24 - 8 * i));
}

// True if the beginning of the file holds the text of a table that only a store has.
bool has_our_tables(int file) {
  constexpr std::string_view kTables[] = {"CREATE TABLE log(number INTEGER PRIMARY KEY, take INTEGER",
                                          "CREATE TABLE takes(take INTEGER PRIMARY KEY, begin_utc_ms"};
  std::string text(256 * kPage, '\0');
  const ssize_t size = ::pread(file, text.data(), text.size(), 0);
  if (size <= 0) return false;
  text.resize(static_cast<std::size_t>(size));
  return std::any_of(std::begin(kTables), std::end(kTables),
                     [&](std::string_view table) { return text.find(table) != std::string::npos; });
}

// What the header must say. What differs from store to store stays.
Header as_it_must_be(Header header, std::uint32_t pages, bool logged) {
  std::memcpy(header.data(), "SQLite format 3", 16);
  header[16] = kPage >> 8, header[17] = 0;
  // 2: with a write-ahead log; 1: without, as in backups.
  if (header[18] != header[19] || header[18] < 1 || header[18] > 2) header[18] = header[19] = 2;
  header[20] = 0, header[21] = 64, header[22] = 32, header[23] = 32;
  // The size counts only if the file was changed by a program that keeps it.
  if (const std::uint32_t size = header_number(header, 28);
      !logged && header_number(header, 24) == header_number(header, 92) &&
      (size > pages || std::popcount(size ^ pages) == 1))
    put32(header, 28, pages);
  put32(header, 44, 4);  // the format of the schema
  put32(header, 52, 0);
  put32(header, 56, 1);  // UTF-8
  put32(header, 64, 0);
  std::fill(header.begin() + 72, header.begin() + 92, static_cast<unsigned char>(0));
  return header;
}

bool keep_old(const std::filesystem::path& path, const Header& header) {
  std::error_code ignored;
  std::filesystem::path beside;
  for (int n = 1; n < 10'000; ++n) {
    beside = path.string() + ".header-" + std::to_string(n);
    if (!std::filesystem::exists(beside, ignored)) break;
  }
  std::ofstream out(beside, std::ios::binary);
  out.write(reinterpret_cast<const char*>(header.data()), kHeader);
  return bool(out.flush());
}

}  // namespace

std::string mend_header(const std::filesystem::path& path) {
  const int file = ::open(path.c_str(), O_RDWR | O_CLOEXEC);
  if (file < 0) return {};
  std::string said;
  Header header{};
  struct stat about {};
  if (::fstat(file, &about) == 0 && S_ISREG(about.st_mode) && about.st_size >= std::int64_t{kPage} &&
      ::pread(file, header.data(), kHeader, 0) == ssize_t{kHeader}) {
    struct stat log {};
    const bool logged = ::stat((path.string() + "-wal").c_str(), &log) == 0 && log.st_size > 0;
    const Header right =
        as_it_must_be(header, static_cast<std::uint32_t>(about.st_size / std::int64_t{kPage}), logged);
    if (right != header &&
        (header_number(header, 68) == std::uint32_t{kApplicationId} || has_our_tables(file)) &&
        keep_old(path, header) && ::pwrite(file, right.data(), kHeader, 0) == ssize_t{kHeader} &&
        ::fsync(file) == 0)
      said =
          "The first bytes of the file of takes " + path.string() + " were damaged and have been put right.";
  }
  ::close(file);
  return said;
}

}  // namespace undersong::takes
