// Stage: everything that happens while somebody plays, and the connections between its parts.
//
//   performance   makes the moment from events         settings      what the player may change
//   recorder      takes and their lines in the log     client_keys   notes that clients play
//   player        suggestions, takes and loops         corrections   corrections of the beat
//   own           what kept takes tell of the player's own harmony
//
// The stage carries out orders by pedal or pad and calls the parts when their deadlines are reached. The
// owner passes events and time to it; the server calls its parts to answer requests.
//
//   stage.received(event);
//   stage.catch_up();   // after the moment was published
//   if (auto due = stage.next_deadline(); due && *due <= now) stage.advance(now);
//
// Units: Micros of the events and of steady_now().
// Threads: the io thread only; the callbacks too, except where World says otherwise.
// Errors: one sentence in a Result. Nothing throws except when memory runs out.
#pragma once

#include <cstdint>
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
#include "daemon/takes/idiom_keeper.h"

namespace undersong::live {

class Stage {
 public:
  struct World {  // all references outlive the stage
    midi::Inputs& inputs;
    takes::Store& store;
    song::Studies& studies;         // for work that takes about a second
    takes::Fetcher& fetcher;        // for work that takes milliseconds
    midi::SharedEchoGuard& echoes;  // knows what was sent to the output
    // Called on the io thread; see Playback::World.
    std::function<std::unique_ptr<midi::Sink>(const std::string& name)> open_output;
    // Called on the thread "midi-out"; the owner must then call output_changed() on the io thread.
    std::function<void()> changed_output;
    // Called on the io thread when the moment, or what the status reports, has changed.
    std::function<void()> changed_moment, changed_status;
    // Called on the io thread when next_deadline() may be earlier although no event was received.
    std::function<void()> changed_deadline;
    // Called on the io thread; the wall time in milliseconds since 1970, UTC.
    std::function<std::int64_t()> utc_ms;
    // See performance.h. While a file is followed, only what we play ourselves has deadlines.
    bool follows_file = false;
    // Called on the io thread; see LiveSettings::World::keep.
    std::function<void(const Settings& configured, const Settings& now)> keep_settings{};
    // Called on the io thread with a sentence for the program's log. May be empty.
    std::function<void(const std::string&)> say{};
  };
  Stage(const StageOptions& options, World world);

  Performance& performance() { return performance_; }
  const TakeRecorder& recorder() const { return recorder_; }
  LiveSettings& settings() { return settings_; }
  Player& player() { return player_; }
  ClientKeys& client_keys() { return client_keys_; }
  BeatCorrections& corrections() { return corrections_; }
  takes::IdiomKeeper& own() { return own_; }
  // How often an order has asked for the takes that hold what was just played. A client looks for them.
  std::uint64_t finds_asked() const { return finds_asked_; }
  // How many kept takes have been studied; whoever lists takes asks again.
  std::uint64_t takes_studied() const { return takes_studied_; }
  void studied(std::uint64_t takes) { takes_studied_ += takes; }
  std::int64_t utc_ms() const { return world_.utc_ms(); }
  const midi::Inputs& inputs() const { return world_.inputs; }

  void received(const midi::Event& event) { performance_.received(event); }
  void catch_up() { performance_.catch_up(); }
  void advance(Micros now);
  std::optional<Micros> next_deadline() const;
  void output_changed() { player_.output_changed(); }
  // Lines that are now on disk.
  void kept(const std::vector<takes::Line>& lines) {
    recorder_.kept(lines);
    own_.kept(lines);
  }
  void reconfigure(const StageOptions& options);
  // Call it when the daemon stops: ends all sounds and closes the take.
  void stop();

 private:
  void obey(const listen::Order& order);
  void pin_key();
  void hear(Step step);
  void wish(float harmony::Wishes::*which, float by);
  void start_or_stop_along();
  void use_settings();

  const World world_;
  LiveSettings settings_;
  ClientKeys client_keys_;
  TakeRecorder recorder_;
  Performance performance_;
  Player player_;
  BeatCorrections corrections_;
  takes::IdiomKeeper own_;
  std::uint64_t finds_asked_ = 0, takes_studied_ = 0;
};

}  // namespace undersong::live
