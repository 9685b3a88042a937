// Folders for what belongs to the player alone: sockets, takes, settings.
//
// Threads: any. Errors: one sentence with the path.
#pragma once

#include <filesystem>

#include "daemon/base/result.h"

namespace undersong {

// Makes `folder` and those above it that are missing, each open to the user alone (0700). A folder that was
// there keeps its mode: whoever made it knows who should enter it.
Result<void> make_private_folder(const std::filesystem::path& folder);

}  // namespace undersong
