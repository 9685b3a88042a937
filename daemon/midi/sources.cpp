#include "daemon/midi/sources.h"

#include <spdlog/fmt/fmt.h>

#include <array>
#include <string>

namespace undersong::midi {
namespace {

struct SourceKind {
  std::string_view name;  // as in the configuration
  std::unique_ptr<Source> (*make)(const SourceOptions& options, Inputs& inputs);
};

// The list of sources. A new one is a class that is a Source, and a row here.
constexpr std::array kKinds{
    SourceKind{"ports",
               [](const SourceOptions& options, Inputs& inputs) -> std::unique_ptr<Source> {
                 return std::make_unique<PortsSource>(options.ports, inputs, options.say);
               }},
    SourceKind{"file",
               [](const SourceOptions& options, Inputs& inputs) -> std::unique_ptr<Source> {
                 return std::make_unique<FileSource>(options.file, inputs);
               }},
};

}  // namespace

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
