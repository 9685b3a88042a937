// The stage: everything that goes on while somebody plays, and who of it hears whom.
//
//   performance       events to the moment                 settings   what the player may change
//   recorder          takes and their lines in the log     client_keys   keys that clients play on
//   player            what we play                         corrections   of beats
//
// It carries out the orders of pedals and pads, and gives time to who waits for it. The owner of the threads
// gives it events and time; the server answers requests with its members.
//
// Threads: the io thread only. Errors: sentences in Results; nothing throws but memory exhaustion.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/live/beat_corrections.h"
#include "daemon/live/client_keys.h"
#include "daemon/live/live_settings.h"
#include "daemon/live/performance.h"
#include "daemon/live/player.h"
#include "daemon/live/stage_options.h"
#include "daemon/live/take_recorder.h"

namespace undersong::live {

class Stage {
 public:
  struct World {  // all outlive the stage
    midi::Inputs& inputs;
    takes::Store& store;
    song::Studies& studies;         // what takes a second
    takes::Fetcher& fetcher;        // what takes milliseconds
    midi::SharedEchoGuard& echoes;  // of what is sent to the output
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    std::function<void()> changed_output;  // called from another thread; output_changed() is wanted then
    std::function<void()> changed_moment, changed_status;
    std::function<void()>
        changed_deadline;  // next_deadline() may be earlier now although nothing was received
    std::function<std::int64_t()> utc_ms;
    bool follows_file = false;  // see performance.h; only what we play ourselves falls due by the clock then
    std::function<void(const Settings& configured, const Settings& now)> keep_settings{};
  };
  Stage(const StageOptions& options, World world);

  Performance& performance() { return performance_; }
  const TakeRecorder& recorder() const { return recorder_; }
  LiveSettings& settings() { return settings_; }
  Player& player() { return player_; }
  ClientKeys& client_keys() { return client_keys_; }
  BeatCorrections& corrections() { return corrections_; }
  const midi::Inputs& inputs() const { return world_.inputs; }

  void received(const midi::Event& event) { performance_.received(event); }
  void catch_up() { performance_.catch_up(); }
  void advance(Micros now);
  std::optional<Micros> next_deadline() const;
  void output_changed() { player_.output_changed(); }
  void kept(const std::vector<takes::Line>& lines) { recorder_.kept(lines); }
  void reconfigure(const StageOptions& options);
  // The daemon stops: sounds are ended and the take is closed.
  void stop();

 private:
  void obey(const listen::Order& order);
  void pin_key();
  void use_settings();

  const World world_;
  LiveSettings settings_;
  ClientKeys client_keys_;
  TakeRecorder recorder_;
  Performance performance_;
  Player player_;
  BeatCorrections corrections_;
};

}  // namespace undersong::live
