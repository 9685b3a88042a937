// Takes for the tests of sketches: the MIDI files of configs/, studied once.
#pragma once

#include <map>
#include <memory>
#include <string>

#include "daemon/midi/smf.h"
#include "daemon/song/sketch.h"
#include "daemon/song/take_study.h"

namespace undersong::song {

inline const std::string kConfigs = std::string(UNDERSONG_SOURCE_DIR) + "/configs/";

inline Result<std::shared_ptr<const TakeStudy>> from_configs(const SketchSource& source) {
  static std::map<std::string, std::shared_ptr<const TakeStudy>> known;
  if (auto& study = known[source.file]; study) return study;
  const auto file = midi::read_smf_file(kConfigs + source.file);
  if (!file) return file.error();
  return known[source.file] = std::make_shared<const TakeStudy>(study_take({midi::merged_events(*file), {}}));
}

inline std::string why_unread(const std::string& text) {
  const auto sketch = read_sketch(text, "song.toml");
  return sketch ? "read" : sketch.error().message;
}

}  // namespace undersong::song
