// The bodies of the templates of connection.h. They read and write whole messages, which takes the compiler
// long; so they are compiled once for all of Requests and Notifications, in the files connection_codec_*.cpp,
// and in no other.
//
// Threads: pure.
// Errors: as connection.h says.
#pragma once

#include "protocol/connection.h"

namespace undersong::protocol {

template <class T>
Read<typename T::Reply> Connection::request(const T& params, std::chrono::milliseconds timeout) {
  auto reply = request(T::kMethod, to_json(params), timeout);
  if (!reply) return reply.error();
  return read_value<typename T::Reply>(*reply, std::string("The reply to ") + T::kMethod);
}

template <class T>
std::optional<Read<T>> Notification::as() const {
  if (method != T::kMethod) return std::nullopt;
  return read_value<T>(params, method);
}

// Every request of List is compiled where this is called: its address is taken, and may not be left out.
template <class List>
void compile_requests() {
  boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, List>>([](auto id) {
    using T = typename decltype(id)::type;
    [[maybe_unused]] Read<typename T::Reply> (Connection::*volatile kept)(
        const T&, std::chrono::milliseconds) = &Connection::request<T>;
  });
}
template <class List>
void compile_notifications() {
  boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, List>>([](auto id) {
    using T = typename decltype(id)::type;
    [[maybe_unused]] std::optional<Read<T>> (Notification::*volatile kept)() const = &Notification::as<T>;
  });
}

}  // namespace undersong::protocol
