// The server: both listeners, all sessions, and what is published to them.
//
//   Server server(io, options, desk, store);
//   if (auto listening = server.start(); !listening) ...;
//   server.publish_moment(moment);           // after every event
//   server.publish_log(lines);                      // from the store's on_lines
//   server.publish_status();                        // whenever something of it has changed
//
// Threads: everything on the thread that runs `io`; the store must deliver there too.
#pragma once

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>

#include "daemon/server/desk.h"
#include "daemon/server/publisher.h"
#include "daemon/server/session.h"
#include "daemon/server/socket_listener.h"
#include "daemon/server/songs.h"
#include "daemon/server/web_listener.h"

namespace undersong::server {

class Server {
 public:
  static constexpr std::size_t kMostClients = 64;

  struct Options {
    std::filesystem::path socket;
    std::optional<WebOptions> web;  // empty: no web port
    std::string program_version;
    protocol::Places places;         // socket and page are filled in when they are there
    std::filesystem::path sketches;  // folder; made when the first is kept
    std::shared_ptr<song::Studies> studies =
        std::make_shared<song::Studies>();  // what runs aside shares them
    std::function<bool(std::function<void()>)>
        aside;  // runs what takes long on a thread of low priority; false: too much waits
  };

  // `desk` and `store` outlive the server; what runs aside must have stopped before it goes.
  Server(boost::asio::io_context& io, Options options, Desk& desk, takes::Store& store);
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
  void publish_moment(const listen::Moment& moment);
  void publish_status();
  void publish_log(const std::vector<takes::Line>& lines);

 private:
  std::shared_ptr<Session> make_session(bool trusted);
  Buffer newest_moment();
  Buffer newest_status();

  Options options_;
  Desk& desk_;
  takes::Store& store_;
  Publisher publisher_;
  Songs songs_;
  Room room_;
  SocketListener socket_;
  WebListener web_;
  std::optional<Error> page_trouble_;
  ClientId last_client_ = 0;
  std::unique_ptr<listen::Moment> moment_;
  ListText list_text_;
  Buffer moment_message_;  // of moment_; null: not made yet
};

}  // namespace undersong::server
