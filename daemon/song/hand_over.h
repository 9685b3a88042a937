// A take as a folder of files for other musicians: parts.mid, lead_sheet.musicxml, chart.txt, and the parts
// of band_parts.h.
//
// Units: Micros from the beginning of the take; tempo in beats per minute, 30 to 300.
// Threads: pure functions; call them from any thread. write_folder writes to the disk; call it for one folder
// from one thread at a time.
// Errors: one sentence, for example if there are no notes, only one note, or no chord. What is only missing
// (a pulse, a melody) does not stop the hand-over and is listed in Folder::remarks.
// Source: the headers of the single files name theirs.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/song/band_parts.h"
#include "daemon/song/form.h"
#include "daemon/song/midi_parts.h"
#include "daemon/song/take_study.h"

namespace undersong::song {

struct HandOverOptions {
  std::string title = "Untitled";
  PartsOptions parts;  // its strings are also those of the written parts
};

struct Folder {
  std::vector<File> files;
  Form form;
  std::vector<std::string> remarks;
  int pad_motion = 0, pad_parallels = 0;
};

// `events`: in the order received, time 0 at the beginning of the take. `study`: made from these events.
Result<Folder> hand_over(const std::vector<midi::Event>& events, const TakeStudy& study,
                         const HandOverOptions& options);
Result<Folder> hand_over(const Played& played, const HandOverOptions& options);

// Creates the directory if there is none. All files are first written under temporary names and then renamed,
// so that a reader never sees half a file. A directory that is not empty is refused unless `force` is true;
// then its other files are left alone.
Result<void> write_folder(const Folder& folder, const std::filesystem::path& directory, bool force);

}  // namespace undersong::song
