// The first 100 bytes of a file of takes. Nearly all of them are the same in every store, so a few damaged
// ones can be put right, and need not cost the whole file.
//
// Threads: one at a time, while the file is closed.
// Errors: nothing is changed if the file is another program's, cannot be read, or is damaged further.
// Source: "Database File Format", sqlite.org/fileformat2.html, section 1.3.
#pragma once

#include <filesystem>
#include <string>

namespace undersong::takes {

// Puts right what the header of a store must say. The bytes as they were are kept beside the file, in
// "NAME.header-N". Returns one sentence about it; "" if there was nothing to do.
std::string mend_header(const std::filesystem::path& path);

}  // namespace undersong::takes
