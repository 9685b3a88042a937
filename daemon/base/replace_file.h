// replace_file: writes a small file that only the player may read, for settings, devices and keys.
//
//   if (auto kept = replace_file(folder / "paired.json", text); !kept) say(kept.error().message);
//
// The text goes to a new file beside it ("NAME.part"), which then takes the name. A crash leaves either the
// old or the new file complete.
//
// Threads: any, but one thread at a time for one file. It waits for the disk.
// Errors: one sentence that names the file; kExhausted if the disk is full.
// Source: common practice, no source.
#pragma once

#include <filesystem>
#include <string_view>

#include "daemon/base/result.h"

namespace undersong {

// The file gets mode 0600. Its folder must exist.
Result<void> replace_file(const std::filesystem::path& file, std::string_view text);

// Waits until what a file or folder holds is on disk. False if that failed, or there is none.
bool sync_to_disk(const std::filesystem::path& path);

}  // namespace undersong
