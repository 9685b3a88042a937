// A song as a score for one instrument: all layers on one channel, as one piano would play them.
//
//   const auto score = song_score(form, {.section = 2, .only = true}, Velocity(64));
//   if (score) sender.play(score->score, begin);
//
// What accompanies is softer than the melody. Where two layers strike one key together, the louder one is
// heard; a key that still sounds is released before it is struck again, and then lasts as long as either
// layer wants it to.
//
// Units: Micros from the first beat of the song, in the score from its beginning.
// Threads: pure; call it from any thread.
// Errors: one sentence if there is no such section, if it is not played, or if the song is too long.
// Source: common practice, no source.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/midi/sender.h"
#include "daemon/song/form.h"

namespace undersong::song {

struct SongSpan {
  std::optional<int> section;  // of the sketch, from 1: where to begin; if empty, with the first note
  bool only = false;           // ends where that section ends
};

struct SectionTurn {
  int section = 0;  // of the sketch, from 1
  int time = 1;     // which of its repeats
  Micros at{};
};

struct SongScore {
  std::string title;
  Micros length{};      // of the whole song
  Micros from{}, to{};  // what the score has of it
  std::vector<SectionTurn> turns;
  std::shared_ptr<const midi::Score> score;
};
// `velocity`: a song that is louder on average is scaled down to this mean.
Result<SongScore> song_score(const Form& form, const SongSpan& span, Velocity velocity);

}  // namespace undersong::song
