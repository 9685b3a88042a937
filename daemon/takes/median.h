// The middle of some values; of an even number of them, the upper of the two in the middle.
//
// Threads: any. Errors: 0 for none.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace undersong::takes {

inline double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace undersong::takes
