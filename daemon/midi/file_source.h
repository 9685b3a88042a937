// Plays a standard MIDI file as if a person played it, in real time or at another speed.
//
// Events carry the file's own time, counted from the start of playback, at every speed: at ten times the
// speed the analysis still hears the same performance. After the last event a kEnded notice follows in the
// same lane. The player waits while its lane is full, so no event is lost at any speed.
//
// At another speed the wall clock does not tell the consumer how far the file has been played; only the
// player's thread knows. While it waits, it therefore pushes an empty event (size 0) with its position every
// 10 ms, and one more kAfter behind the last event. The consumer then handles everything that is due by that
// time.
//
// Units: Micros; `speed` is a factor above 0.
// Threads: one owner constructs, starts and stops; one thread of its own plays.
// Errors: start() fails for an unreadable file, a bad speed or too many inputs, with one sentence.
// Source: none needed; smf.h for the file format.
#pragma once

#include <filesystem>
#include <memory>

#include "daemon/midi/inputs.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

struct FileOptions {
  std::filesystem::path path;
  double speed = 1.0;  // above 0; infinity: do not wait
};

class FileSource : public Source {
 public:
  static constexpr Micros kAfter{500'000};
  FileSource(FileOptions options, Inputs& inputs);
  ~FileSource() override;
  Result<void> start() override;  // reads the file first; an error names file and place
  void stop() override;           // ends at once, with kPortGone and without kEnded

 private:
  class Player;
  std::unique_ptr<Player> player_;
};

}  // namespace undersong::midi
