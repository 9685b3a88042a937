// The folder that holds the sketches, one TOML file each, so that people, editors and programs can work on
// them.
//
// Sketches are files and not rows of the store, because they are texts to edit, compare and copy, while the
// log of takes never changes. A name has 1 to 64 letters, digits, spaces, "-" and "_". Files are first
// written under temporary names and then renamed, so that a reader never sees half a file.
//
// Units: sizes in bytes.
// Threads: functions read and write files; use a folder from one thread at a time.
// Errors: Result with one sentence.
// Source: FNV-1a, Fowler, Noll & Vo (1991), for revisions.
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

  // In alphabetical order; empty if there is no folder yet.
  Result<std::vector<std::string>> names() const;
  Result<std::string> read(const std::string& name) const;
  // With `revision`: refused with kConflict if the stored text no longer has this revision.
  Result<void> write(const std::string& name, const std::string& text,
                     const std::optional<std::string>& revision);
  // Renames the file to NAME.toml.deleted.
  Result<void> remove(const std::string& name);
  // The path of a standard MIDI file named in a sketch. Only files within the folder are allowed.
  Result<std::filesystem::path> source(const std::string& file) const;

 private:
  Result<std::filesystem::path> file_of(const std::string& name) const;
  std::filesystem::path folder_;
};

// A hash of the text, so that it changes when the text does: FNV-1a as 16 hexadecimal digits.
std::string revision_of(std::string_view text);

// Reads a whole text file of at most kLargestSketch bytes.
Result<std::string> read_sketch_file(const std::filesystem::path& file);
// Writes it under a temporary name first.
Result<void> write_sketch_file(const std::filesystem::path& file, const std::string& text);

}  // namespace undersong::song
