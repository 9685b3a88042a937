// Reads any bytes as a MIDI file. The reader returns a file or a sentence. A file that it accepts can be
// written and read again.
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
    // The only file that can be read but not written has a silence longer than the longest delta time. In the
    // original, an event that is not kept divided it.
    if (written.error().message.find("is silent for") == std::string::npos) std::abort();
    return 0;
  }
  const auto again = read_smf(*written);
  if (!again || merged_events(*again) != merged_events(*file)) std::abort();
  return 0;
}
