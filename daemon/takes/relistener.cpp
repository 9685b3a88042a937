#include "daemon/takes/relistener.h"

#include <utility>

namespace undersong::takes {

void Relistener::nudge() {
  if (busy_ || all_heard_) return;
  busy_ = true;
  before_ = ~TakeId{0};
  next();
}

void Relistener::rest() {
  busy_ = false;
}

void Relistener::next() {
  world_.store.next_unheard(before_, [this](Result<std::optional<TakeId>> take) {
    if (!take) return rest();
    if (!*take) {
      all_heard_ = true;  // takes from now on are analysed while they are played
      rest();
      if (world_.done) world_.done(std::exchange(heard_, 0));
      return;
    }
    before_ = **take;
    world_.store.midi(*take, [this](Result<Store::Midi> midi) {
      if (!midi) return rest();
      piece(std::make_shared<ListenAgain>(midi->detail.summary, std::move(midi->events)));
    });
  });
}

void Relistener::piece(std::shared_ptr<ListenAgain> ear) {
  const bool taken = world_.aside([this, ear] {
    bool more = false;
    bool heard = true;
    try {
      more = ear->step(kPiece);
    } catch (...) {  // do not try a take for ever that cannot be analysed
      heard = false;
    }
    world_.post([this, ear, more, heard] {
      if (more) return piece(ear);
      HeardAgain found = std::move(*ear).heard();
      if (!heard) found.chords.clear(), found.keys.clear(), found.meetings.clear();
      keep(std::move(found));
    });
  });
  if (!taken) rest();
}

void Relistener::keep(HeardAgain heard) {
  world_.store.put_heard(std::move(heard), [this](Result<TakeId> kept) {
    if (!kept) return rest();
    ++heard_;
    next();
  });
}

}  // namespace undersong::takes
