// StageLoop: runs the stage on `io`. It passes events and deadlines to the stage, and publishes the moment
// and the status once after a group of events. The moment is published before the log is written.
//
//   StageLoop loop(io, inputs, world);
//   live::Stage stage(options, {..., .changed_moment = [&] { loop.changed_moment(); }, ...});
//   loop.begin(stage);
//
// Units: deadlines are Micros of steady_now().
// Threads: the io thread; all callbacks are called there.
// Errors: what the stage or a callback throws is passed to `failed`, and the loop goes on, because one bad
// event must not end it.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <functional>
#include <optional>

#include "daemon/base/result.h"
#include "daemon/live/stage.h"
#include "daemon/midi/inputs.h"

namespace undersong::server {

class StageLoop {
 public:
  struct World {
    // Called on the io thread; send the current state to the clients.
    std::function<void()> publish_moment, publish_status;
    // Called on the io thread with one sentence about what was thrown.
    std::function<void(const Error&)> failed;
    // Called on the io thread when a file that is played in place of the ports has ended; may be empty.
    std::function<void()> ended{};
  };
  StageLoop(boost::asio::io_context& io, midi::Inputs& inputs, World world);
  ~StageLoop();

  // For the callbacks of the stage; see Stage::World.
  void changed_moment() { changed(moment_changed_); }
  void changed_status() { changed(status_changed_); }
  void changed_deadline() { changed(deadline_changed_); }

  // `stage` must live until `stop` is called or the loop is destroyed.
  void begin(live::Stage& stage);
  void stop();

 private:
  void wait_for_events();
  void arm();
  void changed(bool& what);
  void flush();
  bool publish_moment();
  template <class Job>
  void attempt(std::string_view while_what, Job&& job);

  boost::asio::io_context& io_;
  midi::Inputs& inputs_;
  const World world_;
  live::Stage* stage_ = nullptr;
  boost::asio::posix::stream_descriptor wake_;
  boost::asio::steady_timer due_;
  std::optional<Micros> armed_;
  bool busy_ = false, flush_posted_ = false, moment_changed_ = false, status_changed_ = false,
       deadline_changed_ = false;
};

}  // namespace undersong::server
