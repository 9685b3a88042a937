// Relistener analyses kept takes again if an older ear analysed them, or none did. It takes the newest first,
// one at a time, in small pieces on a thread of low priority, so that neither playing nor a question waits
// for more than one piece. Each finished take is recorded in the store, so after a restart it continues where
// it stopped.
//
// Units: kPiece in events.
// Threads: all calls come from the owner's thread (in the daemon `io`). Pieces run on the thread behind
// `aside`, which must have stopped before the Relistener is destroyed.
// Errors: a take that cannot be analysed is recorded with an empty result. If the store cannot be read or
// written, the Relistener waits for the next `nudge`.
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
    Store& store;  // its answers must arrive on the owner's thread
    // Called on the owner's thread; runs the work on a thread of low priority. False: too much waits already.
    std::function<bool(Work)> aside;
    // Called on the thread behind `aside`; runs the work on the owner's thread.
    std::function<void(Work)> post;
    // Called on the owner's thread when all takes are done. `takes`: how many were analysed since the last
    // call.
    std::function<void(std::uint64_t takes)> done;
  };
  static constexpr std::size_t kPiece = 2000;  // events; about 20 ms of work

  explicit Relistener(World world) : world_(std::move(world)) {}
  // Starts, or continues after trouble. It costs almost nothing when there is nothing to do; call it at the
  // start and from time to time.
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
