// A spill file keeps what the store could not write before it stopped, until the next start.
//
// It is a text file, so that a person can read it too:
//
//   undersong-waiting 1
//   1c291ca3 store 5b1d0c7e9a334f02 take 12 token 0f3a... path /home/ada/.local/share/undersong/takes.sqlite
//   77073096 begin 81200345 1790000000000
//   ee0e612c 2 83490112 %00%90L%4A
//   990951ba end 1
//
// Each line but the first begins with a checksum: the CRC-32 of everything after the space, as eight
// hexadecimal digits. The second line names the store that the entries belong to ("-" if it was never opened)
// and the take that was open in it (0: none). If a take was open, a `begin` line gives its time and data, so
// that the entries still find a take if that store is gone. Then each line is an entry: kind (LineKind), time
// in microseconds, data. In the data and the path, "%" and all bytes below 0x21 or above 0x7E are written as
// "%" and two hexadecimal digits. A file without its `end` line was cut short.
//
// Units: Micros on the clock of the run that made the entries.
// Threads: functions without state that read and write files; the store calls them on its thread.
// Errors: Result with one sentence.
// Source: CRC-32 as in ISO 3309 and zlib; the format is our own.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

struct Spill {
  std::string store;           // id; "" if it was never opened
  std::filesystem::path path;  // of the store
  std::string token;           // identifies this spill, so that it is read back only once
  TakeId take = 0;             // the take that was open in the store; the entries continue it
  std::optional<Entry> begin;  // the first line of that take
  std::vector<Entry> entries;
  std::size_t damaged = 0;  // lines that cannot be read or are missing
};

// Writes to the first of these folders that accepts the whole file; missing folders are created. Returns the
// path of the file.
Result<std::filesystem::path> write_spill(const Spill& spill,
                                          const std::vector<std::filesystem::path>& folders);

// The spill files in these folders that belong to a store with this file name. Only plain files of this user
// count. Oldest first.
std::vector<std::filesystem::path> find_spills(const std::filesystem::path& store,
                                               const std::vector<std::filesystem::path>& folders);

// Error if nothing in it can be used. Damage further on is counted in `damaged`.
Result<Spill> read_spill(const std::filesystem::path& file);

// Renames a damaged spill so that find_spills no longer returns it. Returns the new path, or the old one if
// it cannot be renamed.
std::filesystem::path set_aside(const std::filesystem::path& spill);

}  // namespace undersong::takes
