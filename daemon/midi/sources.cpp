#include "daemon/midi/sources.h"

#include <spdlog/fmt/fmt.h>

#include <array>
#include <string>

namespace undersong::midi {
namespace {

constexpr std::array kKinds{
    SourceKind{"ports", "the system's MIDI input ports, as they come and go",
               [](const SourceOptions& options, Inputs& inputs) -> std::unique_ptr<Source> {
                 return std::make_unique<RtMidiSource>(options.ports, inputs, options.say);
               }},
    SourceKind{"file", "a standard MIDI file, played in real time",
               [](const SourceOptions& options, Inputs& inputs) -> std::unique_ptr<Source> {
                 return std::make_unique<FileSource>(options.file, inputs);
               }},
};

}  // namespace

std::span<const SourceKind> source_kinds() {
  return kKinds;
}

Result<std::unique_ptr<Source>> make_source(std::string_view kind, const SourceOptions& options,
                                            Inputs& inputs) {
  std::string known;
  for (const SourceKind& row : kKinds) {
    if (row.name == kind) return row.make(options, inputs);
    known += (known.empty() ? "" : ", ") + std::string(row.name);
  }
  return invalid_input(fmt::format("There is no kind of input called \"{}\"; there are: {}.", kind, known));
}

}  // namespace undersong::midi
