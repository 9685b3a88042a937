// A browser, as far as tests of the web port need one: a WebSocket client and a plain HTTP request, by Beast,
// which is slow to compile.
//
// Threads: the test's only; every call waits.
// Errors: an unexpected one throws.
#pragma once

#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/websocket.hpp>
#include <optional>
#include <string>

#include "protocol/json.h"

namespace undersong::server {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
namespace websocket = beast::websocket;

struct Browser {
  asio::io_context io;
  std::optional<websocket::stream<beast::tcp_stream>> ws;
  // Opens a WebSocket and returns the HTTP status of the answer.
  int shake(std::uint16_t port, const std::string& host, std::optional<std::string> origin,
            std::optional<std::string> token = {}, const std::string& target = "/socket",
            const char* to = "127.0.0.1") {
    ws.emplace(io);
    beast::get_lowest_layer(*ws).connect({asio::ip::make_address(to), port});
    ws->set_option(websocket::stream_base::decorator([=](websocket::request_type& request) {
      if (origin) request.set(http::field::origin, *origin);
      if (token) request.set(http::field::authorization, "Bearer " + *token);
    }));
    websocket::response_type response;
    boost::system::error_code failed;
    ws->handshake(response, host, target, failed);
    return response.result_int();
  }
  std::string read() {
    beast::flat_buffer buffer;
    boost::system::error_code failed;
    ws->read(buffer, failed);
    return failed ? "" : beast::buffers_to_string(buffer.data());
  }
  // Asks and returns the code of the error, 0 if there was none, 1 if the connection has ended.
  std::int64_t code_of(const std::string& request) {
    write(request);
    const auto tree = protocol::parse(read());
    if (!tree) return 1;
    const auto* error = tree->as_object().if_contains("error");
    return error == nullptr ? 0 : error->at("code").as_int64();
  }
  void write(const std::string& text) {
    boost::system::error_code failed;
    ws->write(asio::buffer(text), failed);
  }
};

inline http::response<http::string_body> get(std::uint16_t port, const std::string& target,
                                             std::string host = "", http::verb verb = http::verb::get) {
  asio::io_context io;
  beast::tcp_stream stream(io);
  stream.connect({asio::ip::make_address("127.0.0.1"), port});
  http::request<http::empty_body> request(verb, target, 11);
  request.set(http::field::host, host.empty() ? "127.0.0.1:" + std::to_string(port) : host);
  http::write(stream, request);
  beast::flat_buffer buffer;
  http::response_parser<http::string_body> parser;
  if (verb == http::verb::head) parser.skip(true);
  http::read(stream, buffer, parser);
  return parser.release();
}

inline std::string at(const std::string& name, std::uint16_t port) {
  return name + ":" + std::to_string(port);
}

}  // namespace undersong::server
