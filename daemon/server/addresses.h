// The addresses of this machine that another device of the same network can type, the likeliest first.
//
//   for (const std::string& address : machine_addresses()) show("http://" + in_url(address) + ":8345/");
//
// Threads: any. `machine_addresses` asks the system, which takes some microseconds.
// Errors: none; no address if the system names none.
// Source: private networks are RFC 1918, link-local addresses RFC 3927 and RFC 4291. The names of virtual
// interfaces are common practice, no source.
#pragma once

#include <string>
#include <vector>

namespace undersong::server {

struct InterfaceAddress {
  std::string interface, address;  // "wlan0", "192.168.1.20"
};

// Of all interfaces that are up: no loopback and no link-local addresses.
std::vector<InterfaceAddress> interface_addresses();
// The likeliest first: IPv4 of private networks, other IPv4, IPv6; those of virtual interfaces (bridges,
// containers, tunnels) last.
std::vector<std::string> best_first(const std::vector<InterfaceAddress>& all);
std::vector<std::string> machine_addresses();
// The machine's name; "" if it has none.
std::string machine_name();
// As it stands in a URL: IPv6 in brackets.
std::string in_url(const std::string& address);

}  // namespace undersong::server
