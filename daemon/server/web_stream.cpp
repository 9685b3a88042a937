#include "daemon/server/web_stream.h"

#include <boost/asio/post.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/beast/core/detect_ssl.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/websocket/teardown.hpp>
#include <optional>

namespace undersong::server {

namespace asio = boost::asio;
namespace beast = boost::beast;
using Tcp = asio::ip::tcp;

namespace {

std::string text_of(const Tcp::endpoint& endpoint) {
  asio::ip::address address = endpoint.address();
  if (address.is_v6() && address.to_v6().is_v4_mapped())
    address = asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6());
  if (address.is_v6()) {
    auto v6 = address.to_v6();
    v6.scope_id(0);
    address = v6;
  }
  return address.to_string();
}

}  // namespace

// On the heap, so that the stream can be moved while TLS points to the connection.
struct WebStream::Layers {
  explicit Layers(Tcp::socket socket) : tcp(std::move(socket)) {}
  beast::tcp_stream tcp;
  std::shared_ptr<asio::ssl::context> context;
  std::optional<asio::ssl::stream<beast::tcp_stream&>> tls;
  beast::flat_buffer begun;  // the first bytes of a client that speaks no TLS
};

WebStream::WebStream(Tcp::socket socket) : layers_(std::make_unique<Layers>(std::move(socket))) {}
WebStream::~WebStream() = default;
WebStream::WebStream(WebStream&& other) noexcept = default;
WebStream& WebStream::operator=(WebStream&& other) noexcept = default;

WebStream::executor_type WebStream::get_executor() {
  return layers_->tcp.get_executor();
}

bool WebStream::secure() const {
  return layers_->tls.has_value();
}

std::string WebStream::reached() const {
  Error gone;
  const auto endpoint = layers_->tcp.socket().local_endpoint(gone);
  return gone ? std::string() : text_of(endpoint);
}

std::string WebStream::caller() const {
  Error gone;
  const auto endpoint = layers_->tcp.socket().remote_endpoint(gone);
  return gone ? std::string() : text_of(endpoint);
}

void WebStream::expires_after(std::chrono::seconds time) {
  layers_->tcp.expires_after(time);
}
void WebStream::expires_never() {
  layers_->tcp.expires_never();
}

void WebStream::close() {
  Error ignored;
  layers_->tcp.socket().shutdown(Tcp::socket::shutdown_both, ignored);
  layers_->tcp.close();
}

void WebStream::begin(std::shared_ptr<asio::ssl::context> context, Done done) {
  layers_->context = std::move(context);
  beast::async_detect_ssl(layers_->tcp, layers_->begun,
                          [layers = layers_.get(), done = std::move(done)](Error failed, bool tls) {
                            if (failed || !tls) return done(failed, 0);
                            layers->tls.emplace(layers->tcp, *layers->context);
                            layers->tls->async_handshake(asio::ssl::stream_base::server, layers->begun.data(),
                                                         [layers, done](Error refused, std::size_t used) {
                                                           layers->begun.consume(used);
                                                           done(refused, used);
                                                         });
                          });
}

void WebStream::read(const List<asio::mutable_buffer>& buffers, Done done) {
  if (layers_->tls) return layers_->tls->async_read_some(buffers, std::move(done));
  if (layers_->begun.size() == 0) return layers_->tcp.async_read_some(buffers, std::move(done));
  const std::size_t taken = asio::buffer_copy(buffers, layers_->begun.data());
  layers_->begun.consume(taken);
  asio::post(layers_->tcp.get_executor(), [done = std::move(done), taken] { done({}, taken); });
}

void WebStream::write(const List<asio::const_buffer>& buffers, Done done) {
  if (layers_->tls) return layers_->tls->async_write_some(buffers, std::move(done));
  layers_->tcp.async_write_some(buffers, std::move(done));
}

void WebStream::end(Done done) {
  beast::websocket::async_teardown(beast::role_type::server, layers_->tcp.socket(),
                                   [done = std::move(done)](Error failed) { done(failed, 0); });
}

void teardown(beast::role_type, WebStream& stream, WebStream::Error& failed) {
  failed = {};
  stream.close();
}

void beast_close_socket(WebStream& stream) {
  stream.close();
}

}  // namespace undersong::server
