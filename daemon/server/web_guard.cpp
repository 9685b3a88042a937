#include "daemon/server/web_guard.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "daemon/server/addresses.h"

namespace undersong::server {
namespace {

bool same_text(std::string_view a, std::string_view b) {
  return a.size() == b.size() &&
         std::equal(a.begin(), a.end(), b.begin(),
                    [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

bool is_loopback(std::string_view address) {
  return address.starts_with("127.") || address == "::1" || address == "localhost";
}

}  // namespace

WebGuard::WebGuard(const std::string& address, std::uint16_t port, bool tls,
                   const std::vector<std::string>& more_hosts)
    : port_(":" + std::to_string(port)),
      tls_(tls),
      loopback_(is_loopback(address)),
      everywhere_(address == "0.0.0.0" || address == "::") {
  for (const char* name : {"127.0.0.1", "localhost", "[::1]"}) loopback_hosts_.push_back(name + port_);
  const std::string own = with_port(address);
  if (!everywhere_ && std::find(loopback_hosts_.begin(), loopback_hosts_.end(), own) == loopback_hosts_.end())
    hosts_.push_back(own);
  for (const std::string& name : more_hosts) hosts_.push_back(name + port_);
}

std::string WebGuard::with_port(std::string_view address) const {
  return in_url(std::string(address)) + port_;
}

bool WebGuard::host_allowed(std::string_view host, std::string_view reached) const {
  const auto named = [&](const std::vector<std::string>& names) {
    return std::any_of(names.begin(), names.end(),
                       [&](const std::string& ours) { return same_text(host, ours); });
  };
  return named(hosts_) || (is_loopback(reached) && named(loopback_hosts_)) ||
         (everywhere_ && same_text(host, with_port(reached)));
}

WebGuard::Verdict WebGuard::websocket(std::string_view host, std::optional<std::string_view> origin,
                                      std::string_view reached) const {
  if (!host_allowed(host, reached)) return Verdict::kRefused;
  if (!origin) return Verdict::kProgram;
  const std::string_view scheme = tls_ ? "https://" : "http://";
  return origin->starts_with(scheme) && host_allowed(origin->substr(scheme.size()), reached)
             ? Verdict::kOwnPage
             : Verdict::kRefused;
}

std::string WebGuard::websocket_sources(std::string_view reached) const {
  const std::string scheme = tls_ ? " wss://" : " ws://";
  std::vector<std::string> names = hosts_;
  if (is_loopback(reached)) names.insert(names.end(), loopback_hosts_.begin(), loopback_hosts_.end());
  if (everywhere_) names.push_back(with_port(reached));
  std::string all;
  // Browsers do not accept IPv6 addresses in connect-src; 'self' covers our own.
  for (const std::string& host : names)
    if (host[0] != '[') all += scheme + host;
  return all;
}

std::optional<std::filesystem::path> page_file(const std::filesystem::path& folder, std::string_view target) {
  target = target.substr(0, target.find_first_of("?#"));
  if (target.empty() || target[0] != '/') return std::nullopt;
  target.remove_prefix(1);
  std::filesystem::path file = folder;
  while (!target.empty()) {
    const auto end = target.find('/');
    const std::string_view part = target.substr(0, end);
    const bool plain = std::all_of(part.begin(), part.end(), [](unsigned char c) {
      return std::isalnum(c) || c == '.' || c == '-' || c == '_';
    });
    if (part.empty() || part[0] == '.' || !plain) return std::nullopt;
    file /= part;
    if (end == std::string_view::npos) break;
    target.remove_prefix(end + 1);
    if (target.empty()) file /= "index.html";
  }
  if (file == folder) file /= "index.html";
  // A symbolic link must not lead out of the folder either.
  std::error_code failed;
  const auto root = std::filesystem::weakly_canonical(folder, failed);
  const auto real = std::filesystem::weakly_canonical(file, failed);
  if (failed || std::mismatch(root.begin(), root.end(), real.begin(), real.end()).first != root.end())
    return std::nullopt;
  return file;
}

bool named_by_content(std::string_view target) {
  return target.starts_with("/assets/");  // where the build of the page puts them
}

std::string_view content_type(const std::filesystem::path& file) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 12> kTypes{{
      {".html", "text/html; charset=utf-8"},
      {".js", "text/javascript; charset=utf-8"},
      {".css", "text/css; charset=utf-8"},
      {".json", "application/json"},
      {".svg", "image/svg+xml"},
      {".png", "image/png"},
      {".ico", "image/x-icon"},
      {".woff2", "font/woff2"},
      {".txt", "text/plain; charset=utf-8"},
      {".webmanifest", "application/manifest+json"},
      {".wasm", "application/wasm"},
      {".map", "application/json"},
  }};
  const std::string extension = file.extension().string();
  for (const auto& [ending, type] : kTypes)
    if (extension == ending) return type;
  return "application/octet-stream";
}

}  // namespace undersong::server
