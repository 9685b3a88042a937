// Text from a column of the store. A damaged file may hold any bytes; what is read is UTF-8.
//
// Threads: that of the statement. Errors: none.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <string>

#include "daemon/base/utf8.h"

namespace undersong::takes {

inline std::string text_of(const SQLite::Column& column) {
  return as_utf8(column.getString());
}

}  // namespace undersong::takes
