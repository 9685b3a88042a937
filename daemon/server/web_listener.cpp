#include "daemon/server/web_listener.h"

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/websocket.hpp>
#include <fstream>
#include <optional>

#include "daemon/server/addresses.h"
#include "daemon/server/peer_user.h"
#include "daemon/server/web_guard.h"
#include "daemon/server/web_stream.h"

namespace undersong::server {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
namespace websocket = beast::websocket;
using boost::system::error_code;
using Tcp = asio::ip::tcp;
using Request = http::request<http::empty_body>;
using Response = http::response<http::string_body>;

constexpr std::size_t kMostHttpConnections = 64;
constexpr auto kHttpPatience = std::chrono::seconds(15);

std::optional<std::string_view> header(const Request& request, http::field field) {
  const auto found = request.find(field);
  if (found == request.end()) return std::nullopt;
  return std::string_view(found->value().data(), found->value().size());
}

class WebSocketTransport final : public Transport, public std::enable_shared_from_this<WebSocketTransport> {
 public:
  WebSocketTransport(WebStream&& stream, std::shared_ptr<Session> session)
      : ws_(std::move(stream)), session_(std::move(session)) {}

  void start(Request request) {
    ws_.next_layer().expires_never();
    ws_.set_option(websocket::stream_base::timeout::suggested(beast::role_type::server));
    ws_.read_message_max(kMostMessageBytes);  // after a longer one the connection is closed with code 1009
    ws_.auto_fragment(false);                 // one frame per message of any size
    ws_.text(true);
    request_ = std::move(request);
    ws_.async_accept(request_, [self = shared_from_this()](error_code ec) {
      if (ec) return self->gone();
      self->open_ = true;
      self->session_->start(self);
      self->read();
    });
  }

  bool write(const Buffer& message) override {
    if (!open_) return false;
    // Without the newline, which only the Unix socket needs.
    ws_.async_write(asio::buffer(message->data(), message->size() - 1),
                    [self = shared_from_this(), message](error_code ec, std::size_t) {
                      if (ec) return self->gone();
                      self->session_->written();
                    });
    return false;
  }

  void resume() override {
    asio::post(ws_.get_executor(), [self = shared_from_this()] { self->read(); });
  }

  void close() override {
    if (!std::exchange(open_, false)) return;
    ws_.async_close(websocket::close_code::going_away, [self = shared_from_this()](error_code) {});
  }

 private:
  void read() {
    if (reading_ || !open_ || !session_->wants_more()) return;
    reading_ = true;
    ws_.async_read(unread_, [self = shared_from_this()](error_code ec, std::size_t) {
      self->reading_ = false;
      if (ec) return self->gone();
      const auto data = self->unread_.cdata();
      const std::string message(static_cast<const char*>(data.data()), data.size());
      self->unread_.consume(self->unread_.size());
      self->session_->received(message);
      self->read();
    });
  }

  void gone() {
    open_ = false;
    session_->closed();
  }

  websocket::stream<WebStream> ws_;
  std::shared_ptr<Session> session_;
  Request request_;
  beast::flat_buffer unread_;
  bool open_ = false, reading_ = false;
};

// The worker-src is for the service worker, which keeps the page while the daemon does not run.
std::string content_security_policy(const std::string& websockets) {
  return "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self'; "
         "font-src "
         "'self'; media-src 'self'; manifest-src 'self'; connect-src 'self'" +
         websockets + "; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
}

constexpr const char* kNoPage = R"(<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Undersong</title></head>
<body><h1>Undersong is running</h1>
<p>The companion page has not been built, so there is nothing to show here. In the terminal, <code>undersong live</code> shows
what is being played.</p></body></html>
)";

}  // namespace

struct WebListener::Impl : std::enable_shared_from_this<Impl> {
  Impl(asio::io_context& io, MakeSession make, ShowToken show)
      : acceptor(io), pause(io), make_session(std::move(make)), show_token(std::move(show)) {}

  // One HTTP connection, until it ends or becomes a WebSocket.
  class Connection : public std::enable_shared_from_this<Connection> {
   public:
    Connection(Tcp::socket socket, std::shared_ptr<Impl> web, bool foreign)
        : stream_(std::move(socket)), web_(std::move(web)), foreign_(foreign) {
      reached_ = stream_.reached();
      caller_ = stream_.caller();
    }

    ~Connection() { --web_->connections; }

    void start() {
      if (!web_->options.tls) return read();
      stream_.expires_after(kHttpPatience);
      // A client that speaks no TLS is read too, to be told where to go.
      stream_.begin(web_->options.tls->context(), [self = shared_from_this()](error_code ec, std::size_t) {
        ec ? self->close() : self->read();
      });
    }

    void read() {
      parser_.emplace();
      parser_->header_limit(16 * 1024);
      parser_->body_limit(0);
      stream_.expires_after(kHttpPatience);
      http::async_read(stream_, buffer_, *parser_, [self = shared_from_this()](error_code ec, std::size_t) {
        if (ec == http::error::end_of_stream || ec == asio::error::operation_aborted ||
            ec == beast::error::timeout)
          return self->close();
        if (ec) return self->answer_status(http::status::bad_request, "The request can't be read.", false);
        self->received();
      });
    }

    void close() {
      if (stream_.moved()) return;  // it is a WebSocket now
      stream_.close();
    }

   private:
    void received() {
      const Request& request = parser_->get();
      keep_alive_ = request.keep_alive();
      head_ = request.method() == http::verb::head;
      if (foreign_)
        return answer_status(http::status::forbidden, "This page belongs to another user of this machine.",
                             false);
      const auto host = header(request, http::field::host);
      const std::string_view target(request.target().data(), request.target().size());
      if (!websocket::is_upgrade(request) || (web_->options.tls && !stream_.secure())) {
        if (!host || !web_->guard->host_allowed(*host, reached_))
          return answer_status(http::status::forbidden, "This Host is not accepted.", false);
        if (web_->options.tls && !stream_.secure()) return send_to_https(*host, target);
        if (request.method() != http::verb::get && !head_)
          return answer_status(http::status::method_not_allowed, "Only GET and HEAD are answered here.",
                               keep_alive_);
        return serve(target);
      }
      if (target != "/socket")
        return answer_status(http::status::not_found, "The WebSocket is at /socket.", false);
      const auto verdict =
          web_->guard->websocket(host.value_or(""), header(request, http::field::origin), reached_);
      const auto visitor = admit(verdict, header(request, http::field::authorization));
      if (!visitor) return;  // it was answered
      auto session = web_->make_session(*visitor);
      if (!session)
        return answer_status(http::status::service_unavailable, "Too many clients are connected.", false);
      auto transport = std::make_shared<WebSocketTransport>(std::move(stream_), std::move(session));
      transport->start(parser_->release());
    }

    // Who this is; empty if it was refused.
    std::optional<Visitor> admit(WebGuard::Verdict verdict, std::optional<std::string_view> authorization) {
      constexpr std::string_view kBearer = "Bearer ";
      const bool local = web_->guard->loopback() && !web_->options.for_devices;
      Visitor visitor{.trusted = false,
                      .local = local,
                      .device = {},
                      .address = caller_,
                      .by_devices_port = web_->options.for_devices};
      Shown shown;
      if (verdict != WebGuard::Verdict::kRefused && authorization && authorization->starts_with(kBearer))
        shown = web_->show_token(authorization->substr(kBearer.size()), caller_);
      if (shown.kind == Shown::Kind::kWait) {
        answer_status(http::status::too_many_requests, wait_sentence(shown), false);
        return std::nullopt;
      }
      const bool right = shown.kind == Shown::Kind::kRight;
      if (verdict == WebGuard::Verdict::kRefused ||
          (verdict == WebGuard::Verdict::kProgram && !right && (!local || authorization))) {
        answer_status(http::status::forbidden, "This Host, Origin or token is not accepted.", false);
        return std::nullopt;
      }
      visitor.trusted = right || local;
      if (right && shown.device) {
        visitor.device = shown.device;
        visitor.local = false;
      }
      return visitor;
    }

    void send_to_https(std::string_view host, std::string_view target) {
      const std::string place = "https://" + std::string(host) + std::string(target);
      answer(http::status::temporary_redirect, "This port speaks https only: " + place + "\n",
             "text/plain; charset=utf-8", false, place);
    }

    void serve(std::string_view target) {
      const auto file = page_file(web_->options.page_folder, target);
      std::error_code failed;
      if (!web_->options.page_folder.empty() && file && std::filesystem::is_regular_file(*file, failed)) {
        std::ifstream in(*file, std::ios::binary);
        std::string body(std::istreambuf_iterator<char>(in), {});
        may_be_kept_ = named_by_content(target);
        return answer(http::status::ok, std::move(body), content_type(*file), keep_alive_);
      }
      if (target == "/" || target == "/index.html")
        return answer(http::status::ok, kNoPage, "text/html; charset=utf-8", keep_alive_);
      answer_status(http::status::not_found, "There is no such file.", keep_alive_);
    }

    void answer_status(http::status status, std::string sentence, bool keep) {
      answer(status, std::move(sentence) + "\n", "text/plain; charset=utf-8", keep);
    }

    void answer(http::status status, std::string body, std::string_view type, bool keep,
                const std::string& location = {}) {
      auto response = std::make_shared<Response>(status, 11);
      response->set(http::field::content_type, beast::string_view(type.data(), type.size()));
      response->set("Content-Security-Policy",
                    content_security_policy(web_->guard->websocket_sources(reached_)));
      response->set("X-Content-Type-Options", "nosniff");
      response->set("Referrer-Policy", "no-referrer");
      response->set("Cross-Origin-Opener-Policy", "same-origin");
      response->set("Cross-Origin-Resource-Policy", "same-origin");
      response->set(http::field::cache_control,
                    std::exchange(may_be_kept_, false) ? "public, max-age=31536000, immutable" : "no-cache");
      if (!location.empty()) response->set(http::field::location, location);
      if (status == http::status::method_not_allowed) response->set(http::field::allow, "GET, HEAD");
      response->keep_alive(keep);
      response->content_length(body.size());
      if (!head_) response->body() = std::move(body);
      stream_.expires_after(kHttpPatience);
      const auto done = [self = shared_from_this(), response, keep](error_code ec, std::size_t) {
        if (ec || !keep) return self->close();
        self->read();
      };
      if (head_) {
        auto serializer = std::make_shared<http::response_serializer<http::string_body>>(*response);
        http::async_write_header(stream_, *serializer,
                                 [serializer, done](error_code ec, std::size_t n) { done(ec, n); });
      } else {
        http::async_write(stream_, *response, done);
      }
    }

    WebStream stream_;
    std::shared_ptr<Impl> web_;
    std::string reached_, caller_;  // our address and theirs
    beast::flat_buffer buffer_;
    std::optional<http::request_parser<http::empty_body>> parser_;
    const bool foreign_;  // of another user of this machine
    bool keep_alive_ = false, head_ = false, may_be_kept_ = false;
  };

  void accept() {
    acceptor.async_accept([self = shared_from_this()](error_code ec, Tcp::socket socket) {
      if (!self->acceptor.is_open()) return;
      if (!ec) {
        self->make_room();
        ++self->connections;
        error_code ignored;
        socket.set_option(Tcp::no_delay(true), ignored);
        const bool foreign = self->of_another_user(socket);
        auto connection = std::make_shared<Connection>(std::move(socket), self, foreign);
        self->open.push_back(connection);
        connection->start();
        return self->accept();
      }
      self->pause.expires_after(std::chrono::milliseconds(200));
      self->pause.async_wait([self](error_code stopped) {
        if (!stopped) self->accept();
      });
    });
  }

  // Whoever connects and says nothing keeps nobody out: the connection that has waited longest makes room.
  void make_room() {
    std::erase_if(open, [](const auto& weak) { return weak.expired(); });
    if (connections >= kMostHttpConnections && !open.empty()) {
      if (const auto oldest = open.front().lock()) oldest->close();
      open.erase(open.begin());
    }
  }

  bool of_another_user(const Tcp::socket& socket) const {
    if (!guard->loopback() || options.for_devices) return false;
    error_code failed, failed_too;
    const auto theirs = socket.remote_endpoint(failed), ours = socket.local_endpoint(failed_too);
    return failed || failed_too || user_of_peer(theirs, ours) == Peer::kOtherUser;
  }

  Tcp::acceptor acceptor;
  asio::steady_timer pause;
  MakeSession make_session;
  ShowToken show_token;
  WebOptions options;
  std::optional<WebGuard> guard;
  std::size_t connections = 0;
  std::vector<std::weak_ptr<Connection>> open;
};

WebListener::WebListener(asio::io_context& io, MakeSession make_session, ShowToken show_token)
    : impl_(std::make_shared<Impl>(io, std::move(make_session), std::move(show_token))) {}

WebListener::~WebListener() {
  stop();
}

Result<void> WebListener::listen(WebOptions options) {
  error_code failed;
  const auto address =
      asio::ip::make_address(options.address == "localhost" ? "127.0.0.1" : options.address, failed);
  if (failed) return invalid_input("The web address " + options.address + " is not an IP address.");
  const std::string place = in_url(options.address) + ":" + std::to_string(options.port);
  auto& acceptor = impl_->acceptor;
  const Tcp::endpoint endpoint(address, options.port);
  acceptor.open(endpoint.protocol(), failed);
  if (!failed) acceptor.set_option(asio::socket_base::reuse_address(true), failed);
  if (!failed) acceptor.bind(endpoint, failed);
  if (!failed) acceptor.listen(asio::socket_base::max_listen_connections, failed);
  if (failed) {
    error_code ignored;
    acceptor.close(ignored);
    if (failed == asio::error::address_in_use)
      return Error{ErrorCode::kConflict, "The web port " + place + " is taken by another program."};
    return unavailable("Listening at " + place + " failed: " + failed.message() + ".");
  }
  impl_->guard.emplace(options.address, port(), options.tls != nullptr, options.more_hosts);
  impl_->options = std::move(options);
  impl_->accept();
  return {};
}

std::uint16_t WebListener::port() const {
  error_code failed;
  const auto endpoint = impl_->acceptor.local_endpoint(failed);
  return failed ? std::uint16_t{0} : endpoint.port();
}

void WebListener::stop() {
  error_code ignored;
  if (impl_->acceptor.is_open()) impl_->acceptor.close(ignored);
  impl_->pause.cancel();
  for (const auto& weak : std::exchange(impl_->open, {}))
    if (const auto connection = weak.lock()) connection->close();
}

}  // namespace undersong::server
