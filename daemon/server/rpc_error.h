// Maps our error codes to those of JSON-RPC.
//
// Threads: a pure function.
// Errors: none; the function is total.
#pragma once

#include "daemon/base/result.h"
#include "protocol/rpc_code.h"

namespace undersong::server {

protocol::RpcCode rpc_code(ErrorCode code);

}  // namespace undersong::server
