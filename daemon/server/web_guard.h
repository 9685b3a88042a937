// WebGuard: decides who may use a web port. It checks Host and Origin, and which files of the page may be
// read.
//
// A page on any web site can make a browser connect to a loopback port. Therefore every request must name us
// in its Host header, which stops DNS rebinding. A browser always sends the Origin of a WebSocket, and that
// must be our own page. A program that sends no Origin is let in if it runs on this machine; elsewhere it
// must carry a token as "Authorization: Bearer TOKEN".
//
//   if (!guard.host_allowed(host, reached)) return answer(403);
//
// `reached` is the address of this machine that the connection reached, such as "192.168.1.20". A port that
// listens at every address is called by that one, and by no other.
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
  // `address` is the address we listen at. `tls`: the page is https.
  WebGuard(const std::string& address, std::uint16_t port, bool tls = false,
           const std::vector<std::string>& more_hosts = {});

  // One of our names, with the port; case does not matter.
  bool host_allowed(std::string_view host, std::string_view reached) const;
  // kProgram: it is no browser. Unless only this machine can connect, it must show a token now.
  enum class Verdict : std::uint8_t { kRefused, kOwnPage, kProgram };
  // For a WebSocket. `origin` is empty if the header is missing.
  Verdict websocket(std::string_view host, std::optional<std::string_view> origin,
                    std::string_view reached) const;
  // The WebSocket addresses that our own page uses, for connect-src of the Content-Security-Policy.
  std::string websocket_sources(std::string_view reached) const;
  // Only this machine can connect, so our own page needs no token.
  bool loopback() const { return loopback_; }

 private:
  std::string with_port(std::string_view address) const;

  std::vector<std::string> hosts_;           // such as "192.168.1.20:8344"
  std::vector<std::string> loopback_hosts_;  // ours only for connections that reached a loopback address
  std::string port_;                         // ":8344"
  bool tls_ = false, loopback_ = true, everywhere_ = false;
};

// The file of the page that a request target names. "/" is index.html; a query is ignored. nullopt for a path
// that leads out of the folder, for hidden files, and for names with other characters than letters, digits,
// ".", "-", "_" and "/".
std::optional<std::filesystem::path> page_file(const std::filesystem::path& folder, std::string_view target);
// Whether the name of a file changes with its content, so that browsers may keep it for ever.
bool named_by_content(std::string_view target);
// The Content-Type of a file by its extension; "application/octet-stream" if it is unknown.
std::string_view content_type(const std::filesystem::path& file);

}  // namespace undersong::server
