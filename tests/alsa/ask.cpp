// alsa_ask METHOD [PARAMS]: sends one request to the daemon and prints the result. For tests/alsa/guest.
#include <iostream>

#include "protocol/connection.h"

int main(int argc, char** argv) {
  using namespace undersong::protocol;
  if (argc < 2) return 2;
  auto daemon = Connection::open(default_socket_path());
  if (!daemon) return 1;
  const auto result = daemon->request(argv[1], argc > 2 ? argv[2] : "{}");
  std::cout << (result ? boost::json::serialize(*result) : result.error().sentence) << '\n';
  return result ? 0 : 1;
}
