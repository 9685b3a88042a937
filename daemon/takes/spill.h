// A spill file: what the store could not write before it stopped, kept in another file until the next start.
//
// Text, one line each, so that a person can read it too:
//
//   undersong-waiting 1
//   1c291ca3 store 5b1d0c7e9a334f02 take 12 token 0f3a... path /home/ada/.local/share/undersong/takes.sqlite
//   77073096 begin 81200345 1790000000000
//   ee0e612c 2 83490112 %00%90L%4A
//   990951ba end 1
//
// Each line but the first begins with its checksum: CRC-32 (as in ISO 3309 and zlib) of what follows the
// blank, as eight hexadecimal digits. The second names the store that the lines belong to ("-" when it was
// never opened) and the take that was open in it, 0 for none; `begin`, there only with such a take, is its
// time and data, so that the lines find a take when that store is gone. Then an entry a line: kind
// (LineKind), time in microseconds, data. Bytes of the data and the path below 0x21, above 0x7E and "%" are
// written as "%" and two hexadecimal digits. A file whose end is missing was cut short.
//
// The file is the user's alone (mode 0600). Threads: plain functions. Errors: Result with one sentence.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

struct Spill {
  std::string store;           // id; "" when it was never opened
  std::filesystem::path path;  // of the store
  std::string token;           // names this spill for ever
  TakeId take = 0;             // that was open in the store: the lines go on there
  std::optional<Entry> begin;  // of that take
  std::vector<Entry> entries;
  std::size_t damaged = 0;  // lines that can't be read, or the missing end; nothing is known of them
};

// In the first of these folders that takes it whole; made where missing. Gives the file.
Result<std::filesystem::path> write_spill(const Spill& spill,
                                          const std::vector<std::filesystem::path>& folders);

// Files in these folders that are named as spills of a store with this file name, belong to this user and are
// plain files.
std::vector<std::filesystem::path> find_spills(const std::filesystem::path& store,
                                               const std::vector<std::filesystem::path>& folders);

// Error when nothing can be known from it; damage further on is counted.
Result<Spill> read_spill(const std::filesystem::path& file);

// Puts a damaged spill under a name that isn't looked for again; gives that name.
std::filesystem::path set_aside(const std::filesystem::path& spill);

}  // namespace undersong::takes
