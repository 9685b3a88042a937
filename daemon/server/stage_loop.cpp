#include "daemon/server/stage_loop.h"

#include <boost/asio/post.hpp>
#include <thread>
#include <utility>

#include "daemon/base/caught.h"
#include "daemon/midi/source.h"

namespace undersong::server {

namespace asio = boost::asio;

StageLoop::StageLoop(asio::io_context& io, midi::Inputs& inputs, World world)
    : io_(io), inputs_(inputs), world_(std::move(world)), wake_(io), due_(io) {}

StageLoop::~StageLoop() {
  stop();
}

template <class Job>
void StageLoop::attempt(std::string_view while_what, Job&& job) {
  attempted(while_what, world_.failed, std::forward<Job>(job));
}

void StageLoop::begin(live::Stage& stage) {
  stage_ = &stage;
  wake_.assign(inputs_.wake_fd());
  wait_for_events();
  flush();
}

void StageLoop::stop() {
  if (!stage_) return;
  stage_ = nullptr;
  wake_.release();  // inputs_ owns the descriptor
  due_.cancel();
}

void StageLoop::wait_for_events() {
  wake_.async_wait(asio::posix::stream_descriptor::wait_read, [this](boost::system::error_code error) {
    if (error || !stage_) return;
    busy_ = true;
    bool ended = false;
    attempt("events were read from the inputs", [&] {
      inputs_.drain([&](const midi::Event& event) {
        attempt("an event was processed", [&] { stage_->received(event); });
        ended |= midi::notice_of(event) == midi::Notice::kEnded;
      });
    });
    busy_ = false;
    attempt("changes were published", [this] { flush(); });
    if (ended && world_.ended) world_.ended();
    if (stage_) wait_for_events();
  });
}

void StageLoop::arm() {
  const auto next = stage_->next_deadline();
  if (next == armed_) return;
  armed_ = next;
  if (!next) {
    due_.cancel();
    return;
  }
  due_.expires_at(
      asio::steady_timer::time_point(std::chrono::duration_cast<asio::steady_timer::duration>(*next)));
  due_.async_wait([this](boost::system::error_code error) {
    if (error || !stage_) return;
    armed_.reset();
    busy_ = true;
    attempt("a deadline was handled", [this] { stage_->advance(midi::steady_now()); });
    busy_ = false;
    attempt("changes were published", [this] { flush(); });
  });
}

void StageLoop::changed(bool& what) {
  what = true;
  if (busy_ || flush_posted_ || !stage_) return;
  flush_posted_ = true;
  asio::post(io_, [this] {
    flush_posted_ = false;
    flush();
  });
}

void StageLoop::flush() {
  if (!stage_) return;
  // On a machine with one processor, the client that reads the moment should run first.
  if (publish_moment()) std::this_thread::yield();
  busy_ = true;
  attempt("the log was written", [this] { stage_->catch_up(); });
  busy_ = false;
  attempt("the moment was published", [this] { (void)publish_moment(); });
  if (std::exchange(status_changed_, false))
    attempt("the status was published", [this] { world_.publish_status(); });
  deadline_changed_ = false;
  arm();
}

bool StageLoop::publish_moment() {
  if (!std::exchange(moment_changed_, false)) return false;
  world_.publish_moment();
  return true;
}

}  // namespace undersong::server
