// What is handed over can be read again: every MIDI file and every page.
#pragma once

#include <pugixml.hpp>

#include "daemon/midi/smf.h"
#include "daemon/song/hand_over.h"
#include "tests/fuzz/bytes.h"

namespace undersong::fuzz {

inline void must_be_read_again(const song::Folder& folder) {
  for (const song::File& file : folder.files) {
    if (file.name.ends_with(".mid")) {
      const auto* bytes = reinterpret_cast<const std::uint8_t*>(file.bytes.data());
      must(bool(midi::read_smf({bytes, file.bytes.size()})));
    } else if (file.name.ends_with(".musicxml")) {
      must(bool(pugi::xml_document().load_buffer(file.bytes.data(), file.bytes.size())));
    }
  }
}

}  // namespace undersong::fuzz
