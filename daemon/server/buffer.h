// A message ready to be sent, newline at the end, shared by all who get it.
#pragma once

#include <memory>
#include <string>

namespace undersong::server {

using Buffer = std::shared_ptr<const std::string>;

}  // namespace undersong::server
