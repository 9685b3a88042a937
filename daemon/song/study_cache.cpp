#include "daemon/song/study_cache.h"

#include <algorithm>
#include <exception>
#include <utility>

#include "daemon/takes/take_times.h"

namespace undersong::song {

// Clamps times from a damaged or manipulated line to the take.
Played own_time(const takes::Store::Midi& take) {
  const takes::Span span = takes::span_of(take.detail.summary);
  Played out{take.events, take.said, take.detail.keys};
  for (midi::Event& event : out.events) event.at = std::max(Micros(0), span.within(event.at) - span.from);
  for (auto* lines : {&out.said, &out.keys})
    for (takes::Line& line : *lines) line.at = span.within(line.at) - span.from;
  return out;
}

StudyCache::Study StudyCache::study(const takes::Store::Midi& take, bool wanted,
                                    const takes::StudyReached& reached) {
  const Key key{take.detail.summary.take, take.detail.summary.last_line, take.said.size()};
  std::promise<Study> promise;
  std::list<UnderWay>::iterator mine;
  {
    std::unique_lock lock(mutex_);
    for (auto it = remembered_.begin(); it != remembered_.end(); ++it)
      if (it->key == key) {
        remembered_.splice(remembered_.begin(), remembered_, it);
        return it->study;
      }
    for (auto& each : under_way_)
      if (each.key == key) {
        each.wanted = each.wanted || wanted;
        const auto theirs = each.study;
        lock.unlock();
        return theirs.get();
      }
    under_way_.push_back({key, promise.get_future().share(), wanted});
    mine = std::prev(under_way_.end());
  }
  Study made;
  std::exception_ptr failed;
  try {
    StudyProgress::Under under(progress_, key.take);
    made = std::make_shared<const TakeStudy>(study_take(own_time(take), [&](double share) {
      under.reach(share);
      if (reached) reached(share);
    }));
  } catch (...) {
    failed = std::current_exception();
  }
  {
    const std::lock_guard lock(mutex_);
    if (made) {
      const bool known = std::any_of(remembered_.begin(), remembered_.end(),
                                     [&](const Remembered& each) { return each.key.take == key.take; });
      if (mine->wanted || known) remember(key, made);
    }
    under_way_.erase(mine);
  }
  if (failed) {
    promise.set_exception(failed);
    std::rethrow_exception(failed);
  }
  promise.set_value(made);
  return made;
}

// REQUIRES: mutex_ is held.
void StudyCache::remember(const Key& key, Study study) {
  remembered_.remove_if([&](const Remembered& known) { return known.key.take == key.take; });
  remembered_.push_front({key, std::move(study)});
  if (remembered_.size() > kRemembered) remembered_.pop_back();
}

}  // namespace undersong::song
