#include "daemon/server/web_guard.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "daemon/server/session.h"

namespace undersong::server {
namespace {

bool same_text(std::string_view a, std::string_view b) {
  return a.size() == b.size() &&
         std::equal(a.begin(), a.end(), b.begin(),
                    [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

}  // namespace

WebGuard::WebGuard(const std::string& address, std::uint16_t port, std::string token,
                   const std::vector<std::string>& more_hosts)
    : token_(std::move(token)),
      loopback_(address.starts_with("127.") || address == "::1" || address == "localhost") {
  const std::string suffix = ":" + std::to_string(port);
  for (const char* name : {"127.0.0.1", "localhost", "[::1]"}) hosts_.push_back(name + suffix);
  const std::string own = address.find(':') == std::string::npos ? address : "[" + address + "]";
  for (const std::string& name : {own}) hosts_.push_back(name + suffix);
  for (const std::string& name : more_hosts) hosts_.push_back(name + suffix);
}

bool WebGuard::host_allowed(std::string_view host) const {
  return std::any_of(hosts_.begin(), hosts_.end(),
                     [&](const std::string& ours) { return same_text(host, ours); });
}

WebGuard::Verdict WebGuard::websocket(std::string_view host, std::optional<std::string_view> origin,
                                      std::optional<std::string_view> authorization) const {
  if (!host_allowed(host)) return Verdict::kRefused;
  constexpr std::string_view kBearer = "Bearer ";
  const bool token = authorization && !token_.empty() && authorization->starts_with(kBearer) &&
                     same_token(authorization->substr(kBearer.size()), token_);
  if (!origin) return token ? Verdict::kTrusted : Verdict::kRefused;
  constexpr std::string_view kScheme = "http://";
  if (!origin->starts_with(kScheme) || !host_allowed(origin->substr(kScheme.size())))
    return Verdict::kRefused;
  return loopback_ || token ? Verdict::kTrusted : Verdict::kTokenLater;
}

std::string WebGuard::websocket_sources() const {
  std::string all;
  // Browsers do not accept IPv6 addresses in connect-src; 'self' covers our own.
  for (const std::string& host : hosts_)
    if (host[0] != '[') all += " ws://" + host;
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
