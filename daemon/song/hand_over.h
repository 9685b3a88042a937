// A take as a folder for other musicians: parts.mid, lead_sheet.musicxml, chart.txt.
//
// Threads: pure; write_folder touches the disk. Errors: one sentence: nothing played, one note, no chord.
// What was found wanting but did not stop anything (no pulse, no melody) stands in `remarks`, a sentence
// each.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/song/form.h"
#include "daemon/song/midi_parts.h"
#include "daemon/song/take_study.h"

namespace undersong::song {

struct HandOverOptions {
  std::string title = "Untitled";
  PartsOptions parts;
};

struct File {
  std::string name;  // without folder
  std::vector<std::uint8_t> bytes;
};

struct Folder {
  std::vector<File> files;
  Form form;
  std::vector<std::string> remarks;
  int pad_motion = 0, pad_parallels = 0;
};

// `events` in the order received, time 0 at the take's beginning; `study` is of these.
Result<Folder> hand_over(const std::vector<midi::Event>& events, const TakeStudy& study,
                         const HandOverOptions& options);
Result<Folder> hand_over(const Played& played, const HandOverOptions& options);

// Makes the directory if there is none. All files are written beside their names first and then renamed, so
// that a reader never sees half a file. A directory that is not empty is refused unless `force`; other files
// in it are left alone then.
Result<void> write_folder(const Folder& folder, const std::filesystem::path& directory, bool force);

}  // namespace undersong::song
