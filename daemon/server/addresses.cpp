#include "daemon/server/addresses.h"

#include <ifaddrs.h>
#include <net/if.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/ip/address.hpp>
#include <cstring>
#include <string_view>

namespace undersong::server {
namespace {

namespace ip = boost::asio::ip;

bool is_virtual(std::string_view interface) {
  constexpr std::array<std::string_view, 12> kBeginnings{"docker", "br-", "veth", "virbr", "vmnet", "vboxnet",
                                                         "tun",    "tap", "wg",   "lxc",   "cni",   "zt"};
  return std::any_of(kBeginnings.begin(), kBeginnings.end(),
                     [&](std::string_view beginning) { return interface.starts_with(beginning); });
}

bool is_private(const ip::address_v4& address) {
  const auto bytes = address.to_bytes();
  return bytes[0] == 10 || (bytes[0] == 172 && (bytes[1] & 0xf0) == 16) ||
         (bytes[0] == 192 && bytes[1] == 168);
}

// The smaller, the likelier.
int place_of(const InterfaceAddress& each) {
  boost::system::error_code failed;
  const auto address = ip::make_address(each.address, failed);
  const int kind = address.is_v4() ? is_private(address.to_v4()) ? 0 : 1 : 2;
  return kind + (is_virtual(each.interface) ? 3 : 0);
}

}  // namespace

std::vector<InterfaceAddress> interface_addresses() {
  std::vector<InterfaceAddress> out;
  ifaddrs* all = nullptr;
  if (::getifaddrs(&all) != 0) return out;
  for (const ifaddrs* each = all; each != nullptr; each = each->ifa_next) {
    if (each->ifa_addr == nullptr || (each->ifa_flags & IFF_UP) == 0 || (each->ifa_flags & IFF_LOOPBACK) != 0)
      continue;
    ip::address address;
    if (each->ifa_addr->sa_family == AF_INET) {
      sockaddr_in v4{};
      std::memcpy(&v4, each->ifa_addr, sizeof v4);
      address = ip::address_v4(ntohl(v4.sin_addr.s_addr));
      if ((address.to_v4().to_uint() >> 16) == 0xa9fe) continue;  // 169.254/16: link-local
    } else if (each->ifa_addr->sa_family == AF_INET6) {
      sockaddr_in6 v6{};
      std::memcpy(&v6, each->ifa_addr, sizeof v6);
      ip::address_v6::bytes_type bytes;
      std::memcpy(bytes.data(), v6.sin6_addr.s6_addr, bytes.size());
      address = ip::address_v6(bytes);
      if (address.to_v6().is_link_local()) continue;
    } else {
      continue;
    }
    if (!address.is_loopback()) out.push_back({each->ifa_name, address.to_string()});
  }
  ::freeifaddrs(all);
  return out;
}

std::vector<std::string> best_first(const std::vector<InterfaceAddress>& all) {
  auto sorted = all;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return place_of(a) < place_of(b); });
  std::vector<std::string> out;
  for (auto& each : sorted)
    if (std::find(out.begin(), out.end(), each.address) == out.end()) out.push_back(std::move(each.address));
  return out;
}

std::vector<std::string> machine_addresses() {
  return best_first(interface_addresses());
}

std::string machine_name() {
  std::array<char, 256> name{};
  return ::gethostname(name.data(), name.size() - 1) == 0 ? name.data() : "";
}

std::string in_url(const std::string& address) {
  return address.find(':') == std::string::npos ? address : "[" + address + "]";
}

}  // namespace undersong::server
