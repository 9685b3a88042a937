// The second thread on which half of a search for beats is done. The daemon searches on its thread "aside".
#pragma once

#include "daemon/base/helper.h"

namespace undersong::takes {

inline constexpr const char* kBeatHelper = "aside-2";

}  // namespace undersong::takes
