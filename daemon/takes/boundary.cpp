#include "daemon/takes/boundary.h"

#include <utility>

namespace undersong::takes {

std::optional<Micros> Boundary::next_deadline() const {
  if (!began_) return std::nullopt;
  return last_played_ + (sounding_ ? kForgotten : silence_);
}

Boundary::Change Boundary::passed(Micros now) {
  const auto deadline = next_deadline();
  if (!deadline || now < *deadline) return {};
  began_.reset();
  return {last_played_, std::nullopt};
}

Boundary::Change Boundary::played(Micros at, bool new_note, bool sounding) {
  Change change = passed(at);
  if (new_note && !began_) {
    began_ = at;
    change.begun = at;
  }
  last_played_ = at;
  sounding_ = sounding;
  return change;
}

Boundary::Change Boundary::end(Micros at) {
  if (!std::exchange(began_, std::nullopt)) return {};
  return {at, std::nullopt};
}

}  // namespace undersong::takes
