// Songs: answers requests whose work on kept takes is long: loops, other chords for them, parts for other
// programs, and sketches of songs.
//
// The takes and their studies come from song::Studies. The work, and the writing of long answers, runs on its
// thread of low priority ("aside"), one job after another. Answers are the JSON text of the reply.
//
//   songs.loop(wish, [](Result<std::string> text) { ... });
//
// Threads: call on the io thread; answers are given there. The thread "aside" must have stopped before this
// object is destroyed.
// Errors: one sentence.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "daemon/song/sketch.h"
#include "daemon/song/sketch_folder.h"
#include "daemon/song/song_score.h"
#include "daemon/song/studies.h"
#include "protocol/song_messages.h"

namespace undersong::server {

class Songs {
 public:
  using Answer = takes::Store::Answer<std::string>;

  // `studies` must outlive this object. `sketches`: the folder of sketches; created with the first sketch.
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
  void outline(const protocol::OutlineSketch& wish, Answer answer);
  // `usual`: the mean loudness where the wish names none.
  void score(const protocol::PlaySketch& wish, Velocity usual, takes::Store::Answer<song::SongScore> answer);
  void grow(const protocol::GrowSketch& wish, Answer answer);
  void hand_over_sketch(const protocol::HandOverSketch& wish, Answer answer);

 private:
  using Takes = takes::Fetcher::Takes;
  using Text = Result<std::string>;

  void work(Answer answer, std::function<Text()> job);
  struct Read {
    std::string text;
    song::Sketch sketch;
  };
  // Reads the sketch, fetches its takes, and runs the job on the thread "aside"; or the job with the form.
  void with_sketch(const std::string& name, Answer answer,
                   std::function<Text(const Read&, const song::SourceReader&)> job);
  using Reading = std::function<Result<Read>()>;
  template <class T>
  void with_sketch(Reading read, takes::Store::Answer<T> answer,
                   std::function<Result<T>(const Read&, const song::SourceReader&)> job);
  // How to read the sketch of a request that has either a name or the sketch itself.
  Result<Reading> reading(const std::optional<std::string>& name,
                          const std::optional<protocol::SongSketch>& sketch) const;
  void with_form(const std::string& name, Answer answer, std::function<Text(const song::Form&)> job);
  // Called on the thread "aside".
  song::SourceReader reader(const Takes& takes);

  song::Studies& studies_;
  song::SketchFolder folder_;
};

}  // namespace undersong::server
