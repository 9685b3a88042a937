#include "daemon/takes/idiom_keeper.h"

#include <algorithm>
#include <utility>

namespace undersong::takes {

void IdiomKeeper::kept(const std::vector<Line>& lines) {
  const auto matters = [](const Line& line) {
    return line.kind == LineKind::kTakeEnd || line.kind == LineKind::kDelete ||
           line.kind == LineKind::kRestore || line.kind == LineKind::kUnmark;
  };
  if (std::any_of(lines.begin(), lines.end(), matters)) load();
}

void IdiomKeeper::load() {
  again_ = std::exchange(busy_, true);
  if (!again_) count();
}

void IdiomKeeper::count() {
  world_.store.count_own(kAtOnce, [this, alive = std::weak_ptr(alive_)](Result<std::uint64_t> left) {
    if (alive.expired()) return;
    if (left && *left > 0) return count();
    add_up();  // also if some could not be counted
  });
}

void IdiomKeeper::add_up() {
  world_.store.own([this, alive = std::weak_ptr(alive_)](Result<OwnIdiom> fresh) {
    if (alive.expired()) return;
    busy_ = false;
    if (fresh) take(std::move(*fresh));
    if (std::exchange(again_, false)) load();
  });
}

void IdiomKeeper::take(OwnIdiom fresh) {
  if (fresh.damaged > damaged_told_)
    world_.say(std::to_string(fresh.damaged) +
               " takes are left out of your own harmony, because what was counted of them is damaged.");
  damaged_told_ = fresh.damaged;
  now_ = std::move(fresh);
  world_.changed(now_);
}

void IdiomKeeper::erase(std::int64_t utc_ms, Store::Answer<OwnIdiom> answer) {
  world_.store.erase_own(
      utc_ms, [this, alive = std::weak_ptr(alive_), answer = std::move(answer)](Result<OwnIdiom> left) {
        if (!alive.expired() && left) take(*left);
        answer(std::move(left));
      });
}

}  // namespace undersong::takes
