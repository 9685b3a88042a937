// Which user of this machine has the other end of a TCP connection over loopback. Every user of a machine can
// connect to its loopback ports, so the page asks before it lets somebody in; the Unix socket need not,
// because of its mode.
//
//   if (user_of_peer(theirs, ours) == Peer::kOtherUser) refuse();
//
// Units: none.
// Threads: any; reads a table of the kernel, which takes well under a millisecond on a desk.
// Errors: kUnknown where the kernel does not show its table.
// Source: proc(5), /proc/net/tcp.
#pragma once

#include <sys/types.h>

#include <boost/asio/ip/tcp.hpp>
#include <optional>
#include <string_view>

namespace undersong::server {

enum class Peer : std::uint8_t {
  kThisUser,  // or root, who can do everything anyway
  kOtherUser,
  kUnknown,
};

// A connection that its owner has closed already belongs to nobody, so it is kOtherUser.
Peer user_of_peer(const boost::asio::ip::tcp::endpoint& theirs, const boost::asio::ip::tcp::endpoint& ours);

// The owner of the end `theirs`, in a table as /proc/net/tcp or tcp6 have it; none if it is not there or has
// no owner any more.
std::optional<uid_t> owner_in(std::string_view table, const boost::asio::ip::tcp::endpoint& theirs,
                              const boost::asio::ip::tcp::endpoint& ours);

}  // namespace undersong::server
