#include "daemon/server/rpc_error.h"

namespace undersong::server {

protocol::RpcCode rpc_code(ErrorCode code) {
  using protocol::RpcCode;
  switch (code) {
    case ErrorCode::kInvalidInput: return RpcCode::kInvalidParams;
    case ErrorCode::kNotFound: return RpcCode::kNotFound;
    case ErrorCode::kUnavailable: return RpcCode::kUnavailable;
    case ErrorCode::kConflict: return RpcCode::kConflict;
    case ErrorCode::kExhausted: return RpcCode::kExhausted;
    case ErrorCode::kInternal: break;
  }
  return RpcCode::kInternalError;
}

}  // namespace undersong::server
