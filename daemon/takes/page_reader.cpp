#include "daemon/takes/page_reader.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <optional>
#include <utility>

namespace undersong::takes {
namespace {

constexpr std::size_t kSize = PageReader::kPageSize;
constexpr std::uint64_t kLongestRow = 16u << 20;  // longer than any that is written
constexpr unsigned char kLeafOfTable = 0x0D;
constexpr std::size_t kFileHeader = 100;
constexpr std::int64_t kLogHeader = 32, kFrameHeader = 24;

std::uint32_t page_number(const unsigned char* at) {
  return std::uint32_t{at[0]} << 24 | std::uint32_t{at[1]} << 16 | std::uint32_t{at[2]} << 8 | at[3];
}
std::uint32_t big16(const unsigned char* at) {
  return std::uint32_t{at[0]} << 8 | at[1];
}

// Moves `at` behind the number; nullopt if it does not end before `end`.
std::optional<std::uint64_t> varint(const unsigned char* bytes, std::size_t& at, std::size_t end) {
  std::uint64_t value = 0;
  for (int i = 0; i < 9; ++i) {
    if (at >= end) return std::nullopt;
    const unsigned char byte = bytes[at++];
    if (i == 8) return value << 8 | byte;
    value = value << 7 | (byte & 0x7F);
    if ((byte & 0x80) == 0) return value;
  }
  return std::nullopt;
}

std::optional<std::vector<RawValue>> record(const std::string& payload) {
  const auto* bytes = reinterpret_cast<const unsigned char*>(payload.data());
  std::size_t at = 0;
  const auto header = varint(bytes, at, payload.size());
  if (!header || *header > payload.size()) return std::nullopt;
  std::size_t body = *header;
  std::vector<RawValue> out;
  while (at < *header) {
    const auto type = varint(bytes, at, *header);
    if (!type || *type == 10 || *type == 11 || out.size() == 32) return std::nullopt;
    constexpr std::array<std::size_t, 10> kSizes{0, 1, 2, 3, 4, 6, 8, 8, 0, 0};
    const std::uint64_t size = *type < kSizes.size() ? kSizes[*type] : (*type - 12) / 2;
    if (size > payload.size() - body) return std::nullopt;
    if (*type == 0 || *type == 7) {
      out.emplace_back();
    } else if (*type == 8 || *type == 9) {
      out.emplace_back(static_cast<std::int64_t>(*type - 8));
    } else if (*type < 7) {
      std::uint64_t value = (bytes[body] & 0x80) != 0 ? ~std::uint64_t{0} : 0;
      for (std::size_t i = 0; i < size; ++i) value = value << 8 | bytes[body + i];
      out.emplace_back(static_cast<std::int64_t>(value));
    } else if (*type % 2 == 1) {
      out.emplace_back(payload.substr(body, size));
    } else {
      out.emplace_back(RawBlob{payload.substr(body, size)});
    }
    body += size;
  }
  if (body != payload.size()) return std::nullopt;
  return out;
}

}  // namespace

Result<PageReader> PageReader::open(const std::filesystem::path& path) {
  PageReader out;
  out.file_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (out.file_ < 0) return unavailable(path.string() + ": can't be read: " + std::strerror(errno) + ".");
  struct stat about {};
  if (::fstat(out.file_, &about) != 0 || !S_ISREG(about.st_mode))
    return unavailable(path.string() + ": is not a file that can be read.");
  out.count_ = static_cast<std::uint32_t>(
      std::min<std::int64_t>(about.st_size / static_cast<std::int64_t>(kSize), INT32_MAX));
  if (const int log = ::open((path.string() + "-wal").c_str(), O_RDONLY | O_CLOEXEC); log >= 0)
    out.read_log(log);
  return out;
}

PageReader::PageReader(PageReader&& other) noexcept
    : file_(std::exchange(other.file_, -1)),
      log_(std::exchange(other.log_, -1)),
      count_(other.count_),
      in_log_(std::move(other.in_log_)) {}

PageReader::~PageReader() {
  if (file_ >= 0) ::close(file_);
  if (log_ >= 0) ::close(log_);
}

// Frames of one generation have the same salts; those of an earlier one may follow them. Only what was
// committed counts, because numbers of lines that were not committed are given again.
void PageReader::read_log(int log) {
  log_ = log;
  constexpr std::int64_t kFrame = kFrameHeader + static_cast<std::int64_t>(kSize);
  std::array<unsigned char, kFrameHeader> head{};
  std::array<unsigned char, 8> salts{};
  std::unordered_map<std::uint32_t, std::int64_t> open;  // of the transaction being read
  for (std::int64_t at = kLogHeader; ::pread(log_, head.data(), head.size(), at) == kFrameHeader;
       at += kFrame) {
    if (at == kLogHeader) std::copy_n(head.begin() + 8, 8, salts.begin());
    if (!std::equal(salts.begin(), salts.end(), head.begin() + 8)) continue;
    const std::uint32_t page = page_number(head.data()), pages_after = page_number(head.data() + 4);
    if (page == 0 || page > INT32_MAX) continue;
    open[page] = at + kFrameHeader;
    if (pages_after == 0) continue;  // not the end of a transaction
    for (const auto& [number, where] : open) {
      in_log_[number] = where;
      count_ = std::max(count_, std::min(number, pages_after));
    }
    open.clear();
  }
}

bool PageReader::read(std::uint32_t page, unsigned char* to) const {
  if (page == 0) return false;
  const auto logged = in_log_.find(page);
  const bool in_log = logged != in_log_.end();
  const std::int64_t at =
      in_log ? logged->second : (std::int64_t{page} - 1) * static_cast<std::int64_t>(kSize);
  return ::pread(in_log ? log_ : file_, to, kSize, at) == static_cast<ssize_t>(kSize);
}

// The `size` bytes of a row that begin at `at` of the page, some of which may be on other pages.
bool PageReader::payload(const unsigned char* page, std::size_t at, std::uint64_t size,
                         std::string& to) const {
  constexpr std::uint64_t kMostHere = kSize - 35, kFewestHere = (kSize - 12) * 32 / 255 - 23;
  std::uint64_t here = size;
  if (size > kMostHere) {
    here = kFewestHere + (size - kFewestHere) % (kSize - 4);
    if (here > kMostHere) here = kFewestHere;
  }
  if (at + here + (here < size ? 4 : 0) > kSize) return false;
  to.assign(reinterpret_cast<const char*>(page) + at, here);
  if (here == size) return true;
  std::uint32_t next = page_number(page + at + here);
  std::array<unsigned char, kSize> more{};
  while (to.size() < size) {
    if (next > count_ || !read(next, more.data())) return false;
    to.append(reinterpret_cast<const char*>(more.data()) + 4,
              std::min<std::uint64_t>(kSize - 4, size - to.size()));
    next = page_number(more.data());
  }
  return true;
}

std::vector<RawRow> PageReader::rows(std::uint32_t page) const {
  std::array<unsigned char, kSize> bytes{};
  if (!read(page, bytes.data())) return {};
  const std::size_t head = page == 1 ? kFileHeader : 0;
  if (bytes[head] != kLeafOfTable) return {};
  const std::size_t cells = big16(bytes.data() + head + 3);
  std::vector<RawRow> out;
  std::string payload_bytes;
  for (std::size_t i = 0; i < cells; ++i) {
    const std::size_t pointer = head + 8 + 2 * i;
    if (pointer + 2 > kSize) break;
    std::size_t at = big16(bytes.data() + pointer);
    if (at < head + 8) continue;
    const auto size = varint(bytes.data(), at, kSize);
    const auto rowid = size ? varint(bytes.data(), at, kSize) : std::nullopt;
    if (!rowid || *size > kLongestRow || !payload(bytes.data(), at, *size, payload_bytes)) continue;
    if (auto values = record(payload_bytes))
      out.push_back({static_cast<std::int64_t>(*rowid), std::move(*values)});
  }
  return out;
}

}  // namespace undersong::takes
