#include "daemon/takes/take_times.h"

#include <spdlog/fmt/fmt.h>

namespace undersong::takes {

std::optional<Error> outside(const Summary& summary, Micros at, std::string_view where) {
  const Span span = span_of(summary);
  if (at >= span.from && at <= span.to) return std::nullopt;
  return invalid_input(fmt::format("{} is {}, outside take {}, which goes from {} to {}, in microseconds.",
                                   where, at.count(), summary.take, span.from.count(), span.to.count()));
}

}  // namespace undersong::takes
