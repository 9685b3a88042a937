// Requests about the connection and the state of the daemon: hello, subscriptions, moment, status, places.
#include <utility>

#include "daemon/server/connection_wire.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"
#include "daemon/server/wire.h"

namespace undersong::server {
namespace {

Session::Topics topics_of(const std::vector<protocol::Topic>& named) {
  Session::Topics out;
  for (const protocol::Topic topic : named)
    (topic == protocol::Topic::kMoment   ? out.moment
     : topic == protocol::Topic::kStatus ? out.status
                                         : out.log) = true;
  return out;
}

protocol::Subscribed subscribed(Session& session) {
  protocol::Subscribed out;
  const auto topics = session.topics();
  if (topics.moment) out.topics.push_back(protocol::Topic::kMoment);
  if (topics.status) out.topics.push_back(protocol::Topic::kStatus);
  if (topics.log) out.topics.push_back(protocol::Topic::kLog);
  out.log_next = session.log_next();
  out.store = session.room().store.health().id;
  return out;
}

}  // namespace

void answer(Session& session, const protocol::Hello& wish, To<protocol::Welcome> to) {
  const Shown shown = session.show_token(wish.token);
  if (shown.kind == Shown::Kind::kWait)
    return to.reply.error(protocol::RpcCode::kExhausted, wait_sentence(shown));
  if (shown.kind == Shown::Kind::kWrong)
    return to.reply.error(protocol::RpcCode::kTokenNeeded, "The token is missing or wrong.");
  to(welcome_of(session.room().program_version, session.visitor()));
}

void answer(Session& session, const protocol::Subscribe& wish, To<protocol::Subscribed> to) {
  session.subscribe(topics_of(wish.topics), wish.log_from);
  to(subscribed(session));
}

void answer(Session& session, const protocol::Unsubscribe& wish, To<protocol::Subscribed> to) {
  session.unsubscribe(topics_of(wish.topics));
  to(subscribed(session));
}

void answer(Session& session, const protocol::GetMoment&, To<protocol::Moment> to) {
  to.reply.result(std::string(params_of(*session.room().newest_moment())));
}

void answer(Session& session, const protocol::GetStatus&, To<protocol::Status> to) {
  to.reply.result(std::string(params_of(*session.room().newest_status())));
}

void answer(Session& session, const protocol::GetPlaces&, To<protocol::Places> to) {
  to(places_of(session.room().places));
}

}  // namespace undersong::server
