// What is worked out from kept takes and takes long: loops, other chords for them, hand-overs, and the
// sketches of songs.
//
// Takes are read from the store; the work itself runs `aside`, on a thread of low priority, one piece after
// another; answers are given on the io thread. What was found in the last few takes is remembered, so that
// asking again costs little.
//
// Threads: all calls from the io thread. The worker must have stopped before this goes. Errors: one sentence.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "daemon/song/sketch.h"
#include "daemon/song/sketch_folder.h"
#include "daemon/song/studies.h"
#include "daemon/takes/store.h"
#include "protocol/messages.h"

namespace undersong::server {

class Songs {
 public:
  using Work = std::function<void()>;
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  struct World {
    takes::Store& store;
    std::function<bool(Work)> aside;         // false: too much waits already
    std::function<void(Work)> post;          // to the io thread
    std::filesystem::path sketches;          // folder
    std::shared_ptr<song::Studies> studies;  // touched on the worker only
  };
  explicit Songs(World world) : world_(std::move(world)), folder_(world_.sketches) {}

  void loop(const protocol::GetLoop& wish, Answer<protocol::TakeLoop> answer);
  void reharmonise(const protocol::Reharmonise& wish, Answer<protocol::Reharmonised> answer);
  void hand_over(const protocol::HandOverTake& wish, Answer<protocol::HandedOver> answer);

  void list(Answer<protocol::SketchList> answer);
  void get(const std::string& name, Answer<protocol::KeptSketch> answer);
  void put(const protocol::PutSketch& wish, Answer<protocol::KeptSketch> answer);
  void remove(const std::string& name, Answer<protocol::SketchName> answer);
  void propose(const protocol::ProposeSketch& wish, Answer<protocol::SongSketch> answer);
  void outline(const std::string& name, Answer<protocol::SketchOutline> answer);
  void hand_over_sketch(const std::string& name, Answer<protocol::HandedOver> answer);

 private:
  using Midi = takes::Store::Midi;
  using Takes = std::vector<std::shared_ptr<const Midi>>;

  template <class T>
  void work(Answer<T> answer, std::function<Result<T>()> job);
  template <class T>
  void with_take(std::optional<std::uint64_t> take, Answer<T> answer,
                 std::function<Result<T>(const Midi&)> job);
  // One after another, into `so_far`; then `use` on the io thread.
  void fetch(std::vector<std::uint64_t> wanted, Takes so_far, std::function<void(Result<Takes>)> use);
  // Reads the sketch, fetches its takes, and runs the job aside.
  template <class T>
  void with_form(const std::string& name, Answer<T> answer, std::function<Result<T>(const song::Form&)> job);

  // On the worker:
  song::SourceReader reader(const Takes& takes) const;

  World world_;
  song::SketchFolder folder_;
};

}  // namespace undersong::server
