#include "daemon/server/server.h"

#include <boost/asio/post.hpp>
#include <utility>

#include "daemon/live/stage.h"
#include "daemon/server/connection_wire.h"
#include "daemon/server/device_book.h"
#include "daemon/server/songs.h"
#include "daemon/server/web_guard.h"
#include "daemon/server/wire.h"

namespace undersong::server {

namespace {

// Of a port that other machines can reach. 16 random letters and digits take longer to guess than machines
// last.
constexpr std::size_t kShortestToken = 16;

}  // namespace

Server::Server(boost::asio::io_context& io, Options options, live::Stage& stage, song::Studies& studies,
               takes::Fetcher& fetcher)
    : options_(std::move(options)),
      stage_(stage),
      store_(fetcher.store()),
      songs_(std::make_unique<Songs>(studies, options_.sketches)),
      pairing_(io, options_.devices, options_.web, fetcher.aside(), publisher_,
               [this](Visitor visitor) { return make_session(std::move(visitor)); }),
      room_{stage,
            store_,
            fetcher,
            studies,
            *songs_,
            pairing_,
            publisher_,
            [this] { return newest_moment(); },
            [this] { return newest_status(); },
            [this] { publish_status(); },
            [&io](std::function<void()> work) { boost::asio::post(io, std::move(work)); },
            options_.program_version,
            options_.places},
      socket_(io, [this](Visitor visitor) { return make_session(std::move(visitor)); }),
      web_(
          io, [this](Visitor visitor) { return make_session(std::move(visitor)); },
          [this](std::string_view token, const std::string& address) {
            return pairing_.show(token, address);
          }),
      moment_(std::make_unique<listen::Moment>()),
      list_text_(std::make_unique<ListText>()) {
  publisher_.set_log_end(store_.last_number());
}

Server::~Server() {
  stop();
}

Result<void> Server::start() {
  if (auto listening = socket_.listen(options_.socket); !listening) return listening;
  pairing_.begin();
  if (options_.web)
    if (auto listening = start_web(*options_.web); !listening) {
      page_trouble_ = listening.error();
      room_.places.page_trouble = page_trouble_->message;
    }
  room_.places.socket = options_.socket.string();
  return {};
}

// A port that other machines can reach needs a token, and speaks TLS if the player wants that.
Result<void> Server::start_web(WebOptions web) {
  const bool loopback = WebGuard(web.address, 0).loopback();
  if (!loopback && options_.devices.token.empty())
    return invalid_input("The web address " + web.address +
                         " can be reached from other machines, which needs a token. For a tablet, `undersong "
                         "pair` needs neither.");
  if (!loopback && options_.devices.token.size() < kShortestToken) {
    const auto better = make_token();
    return invalid_input("The token of the configuration has fewer than " + std::to_string(kShortestToken) +
                         " characters, so it could be guessed" +
                         (better ? "; one that can't is " + *better + "." : std::string(".")));
  }
  if (!loopback) {
    auto tls = pairing_.tls();
    if (!tls) return tls.error();
    web.tls = *tls;
  }
  const std::string place = (web.tls ? "https://" : "http://") + in_url(web.address) + ":";
  if (auto listening = web_.listen(std::move(web)); !listening) return listening;
  room_.places.page.emplace(place + std::to_string(web_.port()) + "/");
  pairing_.main_listens(web_.port());
  return {};
}

void Server::stop() {
  socket_.stop();
  web_.stop();
  publisher_.close_all();
  pairing_.stop();
}

std::shared_ptr<Session> Server::make_session(Visitor visitor) {
  if (publisher_.sessions() >= kMostClients) return nullptr;
  if (!visitor.local) make_room_for_another_device();
  auto session = std::make_shared<Session>(++last_client_, room_, std::move(visitor));
  publisher_.add(session);
  return session;
}

// Whoever is in the network may connect and show no token. They must not take the places of the player.
void Server::make_room_for_another_device() {
  const auto& all = publisher_.all();
  const auto oldest_if = [&](std::size_t most, const std::function<bool(const Session&)>& which) {
    std::shared_ptr<Session> oldest;
    std::size_t count = 0;
    for (const auto& each : all) {
      if (!which(*each)) continue;
      if (count++ == 0) oldest = each;
    }
    if (count >= most) oldest->close();
  };
  oldest_if(kMostStrangers, [](const Session& session) { return !session.trusted(); });
  oldest_if(kMostClients / 2, [](const Session& session) { return !session.visitor().local; });
}

void Server::publish_moment(const listen::Moment& moment) {
  if (publisher_.moment_wanted()) {
    moment_message_ = moment_message(moment, *list_text_);
    publisher_.moment(moment_message_);
  } else {
    moment_message_ = nullptr;
  }
  *moment_ = moment;
}

Buffer Server::newest_moment() {
  if (!moment_message_) moment_message_ = moment_message(*moment_, *list_text_);
  return moment_message_;
}

Buffer Server::newest_status() {
  return status_message(stage_, store_.health(), publisher_.log_end());
}

void Server::publish_status() {
  publisher_.status(newest_status());
}

void Server::publish_log(const std::vector<takes::Line>& lines) {
  publisher_.log(lines);
}

}  // namespace undersong::server
