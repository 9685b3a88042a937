// From our errors to the codes of JSON-RPC, in one place.
#pragma once

#include "daemon/base/result.h"
#include "protocol/rpc_code.h"

namespace undersong::server {

protocol::RpcCode rpc_code(ErrorCode code);

}  // namespace undersong::server
