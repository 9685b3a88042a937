#include "clients/terminal/page_address.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

#include <algorithm>
#include <memory>

namespace undersong::terminal {
namespace {

constexpr const char* kEverywhere4 = "//0.0.0.0:";
constexpr const char* kEverywhere6 = "//[::]:";

std::string with_host(const std::string& page, const std::string& everywhere, const std::string& host) {
  const auto at = page.find(everywhere);
  return at == std::string::npos ? page
                                 : page.substr(0, at + 2) + host + page.substr(at + everywhere.size() - 1);
}

}  // namespace

std::string page_here(const std::string& page) {
  return with_host(with_host(page, kEverywhere4, "127.0.0.1"), kEverywhere6, "[::1]");
}

std::vector<std::string> pages_elsewhere(const std::string& page) {
  std::vector<std::string> out;
  const bool four = page.find(kEverywhere4) != std::string::npos,
             six = page.find(kEverywhere6) != std::string::npos;
  if (!four && !six) {
    if (page_here(page) == page && page.find("//127.") == std::string::npos &&
        page.find("//localhost:") == std::string::npos && page.find("//[::1]:") == std::string::npos)
      out.push_back(page);
    return out;
  }
  ifaddrs* first = nullptr;
  if (::getifaddrs(&first) != 0) return out;
  const std::unique_ptr<ifaddrs, void (*)(ifaddrs*)> all(first, ::freeifaddrs);
  for (const ifaddrs* each = first; each != nullptr; each = each->ifa_next) {
    if (each->ifa_addr == nullptr || (each->ifa_flags & IFF_UP) == 0 || (each->ifa_flags & IFF_LOOPBACK) != 0)
      continue;
    char text[INET6_ADDRSTRLEN] = "";
    std::string host;
    if (each->ifa_addr->sa_family == AF_INET) {
      ::inet_ntop(AF_INET, &reinterpret_cast<const sockaddr_in*>(each->ifa_addr)->sin_addr, text,
                  sizeof text);
      host = text;
      if (host.starts_with("169.254.")) continue;
    } else if (six && each->ifa_addr->sa_family == AF_INET6) {
      const auto& address = reinterpret_cast<const sockaddr_in6*>(each->ifa_addr)->sin6_addr;
      if (IN6_IS_ADDR_LINKLOCAL(&address)) continue;
      ::inet_ntop(AF_INET6, &address, text, sizeof text);
      host = "[" + std::string(text) + "]";
    }
    if (!host.empty()) out.push_back(with_host(page, four ? kEverywhere4 : kEverywhere6, host));
  }
  return out;
}

}  // namespace undersong::terminal
