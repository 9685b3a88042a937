// A kept take listened to again from its events, a piece at a time: chords in force, keys, and what the
// melody met.
//
//   ListenAgain ear(take.detail.summary, std::move(take.events));
//   while (ear.step(1000)) {}
//   store.put_heard(ear.heard(), ...);
//
// Threads: one owner. Errors: none; nothing played gives nothing heard.
#pragma once

#include <memory>
#include <vector>

#include "daemon/listen/analysis.h"
#include "daemon/listen/meetings.h"
#include "daemon/midi/event.h"
#include "daemon/takes/moments.h"
#include "daemon/takes/search.h"

namespace undersong::takes {

class ListenAgain {
 public:
  ListenAgain(const Summary& take, std::vector<midi::Event> events);
  // Hears so many events more; false when that was the last.
  bool step(std::size_t events);
  HeardAgain heard() && { return std::move(heard_); }

 private:
  void hear(const listen::Analysis& analysis);

  std::vector<midi::Event> events_;
  std::size_t next_ = 0;
  listen::Analysis analysis_;
  listen::Meetings meetings_;
  HeardAgain heard_;
};

}  // namespace undersong::takes
