#include "daemon/midi/punctual.h"

#include <pthread.h>
#include <sched.h>
#include <sys/prctl.h>

namespace undersong::midi {

void be_punctual(const char* name) {
  constexpr int kPriority = 20;  // above ordinary work and below the audio service
  pthread_setname_np(pthread_self(), name);
  prctl(PR_SET_TIMERSLACK, 1UL, 0UL, 0UL, 0UL);
  sched_param parameters{};
  parameters.sched_priority = kPriority;
  // RESET_ON_FORK keeps the threads that the MIDI service starts out of this class. If the system refuses, we
  // go on without it.
  (void)sched_setscheduler(0, SCHED_FIFO | SCHED_RESET_ON_FORK, &parameters);
}

}  // namespace undersong::midi
