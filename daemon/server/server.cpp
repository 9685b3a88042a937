#include "daemon/server/server.h"

#include <boost/asio/post.hpp>

namespace undersong::server {

Server::Server(boost::asio::io_context& io, Options options, Desk& desk, takes::Store& store)
    : options_(std::move(options)),
      desk_(desk),
      store_(store),
      songs_({store, options_.aside,
              [&io](std::function<void()> work) { boost::asio::post(io, std::move(work)); },
              options_.sketches, options_.studies}),
      room_{desk,
            store,
            songs_,
            publisher_,
            [this] { return newest_moment(); },
            [this] { return newest_status(); },
            [this] { publish_status(); },
            [&io](std::function<void()> work) { boost::asio::post(io, std::move(work)); },
            options_.program_version,
            options_.places,
            options_.web ? options_.web->token : std::string()},
      socket_(io, [this](bool trusted) { return make_session(trusted); }),
      web_(io, [this](bool trusted) { return make_session(trusted); }),
      moment_(std::make_unique<listen::Moment>()) {
  publisher_.set_log_end(store.last_number());
}

Server::~Server() {
  stop();
}

Result<void> Server::start() {
  if (auto listening = socket_.listen(options_.socket); !listening) return listening;
  if (options_.web) {
    const std::string host = options_.web->address.find(':') == std::string::npos
                                 ? options_.web->address
                                 : "[" + options_.web->address + "]";
    if (auto listening = web_.listen(*options_.web); listening) {
      room_.places.page.emplace("http://" + host + ":" + std::to_string(web_.port()) + "/");
    } else {
      page_trouble_ = listening.error();
      room_.places.page_trouble = page_trouble_->message;
    }
  }
  room_.places.socket = options_.socket.string();
  return {};
}

void Server::stop() {
  socket_.stop();
  web_.stop();
  publisher_.close_all();
}

std::shared_ptr<Session> Server::make_session(bool trusted) {
  if (publisher_.sessions() >= kMostClients) return nullptr;
  auto session = std::make_shared<Session>(++last_client_, room_, trusted);
  publisher_.add(session);
  return session;
}

void Server::publish_moment(const listen::Moment& moment) {
  if (publisher_.moment_wanted()) {
    moment_message_ = moment_message(moment, list_text_);
    publisher_.moment(moment_message_);
  } else {
    moment_message_ = nullptr;
  }
  *moment_ = moment;
}

Buffer Server::newest_moment() {
  if (!moment_message_) moment_message_ = moment_message(*moment_, list_text_);
  return moment_message_;
}

Buffer Server::newest_status() {
  protocol::Status status = desk_.status();
  const takes::Health health = store_.health();
  status.store = {health.good, health.sentence, health.waiting, health.lost, health.id};
  status.log_last = publisher_.log_end();
  return status_message(status);
}

void Server::publish_status() {
  publisher_.status(newest_status());
}

void Server::publish_log(const std::vector<takes::Line>& lines) {
  publisher_.log(lines);
}

}  // namespace undersong::server
