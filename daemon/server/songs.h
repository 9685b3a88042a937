// What is worked out from kept takes and takes long: loops, other chords for them, hand-overs, and the
// sketches of songs.
//
// Takes come with their studies from song::Studies; the work itself runs aside, on a thread of low priority,
// one piece after another, and so does the writing of long answers. Answers are the text of the reply.
//
// Threads: all calls from the io thread; answers are given there. What runs aside must have stopped before
// this goes. Errors: one sentence.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "daemon/song/sketch.h"
#include "daemon/song/sketch_folder.h"
#include "daemon/song/studies.h"
#include "protocol/song_messages.h"

namespace undersong::server {

class Songs {
 public:
  using Answer = takes::Store::Answer<std::string>;

  // `studies` outlive this. `sketches`: the folder; made when the first is kept.
  Songs(song::Studies& studies, std::filesystem::path sketches)
      : studies_(studies), folder_(std::move(sketches)) {}

  void loop(const protocol::GetLoop& wish, Answer answer);
  void reharmonise(const protocol::Reharmonise& wish, Answer answer);
  void hand_over(const protocol::HandOverTake& wish, Answer answer);

  void list(Answer answer);
  void get(const std::string& name, Answer answer);
  void put(const protocol::PutSketch& wish, Answer answer);
  void remove(const std::string& name, Answer answer);
  void propose(const protocol::ProposeSketch& wish, Answer answer);
  void outline(const std::string& name, Answer answer);
  void hand_over_sketch(const std::string& name, Answer answer);

 private:
  using Takes = takes::Fetcher::Takes;
  using Text = Result<std::string>;

  void work(Answer answer, std::function<Text()> job);
  // Reads the sketch, fetches its takes, and runs the job aside.
  void with_form(const std::string& name, Answer answer, std::function<Text(const song::Form&)> job);
  // On the thread aside:
  song::SourceReader reader(const Takes& takes);

  song::Studies& studies_;
  song::SketchFolder folder_;
};

}  // namespace undersong::server
