// Makes folders that only the player can open: for sockets, takes and settings.
//
// Threads: any.
// Errors: one sentence with the path and the system's reason.
// Source: none needed.
#pragma once

#include <filesystem>

#include "daemon/base/result.h"

namespace undersong {

// Makes `folder` and any missing parent folders, each with mode 0700. A folder that already exists keeps its
// mode, because whoever made it decided who may enter.
Result<void> make_private_folder(const std::filesystem::path& folder);

}  // namespace undersong
