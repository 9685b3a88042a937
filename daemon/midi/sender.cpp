#include "daemon/midi/sender.h"

#include "daemon/base/caught.h"
#include "daemon/midi/punctual.h"
#include "daemon/midi/source.h"

namespace undersong::midi {
namespace {

using namespace std::chrono_literals;

// Checking the port may take this long, so it is done only when the next message is further away.
constexpr Micros kRoomToTend{50'000};
constexpr Micros kFar = Micros::max();

std::chrono::steady_clock::time_point on_clock(Micros at) {
  return std::chrono::steady_clock::time_point(at);
}

}  // namespace

Sender::Sender(std::unique_ptr<Sink> sink, std::function<void()> changed,
               std::function<void(const Event&)> sent)
    : changed_(std::move(changed)), sent_(std::move(sent)), sink_(std::move(sink)) {
  if (sink_) sink_->watch([this] { look(); });
  thread_ = std::thread([this] { run(); });
}

Sender::~Sender() {
  {
    const std::lock_guard lock(mutex_);
    quit_ = true;
  }
  wake_.notify_one();
  thread_.join();
}

bool Sender::send(const Event& message) {
  {
    const std::lock_guard lock(mutex_);
    if (!connected_ || waiting_.size() >= kMostWaiting) return false;
    waiting_.push_back(message);
  }
  wake_.notify_one();
  return true;
}

void Sender::play(std::shared_ptr<const Score> score, Micros begin) {
  {
    const std::lock_guard lock(mutex_);
    silence_ = true;
    score_ = std::move(score);
    begin_ = begin;
    next_ = 0;
  }
  wake_.notify_one();
}

void Sender::stop() {
  {
    const std::lock_guard lock(mutex_);
    silence_ = true;
    score_.reset();
    waiting_.clear();
  }
  wake_.notify_one();
}

void Sender::use(std::unique_ptr<Sink> sink) {
  {
    const std::lock_guard lock(mutex_);
    new_sink_ = std::move(sink);
    score_.reset();
    waiting_.clear();
    connected_ = false;
    port_name_.clear();
    listeners_.reset();
    trouble_ = "The MIDI output is being opened.";
  }
  wake_.notify_one();
}

void Sender::look() {
  {
    const std::lock_guard lock(mutex_);
    look_ = true;
  }
  wake_.notify_one();
}

std::string Sender::port_name() const {
  const std::lock_guard lock(mutex_);
  return port_name_;
}
std::string Sender::trouble() const {
  const std::lock_guard lock(mutex_);
  return trouble_;
}

std::optional<unsigned> Sender::listeners() const {
  const std::lock_guard lock(mutex_);
  return listeners_;
}
std::vector<std::string> Sender::offered() const {
  const std::lock_guard lock(mutex_);
  return offered_;
}

Micros Sender::due() const {
  if (!score_) return kFar;
  return begin_ + (next_ < score_->events.size() ? score_->events[next_].at : score_->length);
}

void Sender::next_event() {
  if (++next_ < score_->events.size()) return;
  if (!score_->repeat_from) return;  // the end of the score is still to come
  // Repeat, exactly one repetition later.
  const Micros round = score_->length - *score_->repeat_from;
  std::size_t first = 0;
  while (first < score_->events.size() && score_->events[first].at < *score_->repeat_from) ++first;
  if (round <= Micros(0) || first == score_->events.size()) return;
  begin_ += round;
  next_ = first;
}

void Sender::emit(Lock& lock, Event message, bool of_score) {
  lock.unlock();
  const Micros meant = message.at;
  message.at = steady_now();  // echoes are recognised by this time
  if (sink_->send(message)) sounding_.sent(message);
  if (of_score && sent_) {
    message.at = meant;
    sent_(message);
  }
  lock.lock();
}

void Sender::silence(Lock& lock) {
  lock.unlock();
  end_sounds();
  lock.lock();
}

// A message that can't be sent must not leave the notes after it hanging.
void Sender::end_sounds() {
  sounding_.release(steady_now(), [this](const Event& message) {
    try {
      sink_->send(message);
    } catch (...) {
      (void)caught("a note was ended on the MIDI output");
    }
  });
}

void Sender::tend(Lock& lock) {
  look_ = false;
  lock.unlock();
  const auto opened = sink_->tend();
  const bool is = sink_->connected();
  const std::string name = sink_->port_name();
  const auto listeners = is ? sink_->listeners() : std::nullopt;
  auto offered = sink_->offered();
  lock.lock();
  if (new_sink_) return;  // another sink has replaced this one
  const std::string trouble = is ? "" : opened ? "The MIDI output is not there." : opened.error().message;
  if (is == connected_ && name == port_name_ && trouble == trouble_ && listeners == listeners_ &&
      offered == offered_)
    return;
  if (!is) {  // what sounded has ended with the port
    sounding_ = {};
    waiting_.clear();
    score_.reset();
  }
  connected_ = is;
  port_name_ = name;
  trouble_ = trouble;
  listeners_ = listeners;
  offered_ = std::move(offered);
  lock.unlock();
  if (changed_) changed_();
  lock.lock();
}

// Does one thing that is due, or waits for the next.
void Sender::turn(Lock& lock, Micros& tend_at) {
  if (silence_) {
    silence_ = false;
    return silence(lock);
  }
  if (new_sink_) {
    auto next = std::move(new_sink_);
    silence(lock);
    lock.unlock();
    sink_ = std::move(next);  // closes the previous sink
    if (sink_) sink_->watch([this] { look(); });
    lock.lock();
    tend_at = steady_now();
    return;
  }
  if (!waiting_.empty()) {
    const Event message = waiting_.front();
    waiting_.pop_front();
    return emit(lock, message, false);
  }
  const Micros now = steady_now(), next = due();
  if (next <= now) {
    if (next_ < score_->events.size()) {
      Event message = score_->events[next_];
      message.at = next;
      next_event();
      return emit(lock, message, true);
    }
    score_.reset();  // the score has ended
    silence_ = true;
    return;
  }
  if ((look_ || now >= tend_at) && next - now > kRoomToTend) {
    tend_at = now + Micros(kTendEvery);  // set before the call, so that it holds even if tend throws
    // JACK tells of a connection before it shows it, and a service that comes has its files before it
    // answers.
    const bool again = look_;
    tend(lock);
    const bool told = !sink_->connected() && sink_->tells_when_it_can();
    tend_every_ = again  ? kTendSoon
                  : told ? std::min<Micros>(2 * tend_every_, kTendRarely)
                         : Micros(kTendEvery);
    tend_at = steady_now() + tend_every_;
    return;
  }
  // An overdue check waits until there is time for it.
  wake_.wait_until(lock, on_clock(std::min(next, now >= tend_at ? next : tend_at)));
}

void Sender::run() {
  be_punctual("midi-out");
  Lock lock(mutex_);
  Micros tend_at = steady_now();
  while (!quit_) {
    try {
      turn(lock, tend_at);
    } catch (...) {  // that message is lost; the next one is sent normally
      if (!lock.owns_lock()) lock.lock();
      try {
        trouble_ = caught("a message was sent to the MIDI output").message;
        lock.unlock();
        if (changed_) changed_();
      } catch (...) {  // there is no memory left even for the message
      }
      if (!lock.owns_lock()) lock.lock();
    }
  }
  lock.unlock();
  try {
    end_sounds();
    sink_.reset();
  } catch (...) {  // the port is closed anyway
  }
}

}  // namespace undersong::midi
