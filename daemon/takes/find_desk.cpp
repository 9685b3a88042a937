#include "daemon/takes/find_desk.h"

#include <utility>

#include "daemon/takes/find_reader.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kShelfAtOnce = 1000;
constexpr int kWaitForLockMs = 1000;

}  // namespace

void FindDesk::put(FindLines take) {
  change({Change::Kind::kPut, take.take, std::move(take)});
}

void FindDesk::erase(TakeId take) {
  change({Change::Kind::kErase, take});
}

void FindDesk::read(TakeId take) {
  change({Change::Kind::kRead, take});
}

void FindDesk::forget() {
  change({});
}

void FindDesk::change(Change change) {
  {
    const std::lock_guard lock(changing_);
    // Before anybody has asked for anything the file is read as it will be then.
    if (!begun_) return;
    waiting_.push_back(std::move(change));
  }
  const std::unique_lock looking(looking_, std::try_to_lock);
  if (looking.owns_lock()) apply();
}

void FindDesk::apply() {
  std::vector<Change> changes;
  {
    const std::lock_guard lock(changing_);
    changes.swap(waiting_);
  }
  for (Change& each : changes) {
    if (!shelf_) continue;
    switch (each.kind) {
      case Change::Kind::kPut: shelf_->put(std::move(*each.lines)); break;
      case Change::Kind::kErase: shelf_->erase(each.take); break;
      case Change::Kind::kRead: fill_find_shelf(*file_, *shelf_, each.take - 1, 1); break;
      case Change::Kind::kForget: shelf_.reset(); break;
    }
  }
}

bool FindDesk::fill_more(std::size_t most) {
  apply();
  if (!shelf_) {
    {
      // From here on changes are kept: what is written while the file is read may not be in what is read.
      const std::lock_guard lock(changing_);
      begun_ = true;
    }
    if (!file_)
      file_ = std::make_unique<SQLite::Database>(path_.string(), SQLite::OPEN_READONLY, kWaitForLockMs);
    shelf_ = std::make_unique<FindShelf>();
    shelved_ = 0;
  }
  if (!shelved_) return true;
  const TakeId last = fill_find_shelf(*file_, *shelf_, *shelved_, most);
  shelved_ = last == 0 ? std::nullopt : std::optional(last);
  return !shelved_;
}

bool FindDesk::fill(std::size_t most) {
  const std::lock_guard looking(looking_);
  return fill_more(most);
}

FoundPlaces FindDesk::find(const FindQuery& query) {
  const std::lock_guard looking(looking_);
  while (!fill_more(kShelfAtOnce)) continue;
  return find_on_shelf(*file_, *shelf_, query);
}

}  // namespace undersong::takes
