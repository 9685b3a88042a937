// TokenBrake: makes guessing a token slow. After kFree wrong tokens from an address, each further one makes
// that address wait twice as long, from kFirstWait to kLongestWait. Nothing from it is looked at while it
// waits.
//
//   if (const auto wait = brake.wait(address, now); wait > 0s) refuse(wait);
//   right ? brake.right(address) : brake.wrong(address, now);
//
// An address is forgotten kForgetAfter its last wrong token. At most kMostAddresses are remembered; the one
// that was wrong longest ago makes room. IPv6 addresses count by their network of 64 bits, because one
// machine may use all of it.
//
// Units: a monotonic clock; `now` never goes back.
// Threads: one owner.
// Errors: none.
// Source: common practice, no source.
#pragma once

#include <chrono>
#include <cstddef>
#include <map>
#include <string>

namespace undersong::server {

class TokenBrake {
 public:
  using Clock = std::chrono::milliseconds;  // of any monotonic clock
  static constexpr int kFree = 5;
  static constexpr Clock kFirstWait = std::chrono::seconds(1);
  static constexpr Clock kLongestWait = std::chrono::minutes(5);
  static constexpr Clock kForgetAfter = std::chrono::hours(1);
  static constexpr std::size_t kMostAddresses = 1024;

  // How long this address must still wait; zero if it need not.
  Clock wait(const std::string& address, Clock now) const;
  // Returns how long the address must wait now.
  Clock wrong(const std::string& address, Clock now);
  void right(const std::string& address);
  std::size_t addresses() const { return tries_.size(); }

 private:
  struct Tries {
    int wrong = 0;
    Clock last{0}, until{0};
  };
  std::map<std::string, Tries> tries_;
};

}  // namespace undersong::server
