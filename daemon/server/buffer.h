// Buffer: one message that is ready to be sent, with a newline at its end. All clients that get the message
// share the text.
//
// Threads: the text is constant and may be read by any thread.
// Errors: none.
#pragma once

#include <memory>
#include <string>

namespace undersong::server {

using Buffer = std::shared_ptr<const std::string>;

}  // namespace undersong::server
