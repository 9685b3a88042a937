#include "daemon/server/tls.h"

#include <spdlog/spdlog.h>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ssl/context.hpp>
#include <utility>

namespace undersong::server {

namespace ssl = boost::asio::ssl;

Result<std::shared_ptr<Tls>> Tls::make(TlsIdentity identity, Options options) {
  std::shared_ptr<Tls> tls(new Tls({}, std::move(options)));
  if (auto used = tls->use(std::move(identity)); !used) return used.error();
  return tls;
}

Result<void> Tls::use(TlsIdentity identity) {
  boost::system::error_code failed;
  auto context = std::make_shared<ssl::context>(ssl::context::tls_server);
  context->set_options(ssl::context::no_sslv2 | ssl::context::no_sslv3 | ssl::context::no_tlsv1 |
                           ssl::context::no_tlsv1_1 | ssl::context::single_dh_use,
                       failed);
  if (!failed) context->use_certificate_chain(boost::asio::buffer(identity.certificate), failed);
  if (!failed) context->use_private_key(boost::asio::buffer(identity.key), ssl::context::pem, failed);
  if (failed)
    return unavailable("The certificate for other devices can't be used: " + failed.message() + ".");
  context_ = std::move(context);
  identity_ = std::move(identity);
  return {};
}

std::shared_ptr<ssl::context> Tls::context() {
  if (!renewing_ && !good_for(identity_, options_.names(), options_.now())) renew();
  return context_;
}

void Tls::renew() {
  renewing_ = true;
  options_.aside.answer<TlsIdentity>(
      "the certificate was renewed",
      [self = shared_from_this()](Result<TlsIdentity> made) {
        self->renewing_ = false;
        const auto used = made ? self->use(std::move(*made)) : Result<void>(made.error());
        if (!used && !std::exchange(self->failed_, true)) spdlog::warn("{}", used.error().message);
        if (!used) return;
        self->failed_ = false;
        spdlog::info("The certificate for other devices was renewed; its fingerprint is {}.",
                     self->fingerprint());
      },
      [options = options_] { return identity(options); });
}

}  // namespace undersong::server
