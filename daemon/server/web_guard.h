// WebGuard: decides who may use the web port. It checks Host, Origin and token, and which files of the page
// may be read.
//
// A page on any web site can make a browser connect to a loopback port. Therefore every request must name us
// in its Host header, which stops DNS rebinding. A WebSocket must also come from our own page (Origin), or,
// from a program that sends no Origin, carry the token as "Authorization: Bearer TOKEN".
//
//   if (!guard.host_allowed(host)) return answer(403);
//
// Threads: pure; a WebGuard is constant after its construction.
// Errors: none; all functions are total.
// Source: RFC 6455 sections 4.2.2 and 10.2 (Fette & Melnikov, 2011): an unacceptable Origin is answered with
// 403.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace undersong::server {

class WebGuard {
 public:
  // `address` is the address we listen at. If it is not a loopback address, every client needs the token.
  WebGuard(const std::string& address, std::uint16_t port, std::string token,
           const std::vector<std::string>& more_hosts = {});

  bool host_allowed(std::string_view host) const;  // one of our names, with the port; case does not matter
  // kTokenLater: the connection is accepted, but the client must send the token with `hello`.
  enum class Verdict : std::uint8_t { kRefused, kTokenLater, kTrusted };
  // For a WebSocket. `origin` and `authorization` are empty if the header is missing.
  Verdict websocket(std::string_view host, std::optional<std::string_view> origin,
                    std::optional<std::string_view> authorization) const;
  // The WebSocket addresses that our own page uses, for connect-src of the Content-Security-Policy.
  std::string websocket_sources() const;
  bool loopback() const { return loopback_; }

 private:
  std::vector<std::string> hosts_;  // such as "127.0.0.1:8700"
  std::string token_;
  bool loopback_ = true;
};

// The file of the page that a request target names. "/" is index.html; a query is ignored. nullopt for a path
// that leads out of the folder, for hidden files, and for names with other characters than letters, digits,
// ".",
// "-", "_" and "/".
std::optional<std::filesystem::path> page_file(const std::filesystem::path& folder, std::string_view target);
// The Content-Type of a file by its extension; "application/octet-stream" if it is unknown.
std::string_view content_type(const std::filesystem::path& file);

}  // namespace undersong::server
