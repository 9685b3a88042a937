// Plays a standard MIDI file as if somebody played it, in real time or faster.
//
// Events carry the file's own time, counted from the start of playing, whatever the speed: played ten times
// as fast, the analysis hears the same performance. When all has been played a kEnded notice follows in the
// same lane. A full lane is waited for, so nothing is lost, however fast.
//
// Only this thread knows that nothing is played before a given moment of the file, and at another speed the
// clock on the wall doesn't tell. So while it waits it says where it stands, with empty events (size 0) every
// 10 ms, and once kAfter behind the last event: whoever listens lets fall due what falls due by then.
//
// Threads: owner constructs, starts, stops; one thread of its own plays.
#pragma once

#include <filesystem>
#include <memory>

#include "daemon/midi/inputs.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

struct FileOptions {
  std::filesystem::path path;
  double speed = 1.0;  // above 0; infinity: without waiting
};

class FileSource : public Source {
 public:
  static constexpr Micros kAfter{500'000};
  FileSource(FileOptions options, Inputs& inputs);
  ~FileSource() override;
  Result<void> start() override;  // reads the file first; its error names the file and the place
  void stop() override;           // ends playing at once; no kEnded then, but kPortGone

 private:
  class Player;
  std::unique_ptr<Player> player_;
};

}  // namespace undersong::midi
