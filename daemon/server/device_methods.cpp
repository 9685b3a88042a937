// Requests about the player's other devices: open their port, pair, list, revoke.
#include <utility>

#include "daemon/server/handlers.h"
#include "daemon/server/pairing.h"
#include "daemon/server/session.h"

namespace undersong::server {
namespace {

template <class T>
auto passed_on(To<T> to) {
  return [to = std::move(to)](Result<T> made) {
    if (!made) return to(made.error());
    to(*made);
  };
}

}  // namespace

void answer(Session& session, const protocol::OpenDevices& wish, To<protocol::DeviceList> to) {
  session.room().pairing.open(wish.on, passed_on(std::move(to)));
}

void answer(Session& session, const protocol::PairDevice& wish, To<protocol::PairingCode> to) {
  session.room().pairing.pair(wish.name.value_or(""), passed_on(std::move(to)));
}

void answer(Session& session, const protocol::ListDevices&, To<protocol::DeviceList> to) {
  to(session.room().pairing.list());
}

void answer(Session& session, const protocol::RevokeDevice& wish, To<protocol::DeviceList> to) {
  session.room().pairing.revoke(wish.device, passed_on(std::move(to)));
}

}  // namespace undersong::server
