// The program's version, from CMakeLists.txt.
//
// Threads: a constant.
#pragma once

#include <string_view>

namespace undersong::app {
inline constexpr std::string_view kVersion = UNDERSONG_VERSION;
}
