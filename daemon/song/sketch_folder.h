// The folder where sketches are kept: a TOML file each, for people and their editors as much as for programs.
//
// Files, not rows of the store: a sketch is text that somebody edits, compares and carries along, and what
// the store keeps of takes never changes. A name is 1 to 64 letters, digits, spaces, - and _. Files are
// written beside their names and renamed, so that a reader never sees half of one. Threads: touches the disk;
// one thread at a time. Errors: one sentence.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::song {

inline constexpr std::size_t kLargestSketch = 1u << 20;

bool good_sketch_name(std::string_view name);

class SketchFolder {
 public:
  explicit SketchFolder(std::filesystem::path folder) : folder_(std::move(folder)) {}
  const std::filesystem::path& path() const { return folder_; }

  Result<std::vector<std::string>> names()
      const;  // in the order of the alphabet; none when there is no folder yet
  Result<std::string> read(const std::string& name) const;
  // With `revision`: refused (kConflict) unless what is there has it.
  Result<void> write(const std::string& name, const std::string& text,
                     const std::optional<std::string>& revision);
  // The file stays, as NAME.toml.deleted.
  Result<void> remove(const std::string& name);
  // Of a standard MIDI file named by a sketch: within the folder only.
  Result<std::filesystem::path> source(const std::string& file) const;

 private:
  Result<std::filesystem::path> file_of(const std::string& name) const;
  std::filesystem::path folder_;
};

// Changes when the text does: FNV-1a in hexadecimal. Source: Fowler, Noll & Vo (1991).
std::string revision_of(std::string_view text);

// The whole of a text file that is not larger than a sketch may be.
Result<std::string> read_sketch_file(const std::filesystem::path& file);

}  // namespace undersong::song
