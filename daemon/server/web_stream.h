// WebStream: a TCP connection that speaks TLS, or not. One type for both, and no template behind it, so that
// Beast is compiled once for the two of them and Asio's TLS once, in web_stream.cpp.
//
//   WebStream stream(std::move(socket));
//   stream.begin(tls, [](error_code failed, std::size_t) { ... });   // finds out what the client speaks
//   http::async_read(stream, buffer, parser, handler);
//
// It is an AsyncStream of Asio, and what Beast's WebSocket needs of one. Each read and write costs one
// allocation more than Asio's own.
//
// Threads: the io thread only, which is why handlers need no executor of their own.
// Errors: as those of Asio; a wait that is over is beast::error::timeout.
// Source: none needed.
#pragma once

#include <array>
#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core/role.hpp>
#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <type_traits>
#include <utility>

namespace boost::asio::ssl {
class context;
}

namespace undersong::server {

class WebStream {
 public:
  using executor_type = boost::asio::any_io_executor;
  using Error = boost::system::error_code;
  using Done = std::function<void(Error failed, std::size_t bytes)>;

  explicit WebStream(boost::asio::ip::tcp::socket socket);
  ~WebStream();
  WebStream(WebStream&& other) noexcept;
  WebStream& operator=(WebStream&& other) noexcept;

  executor_type get_executor();
  bool moved() const { return layers_ == nullptr; }

  // With a context: the client may speak TLS, which is found out from its first bytes; secure() says so
  // afterwards. What it sent without TLS is read as usual.
  void begin(std::shared_ptr<boost::asio::ssl::context> context, Done done);
  bool secure() const;
  // The addresses at both ends; "" if the connection has ended. IPv4 in its own form, also where IPv6
  // listens.
  std::string reached() const;
  std::string caller() const;
  // What is under way, and what begins, ends after this time.
  void expires_after(std::chrono::seconds time);
  void expires_never();
  void close();
  // The end of a WebSocket, which has said goodbye already.
  void end(Done done);

  template <class Buffers, class Handler>
  void async_read_some(const Buffers& buffers, Handler&& handler) {
    read(list_of<boost::asio::mutable_buffer>(buffers), done_by(std::forward<Handler>(handler)));
  }
  template <class Buffers, class Handler>
  void async_write_some(const Buffers& buffers, Handler&& handler) {
    write(list_of<boost::asio::const_buffer>(buffers), done_by(std::forward<Handler>(handler)));
  }

 private:
  // At most this many buffers go into one read or write; the caller then goes on with the rest.
  static constexpr std::size_t kMostBuffers = 16;
  template <class Buffer>
  using List = std::array<Buffer, kMostBuffers>;  // those that are not used are empty

  template <class Buffer, class Buffers>
  static List<Buffer> list_of(const Buffers& buffers) {
    List<Buffer> out;
    std::size_t count = 0;
    for (auto each = boost::asio::buffer_sequence_begin(buffers);
         each != boost::asio::buffer_sequence_end(buffers) && count < kMostBuffers; ++each)
      if (Buffer buffer(*each); buffer.size() > 0) out[count++] = buffer;
    return out;
  }
  // Beast's handlers can be moved only, and a Done is copied.
  template <class Handler>
  static Done done_by(Handler&& handler) {
    return [kept = std::make_shared<std::decay_t<Handler>>(std::forward<Handler>(handler))](
               Error failed, std::size_t bytes) { (*kept)(failed, bytes); };
  }
  void read(const List<boost::asio::mutable_buffer>& buffers, Done done);
  void write(const List<boost::asio::const_buffer>& buffers, Done done);

  struct Layers;
  std::unique_ptr<Layers> layers_;
};

// Found by Beast: how a WebSocket's connection ends, by itself and when a wait is over.
void teardown(boost::beast::role_type role, WebStream& stream, WebStream::Error& failed);
template <class Handler>
void async_teardown(boost::beast::role_type, WebStream& stream, Handler&& handler) {
  stream.end([kept = std::make_shared<std::decay_t<Handler>>(std::forward<Handler>(handler))](
                 WebStream::Error failed, std::size_t) { (*kept)(failed); });
}
void beast_close_socket(WebStream& stream);

}  // namespace undersong::server
