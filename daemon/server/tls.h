// Tls: what a port needs to speak TLS: the identity of this machine, which is renewed while the daemon runs.
//
//   auto tls = std::make_shared<Tls>(*identity, options);
//   const auto context = tls->context();   // for each new connection
//
// Only TLS 1.2 and 1.3 are spoken. Connections that are open keep the identity they began with.
//
// Threads: the io thread; a new identity is made on the thread behind `aside`.
// Errors: a failed renewal is written to the log once, and tried again with the next connection.
// Source: see tls_identity.h.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/aside.h"
#include "daemon/server/tls_identity.h"

namespace boost::asio::ssl {
class context;
}

namespace undersong::server {

class Tls : public std::enable_shared_from_this<Tls> {
 public:
  struct Options {
    std::filesystem::path folder;
    std::function<std::vector<std::string>()> names;  // what the certificate must name now
    std::function<UtcMs()> now;
    Aside aside;
  };
  // Reads or makes the identity. May wait for the disk.
  static Result<TlsIdentity> identity(const Options& options) {
    return kept_identity(options.folder, options.names(), options.now());
  }
  static Result<std::shared_ptr<Tls>> make(TlsIdentity identity, Options options);

  // For a new connection. If the identity should be renewed, that begins now.
  std::shared_ptr<boost::asio::ssl::context> context();
  const std::string& fingerprint() const { return identity_.fingerprint; }

 private:
  Tls(TlsIdentity identity, Options options) : options_(std::move(options)), identity_(std::move(identity)) {}
  Result<void> use(TlsIdentity identity);
  void renew();

  const Options options_;
  TlsIdentity identity_;
  std::shared_ptr<boost::asio::ssl::context> context_;
  bool renewing_ = false, failed_ = false;
};

}  // namespace undersong::server
