// Who may speak to the web port: checks on Host, Origin and token, and which files of the page may be read.
//
// A page on any site can make a browser connect to a loopback port, so every request must name us as Host
// (against names that were pointed at us), and every WebSocket must come from our own page (Origin) or, from
// a program that has no Origin, carry the token as "Authorization: Bearer TOKEN". Threads: pure. Source: RFC
// 6455 sections 4.2.2 and 10.2 (Fette & Melnikov, 2011): an unacceptable Origin is answered 403.
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
  // `address` is what we listen at; beyond loopback the token is asked of everybody.
  WebGuard(const std::string& address, std::uint16_t port, std::string token,
           const std::vector<std::string>& more_hosts = {});

  bool host_allowed(std::string_view host) const;  // exactly one of ours, port and all
  enum class Verdict : std::uint8_t { kRefused, kTokenLater, kTrusted };
  // For a WebSocket. `origin` and `authorization` empty: the header is missing.
  Verdict websocket(std::string_view host, std::optional<std::string_view> origin,
                    std::optional<std::string_view> authorization) const;
  // For connect-src: the WebSocket addresses of our own page.
  std::string websocket_sources() const;
  bool loopback() const { return loopback_; }

 private:
  std::vector<std::string> hosts_;  // "127.0.0.1:8700"
  std::string token_;
  bool loopback_ = true;
};

// The file of the page that a request target names: "/" is index.html; queries are cut off. nullopt for what
// leads out of the folder, hidden files and names with anything but letters, digits, ".", "-", "_" and "/".
std::optional<std::filesystem::path> page_file(const std::filesystem::path& folder, std::string_view target);
std::string_view content_type(const std::filesystem::path& file);

}  // namespace undersong::server
