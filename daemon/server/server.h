// Server: the listeners, all sessions, and what is published to them.
//
//   Server server(io, options, stage, studies, fetcher);
//   if (auto listening = server.start(); !listening) ...;
//   server.publish_moment(moment);           // after every event
//   server.publish_log(lines);                      // from the store's on_lines
//   server.publish_status();                        // whenever the status has changed
//
// Units: kMostClients counts connections.
// Threads: the thread that runs `io`. The store must deliver there too.
// Errors: `start` returns one sentence. Requests get JSON-RPC errors.
#pragma once

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/moment.h"
#include "daemon/server/pairing.h"
#include "daemon/server/publisher.h"
#include "daemon/server/session.h"
#include "daemon/server/socket_listener.h"
#include "daemon/server/web_listener.h"

namespace undersong::server {

struct ListText;

class Server {
 public:
  static constexpr std::size_t kMostClients = 64;
  // Clients over the network have half of these places, and those of them that have not shown a token yet
  // have these. When there are more, the oldest makes room.
  static constexpr std::size_t kMostStrangers = 8;
  // How many long answers, for all clients together, may wait for the thread `answers`.
  static constexpr std::size_t kMostAnswersWaiting = Session::kMostCallsOfAll + kMostClients;

  struct Options {
    std::filesystem::path socket;
    std::optional<WebOptions> web;  // empty: no web port
    std::string program_version;
    Places places;                   // start() fills in the socket and the page
    std::filesystem::path sketches;  // the folder of sketches; created with the first sketch
    PairingOptions devices;
  };

  // The arguments must outlive the server. The threads behind `studies` and `fetcher` must have stopped
  // before the server is destroyed. `studies` is for work of about a second, `fetcher` for work of
  // milliseconds on another thread; both use the same store.
  Server(boost::asio::io_context& io, Options options, live::Stage& stage, song::Studies& studies,
         takes::Fetcher& fetcher);
  ~Server();

  // Opens the Unix socket, and the web port if there is one. Error only if the socket cannot be opened. If
  // the web port cannot be opened, for example because another program uses it, the server works without a
  // page and page_trouble() says why.
  Result<void> start();
  const std::optional<Error>& page_trouble() const { return page_trouble_; }
  // Closes all connections and removes the socket. May be called twice.
  void stop();
  const std::optional<std::string>& page() const { return room_.places.page; }  // its address
  std::uint16_t web_port() const { return web_.port(); }
  std::uint16_t devices_port() const { return pairing_.port(); }      // 0 while it is closed
  std::string fingerprint() const { return pairing_.fingerprint(); }  // of the certificate; "" without TLS
  const Load& load() const { return *room_.load; }
  std::size_t clients() const { return publisher_.sessions(); }

  // The message is made at once if a client subscribed to moments; otherwise when a client asks for it.
  void publish_moment(const listen::Moment& moment);
  void publish_status();
  void publish_log(const std::vector<takes::Line>& lines);

 private:
  std::shared_ptr<Session> make_session(Visitor visitor);
  void make_room_for_another_device();
  Result<void> start_web(WebOptions web);
  Buffer newest_moment();
  Buffer newest_status();

  Options options_;
  live::Stage& stage_;
  takes::Store& store_;
  Publisher publisher_;
  std::unique_ptr<Songs> songs_;
  Pairing pairing_;
  Room room_;
  SocketListener socket_;
  WebListener web_;
  std::optional<Error> page_trouble_;
  ClientId last_client_ = 0;
  std::unique_ptr<listen::Moment> moment_;
  std::unique_ptr<ListText> list_text_;
  Buffer moment_message_;  // of moment_; null: not made yet
};

}  // namespace undersong::server
