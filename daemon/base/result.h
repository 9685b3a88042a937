// Result<T>: a value or an Error that a person can read.
//
//   Result<Config> load(path);
//   if (auto config = load(path); !config) log(config.error().message);
//
// Errors carry one sentence that says what was wrong and where. Exceptions end at a folder's border: what a
// library throws is turned into an Error in the folder that calls it.
#pragma once

#include <boost/system/result.hpp>
#include <cstdint>
#include <stdexcept>
#include <string>
#include <utility>

namespace undersong {

enum class ErrorCode : std::uint8_t {
  kInvalidInput,  // the caller or a file gave something that can't be used
  kNotFound,      // no such take, port, file
  kUnavailable,   // a device, server or store isn't there now; trying later may work
  kConflict,      // another instance, a locked store
  kExhausted,     // disk or a stated bound is full
  kInternal,      // a fault of ours
};

struct Error {
  ErrorCode code = ErrorCode::kInternal;
  std::string message;  // one sentence: what, where
};

// What boost::system::result does when .value() is called on an error.
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
