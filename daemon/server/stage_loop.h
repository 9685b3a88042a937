// The loop of the stage: gives it the events of the inputs and its time, and publishes once what many events
// may have changed. What was heard is told before anything else is done with it.
//
//   StageLoop loop(io, inputs, world);
//   live::Stage stage(options, {..., .changed_moment = [&] { loop.changed_moment(); }, ...});
//   loop.begin(stage);
//
// Threads: that of `io`. Errors: what is thrown on the way is told to `failed`, one sentence, and the loop
// goes on: what is done for one event must not end it for all.
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
    std::function<void()> publish_moment, publish_status;
    std::function<void(const Error&)> failed;
    std::function<void()> ended{};  // the file that is played to us; may be empty
  };
  StageLoop(boost::asio::io_context& io, midi::Inputs& inputs, World world);
  ~StageLoop();

  // Calls of the stage: see Stage::World.
  void changed_moment() { changed(moment_changed_); }
  void changed_status() { changed(status_changed_); }
  void changed_deadline() { changed(deadline_changed_); }

  // `stage` outlives the loop, or its `stop`.
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
