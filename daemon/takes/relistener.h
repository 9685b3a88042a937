// Listens again to kept takes that an older ear has heard, or none: newest first, one at a time, in pieces on
// a thread of low priority, so that neither playing nor a question waits for more than one piece. What is
// done is remembered with the take, so it goes on after a stop where it was.
//
// Threads: all calls, and what `post` runs, on the owner's thread; pieces on that of `aside`, which must have
// stopped before this goes. Errors: a take that can't be heard counts as heard; when the store can't be read
// or written it waits for the next `nudge`.
#pragma once

#include <functional>
#include <memory>

#include "daemon/takes/listen_again.h"
#include "daemon/takes/store.h"

namespace undersong::takes {

class Relistener {
 public:
  using Work = std::function<void()>;
  struct World {
    Store& store;
    std::function<bool(Work)> aside;  // false: too much waits already
    std::function<void(Work)> post;   // to the owner's thread
    std::function<void(std::uint64_t takes)>
        done;  // all are heard; so many were listened to again since it last said so
  };
  static constexpr std::size_t kPiece = 2000;  // events; some 20 ms

  explicit Relistener(World world) : world_(std::move(world)) {}
  // Begins, or goes on after trouble. Cheap when there is nothing to do: call it at the start and now and
  // then.
  void nudge();

 private:
  void next();
  void piece(std::shared_ptr<ListenAgain> ear);
  void keep(HeardAgain heard);
  void rest();

  World world_;
  TakeId before_ = ~TakeId{0};
  bool busy_ = false, all_heard_ = false;
  std::uint64_t heard_ = 0;
};

}  // namespace undersong::takes
