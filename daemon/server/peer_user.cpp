#include "daemon/server/peer_user.h"

#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <charconv>
#include <cstring>
#include <fstream>
#include <iterator>
#include <string>

namespace undersong::server {
namespace {

namespace asio = boost::asio;
using Endpoint = asio::ip::tcp::endpoint;

// The bytes of an address as the kernel prints them: words of 32 bits, each as the machine reads it.
template <class Bytes>
std::string words(const Bytes& bytes) {
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); i += 4) {
    std::uint32_t word = 0;
    std::memcpy(&word, bytes.data() + i, 4);
    out += fmt::format("{:08X}", word);
  }
  return out;
}

std::string in_table(const Endpoint& end, bool six) {
  const auto address = end.address();
  std::string text;
  if (address.is_v6())
    text = words(address.to_v6().to_bytes());
  else if (six)
    text = words(asio::ip::make_address_v6(asio::ip::v4_mapped, address.to_v4()).to_bytes());
  else
    text = words(address.to_v4().to_bytes());
  return fmt::format("{}:{:04X}", text, end.port());
}

std::optional<std::uint64_t> number(std::string_view text) {
  std::uint64_t out = 0;
  const auto [end, failed] = std::from_chars(text.data(), text.data() + text.size(), out);
  if (failed != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return out;
}

std::optional<uid_t> owner_in_line(std::string_view line, const std::string& theirs,
                                   const std::string& ours) {
  std::array<std::string_view, 10> fields;
  for (std::string_view& field : fields) {
    const auto begin = line.find_first_not_of(' ');
    if (begin == std::string_view::npos) return std::nullopt;
    const auto end = std::min(line.find(' ', begin), line.size());
    field = line.substr(begin, end - begin);
    line.remove_prefix(end);
  }
  if (fields[1] != theirs || fields[2] != ours) return std::nullopt;
  const auto user = number(fields[7]), inode = number(fields[9]);
  if (!user || !inode || *inode == 0) return std::nullopt;
  return static_cast<uid_t>(*user);
}

}  // namespace

std::optional<uid_t> owner_in(std::string_view table, const Endpoint& theirs, const Endpoint& ours) {
  for (const bool six : {false, true}) {
    const std::string their = in_table(theirs, six), our = in_table(ours, six);
    for (std::string_view left = table; !left.empty();) {
      const auto end = std::min(left.find('\n'), left.size());
      if (const auto owner = owner_in_line(left.substr(0, end), their, our)) return owner;
      left.remove_prefix(std::min(end + 1, left.size()));
    }
  }
  return std::nullopt;
}

Peer user_of_peer(const Endpoint& theirs, const Endpoint& ours) {
  bool shown = false;
  for (const char* file : {"/proc/net/tcp", "/proc/net/tcp6"}) {
    std::ifstream in(file);
    if (!in) continue;
    shown = true;
    const std::string table(std::istreambuf_iterator<char>(in), {});
    if (const auto owner = owner_in(table, theirs, ours))
      return *owner == ::geteuid() || *owner == 0 ? Peer::kThisUser : Peer::kOtherUser;
  }
  return shown ? Peer::kOtherUser : Peer::kUnknown;
}

}  // namespace undersong::server
