// Whatever bytes come, the reader gives a file or a sentence; what it accepts the writer can write and read
// again.
#include <cstdlib>

#include "daemon/midi/smf.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace undersong::midi;
  const auto file = read_smf({data, size});
  if (!file) {
    if (file.error().message.empty()) std::abort();
    return 0;
  }
  const auto written = write_smf(*file);
  if (!written) {
    // The one thing a reader accepts and a writer can't repeat: silence longer than a delta time, which in
    // the original was bridged by an event that isn't kept.
    if (written.error().message.find("is silent for") == std::string::npos) std::abort();
    return 0;
  }
  const auto again = read_smf(*written);
  if (!again || merged_events(*again) != merged_events(*file)) std::abort();
  return 0;
}
