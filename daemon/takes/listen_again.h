// Analyses a kept take again from its events, in small pieces: chords in force, keys, and the melody notes
// that met each chord.
//
//   ListenAgain ear(take.detail.summary, std::move(take.events));
//   while (ear.step(1000)) {}
//   store.put_heard(std::move(ear).heard(), ...);
//
// Units: Micros of the take.
// Threads: one owner; not synchronised.
// Errors: none; an empty take gives an empty result.
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
  // Analyses up to `events` more events. Returns false when there are no more.
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
