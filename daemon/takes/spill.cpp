#include "daemon/takes/spill.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cerrno>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <random>
#include <sstream>

#include "daemon/base/private_folder.h"

namespace undersong::takes {
namespace {

constexpr std::string_view kFirstLine = "undersong-waiting 1";
constexpr std::string_view kNamed = ".waiting-";
constexpr std::size_t kMostLine = 8u << 20;  // longer than any entry

std::string escaped(std::string_view data) {
  static constexpr char kDigits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : data) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte > 0x20 && byte < 0x7F && c != '%')
      out += c;
    else
      out.append({'%', kDigits[byte >> 4], kDigits[byte & 15]});
  }
  return out;
}

std::optional<std::string> unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      out += text[i];
      continue;
    }
    unsigned byte = 0;
    if (i + 2 >= text.size()) return std::nullopt;
    const auto [end, wrong] = std::from_chars(text.data() + i + 1, text.data() + i + 3, byte, 16);
    if (wrong != std::errc() || end != text.data() + i + 3) return std::nullopt;
    out += static_cast<char>(byte);
    i += 2;
  }
  return out;
}

template <class T>
std::optional<T> number_from(std::string_view text) {
  T value{};
  const auto [end, wrong] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (wrong != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

std::string checksum(std::string_view text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  char digits[9];
  std::snprintf(digits, sizeof digits, "%08x", static_cast<unsigned>(crc.checksum()));
  return digits;
}

std::string with_checksum(const std::string& text) {
  return checksum(text) + ' ' + text + '\n';
}

// The text after a correct checksum; nullopt if the checksum is wrong.
std::optional<std::string_view> checked(std::string_view line) {
  if (line.size() < 10 || line[8] != ' ' || checksum(line.substr(9)) != line.substr(0, 8))
    return std::nullopt;
  return line.substr(9);
}

// Words between single spaces; an empty word stands for empty data.
std::vector<std::string_view> words(std::string_view text) {
  std::vector<std::string_view> out;
  for (std::size_t from = 0;;) {
    const std::size_t blank = text.find(' ', from);
    out.push_back(text.substr(from, blank == std::string_view::npos ? blank : blank - from));
    if (blank == std::string_view::npos) return out;
    from = blank + 1;
  }
}

std::optional<Entry> entry_of(std::string_view kind, std::string_view at, std::string_view data) {
  const auto which = number_from<int>(kind);
  const auto when = number_from<std::int64_t>(at);
  auto bytes = unescaped(data);
  if (!which || !when || !bytes || *which < 1 || *which > static_cast<int>(kLastKind)) return std::nullopt;
  Entry entry{Micros(*when), static_cast<LineKind>(*which), std::move(*bytes), {}};
  entry.facts = facts_of(entry.kind, entry.data);
  return entry;
}

bool write_all(int file, std::string_view text) {
  while (!text.empty()) {
    const ssize_t done = ::write(file, text.data(), text.size());
    if (done < 0 && errno == EINTR) continue;
    if (done <= 0) return false;
    text.remove_prefix(static_cast<std::size_t>(done));
  }
  return true;
}

bool write_lines(int file, const Spill& spill) {
  std::string text = std::string(kFirstLine) + '\n';
  text += with_checksum("store " + (spill.store.empty() ? "-" : escaped(spill.store)) + " take " +
                        std::to_string(spill.take) + " token " + escaped(spill.token) + " path " +
                        escaped(spill.path.string()));
  if (spill.take != 0 && spill.begin)
    text +=
        with_checksum("begin " + std::to_string(spill.begin->at.count()) + ' ' + escaped(spill.begin->data));
  for (const Entry& entry : spill.entries) {
    text += with_checksum(std::to_string(static_cast<int>(entry.kind)) + ' ' +
                          std::to_string(entry.at.count()) + ' ' + escaped(entry.data));
    if (text.size() < 1u << 20) continue;
    if (!write_all(file, text)) return false;
    text.clear();
  }
  text += with_checksum("end " + std::to_string(spill.entries.size()));
  return write_all(file, text) && ::fsync(file) == 0;
}

std::string random_token() {
  std::random_device random;
  char text[17];
  std::snprintf(text, sizeof text, "%08x%08x", static_cast<unsigned>(random()),
                static_cast<unsigned>(random()));
  return text;
}

}  // namespace

Result<std::filesystem::path> write_spill(const Spill& given,
                                          const std::vector<std::filesystem::path>& folders) {
  Spill spill = given;
  if (spill.token.empty()) spill.token = random_token();
  std::string why = "there is no folder for it";
  for (const auto& folder : folders) {
    if (auto made = make_private_folder(folder); !made) {
      why = made.error().message;
      if (why.ends_with('.')) why.pop_back();
      continue;
    }
    const auto path = folder / (spill.path.filename().string() + std::string(kNamed) + spill.token);
    const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    if (file < 0) {
      why = path.string() + ": " + std::strerror(errno);
      continue;
    }
    const bool written = write_lines(file, spill);
    const int reason = errno;
    ::close(file);
    if (!written) {
      why = path.string() + ": " + std::strerror(reason);
      ::unlink(path.c_str());
      continue;
    }
    if (const int directory = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC); directory >= 0) {
      ::fsync(directory);
      ::close(directory);
    }
    return path;
  }
  return unavailable(why + ".");
}

std::vector<std::filesystem::path> find_spills(const std::filesystem::path& store,
                                               const std::vector<std::filesystem::path>& folders) {
  const std::string begins = store.filename().string() + std::string(kNamed);
  std::vector<std::filesystem::path> out;
  for (const auto& folder : folders) {
    std::error_code failed;
    for (std::filesystem::directory_iterator at(folder, failed), end; !failed && at != end;
         at.increment(failed)) {
      const std::string name = at->path().filename().string();
      if (!name.starts_with(begins) || name.find('.', begins.size()) != std::string::npos) continue;
      struct stat there {};
      // In a folder that all users share, ignore other users' files and links.
      if (::lstat(at->path().c_str(), &there) != 0 || !S_ISREG(there.st_mode) || there.st_uid != ::geteuid())
        continue;
      if (std::find(out.begin(), out.end(), at->path()) == out.end()) out.push_back(at->path());
    }
  }
  std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) {  // oldest first
    std::error_code ignored;
    return std::filesystem::last_write_time(a, ignored) < std::filesystem::last_write_time(b, ignored);
  });
  return out;
}

Result<Spill> read_spill(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::string line;
  const auto next = [&] { return bool(std::getline(in, line)) && line.size() < kMostLine; };
  const Error unknown =
      unavailable("The file " + file.string() +
                  " should hold lines that could not be written to the takes, but its beginning is damaged.");
  if (!next() || line != kFirstLine || !next()) return unknown;
  Spill spill;
  {
    const auto text = checked(line);
    if (!text) return unknown;
    const auto head = words(*text);
    if (head.size() != 8 || head[0] != "store" || head[2] != "take" || head[4] != "token" ||
        head[6] != "path")
      return unknown;
    const auto take = number_from<TakeId>(head[3]);
    const auto path = unescaped(head[7]);
    if (!take || !path) return unknown;
    if (head[1] != "-") spill.store = head[1];
    spill.take = *take;
    spill.token = head[5];
    spill.path = *path;
  }
  bool ended = false;
  while (!ended && next()) {
    const auto text = checked(line);
    const auto parts = text ? words(*text) : std::vector<std::string_view>();
    if (parts.size() == 2 && parts[0] == "end") {
      const auto count = number_from<std::size_t>(parts[1]);
      ended = true;
      // Count the lines that are missing.
      const std::size_t read = spill.entries.size() + spill.damaged;
      if (!count)
        ++spill.damaged;
      else if (*count > read)
        spill.damaged += *count - read;
    } else if (parts.size() == 3 && parts[0] == "begin") {
      spill.begin = entry_of("1", parts[1], parts[2]);
      if (!spill.begin) ++spill.damaged;
    } else if (auto entry = parts.size() == 3 ? entry_of(parts[0], parts[1], parts[2]) : std::nullopt) {
      spill.entries.push_back(std::move(*entry));
    } else {
      ++spill.damaged;
    }
  }
  if (!ended) ++spill.damaged;
  return spill;
}

std::filesystem::path set_aside(const std::filesystem::path& spill) {
  const std::filesystem::path aside = spill.string() + ".damaged";
  std::error_code failed;
  std::filesystem::rename(spill, aside, failed);
  return failed ? spill : aside;
}

}  // namespace undersong::takes
