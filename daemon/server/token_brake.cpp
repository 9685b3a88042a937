#include "daemon/server/token_brake.h"

#include <algorithm>

#include <boost/asio/ip/address.hpp>

namespace undersong::server {
namespace {

std::string key_of(const std::string& address) {
  boost::system::error_code failed;
  const auto parsed = boost::asio::ip::make_address(address, failed);
  if (failed || !parsed.is_v6()) return address;
  auto bytes = parsed.to_v6().to_bytes();
  std::fill(bytes.begin() + 8, bytes.end(), 0);
  return boost::asio::ip::make_address_v6(bytes).to_string();
}

}  // namespace

TokenBrake::Clock TokenBrake::wait(const std::string& address, Clock now) const {
  const auto found = tries_.find(key_of(address));
  return found == tries_.end() ? Clock(0) : std::max(Clock(0), found->second.until - now);
}

TokenBrake::Clock TokenBrake::wrong(const std::string& address, Clock now) {
  std::erase_if(tries_, [&](const auto& each) { return now - each.second.last > kForgetAfter; });
  const std::string key = key_of(address);
  if (tries_.size() >= kMostAddresses && !tries_.contains(key))
    tries_.erase(std::min_element(tries_.begin(), tries_.end(), [](const auto& a, const auto& b) {
      return a.second.last < b.second.last;
    }));
  Tries& tries = tries_[key];
  ++tries.wrong;
  tries.last = now;
  const int over = tries.wrong - kFree;
  if (over <= 0) return Clock(0);
  const Clock wait = over > 16 ? kLongestWait : std::min(kLongestWait, kFirstWait * (1 << (over - 1)));
  tries.until = now + wait;
  return wait;
}

void TokenBrake::right(const std::string& address) {
  tries_.erase(key_of(address));
}

}  // namespace undersong::server
