// The server: both listeners, all sessions, and what is published to them.
//
//   Server server(io, options, stage, studies, fetcher);
//   if (auto listening = server.start(); !listening) ...;
//   server.publish_moment(moment, style);           // after every event
//   server.publish_log(lines);                      // from the store's on_lines
//   server.publish_status();                        // whenever something of it has changed
//
// Threads: everything on the thread that runs `io`; the store must deliver there too.
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
#include "daemon/server/publisher.h"
#include "daemon/server/session.h"
#include "daemon/server/socket_listener.h"
#include "daemon/server/web_listener.h"

namespace undersong::server {

struct ListText;

class Server {
 public:
  static constexpr std::size_t kMostClients = 64;
  // Answers of all clients that may wait to be written.
  static constexpr std::size_t kMostAnswersWaiting = Session::kMostCallsOfAll + kMostClients;

  struct Options {
    std::filesystem::path socket;
    std::optional<WebOptions> web;  // empty: no web port
    std::string program_version;
    Places places;                   // socket and page are filled in when they are there
    std::filesystem::path sketches;  // folder; made when the first is kept
  };

  // All outlive the server; what runs aside must have stopped before it goes. `studies`: for what takes a
  // second, `fetcher`: for what takes milliseconds, on another thread; both of the same store.
  Server(boost::asio::io_context& io, Options options, live::Stage& stage, song::Studies& studies,
         takes::Fetcher& fetcher);
  ~Server();

  // The Unix socket, and the web port if wanted. Error only without the socket: a port that another program
  // has must not keep the player from playing. page_trouble then says why there is no page.
  Result<void> start();
  const std::optional<Error>& page_trouble() const { return page_trouble_; }
  // Closes all connections and removes the socket. May be called twice.
  void stop();
  std::uint16_t web_port() const { return web_.port(); }
  const Load& load() const { return *room_.load; }
  std::size_t clients() const { return publisher_.sessions(); }

  // Made into a message at once when somebody listens, and otherwise when somebody asks.
  void publish_moment(const listen::Moment& moment, harmony::SymbolStyle style);
  void publish_status();
  void publish_log(const std::vector<takes::Line>& lines);

 private:
  std::shared_ptr<Session> make_session(bool trusted);
  Buffer newest_moment();
  Buffer newest_status();

  Options options_;
  live::Stage& stage_;
  takes::Store& store_;
  Publisher publisher_;
  std::unique_ptr<Songs> songs_;
  Room room_;
  SocketListener socket_;
  WebListener web_;
  std::optional<Error> page_trouble_;
  ClientId last_client_ = 0;
  std::unique_ptr<listen::Moment> moment_;
  harmony::SymbolStyle style_{};
  std::unique_ptr<ListText> list_text_;
  Buffer moment_message_;  // of moment_; null: not made yet
};

}  // namespace undersong::server
