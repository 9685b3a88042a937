// Result<T>: a value, or an Error that a person can read.
//
//   Result<Config> load(path);
//   if (auto config = load(path); !config) log(config.error().message);
//
// An Error carries one sentence that says what was wrong and where. Exceptions do not cross folders: the
// folder that calls a library turns its exceptions into Errors.
//
// Threads: plain values; any thread.
// Errors: calling value() on an error throws std::runtime_error.
// Source: boost::system::result.
#pragma once

#include <boost/system/result.hpp>
#include <cstdint>
#include <stdexcept>
#include <string>
#include <utility>

namespace undersong {

enum class ErrorCode : std::uint8_t {
  kInvalidInput,  // the caller or a file supplied something unusable
  kNotFound,      // the take, port or file does not exist
  kUnavailable,   // a device, server or store is not available now; trying later may work
  kConflict,      // another instance is running, or the store is locked
  kExhausted,     // the disk is full, or a documented limit is reached
  kInternal,      // a bug in this program
};

struct Error {
  ErrorCode code = ErrorCode::kInternal;
  std::string message;  // one sentence: what, where
};

// Called by boost::system::result when value() is used on an error.
[[noreturn]] inline void throw_exception_from_error(const Error& error, const boost::source_location&) {
  throw std::runtime_error(error.message);
}

template <class T>
using Result = boost::system::result<T, Error>;

inline Error invalid_input(std::string message) {
  return {ErrorCode::kInvalidInput, std::move(message)};
}
inline Error not_found(std::string message) {
  return {ErrorCode::kNotFound, std::move(message)};
}
inline Error unavailable(std::string message) {
  return {ErrorCode::kUnavailable, std::move(message)};
}

}  // namespace undersong
