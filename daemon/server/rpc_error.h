// From our errors to the codes of JSON-RPC, in one place.
#pragma once

#include "daemon/base/result.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::RpcCode rpc_code(ErrorCode code);

}  // namespace undersong::server
