// OscOutput: tells other programs, such as lights and visuals, what sounds now, as Open Sound Control over
// UDP.
//
//   auto osc = OscOutput::open({"127.0.0.1", 9000});
//   if (!osc) return osc.error();
//   (*osc)->publish(moment, style);      // whenever the moment has changed
//
// Each change is one bundle with all of the addresses below, so that whoever missed one is right again with
// the next. Nothing is sent while nothing of it changes. Texts are empty and numbers -1 where there is
// nothing to say.
//
//   /undersong/chord     s symbol, i root 0..11, i bass 0..11, i 1 while it sounds
//   /undersong/melody    s name, i MIDI key, s degree in the chord     the newest melody note
//   /undersong/colour    f dark -1 .. 1 bright, f resolved 0 .. 1 tense
//   /undersong/key       s name
//   /undersong/beat      i beats a minute, i beat in the bar from 1, i beats a bar
//   /undersong/best      s symbol of the first chord of the list
//
// Units: as above.
// Threads: one owner, the io thread. Sending to a numeric address neither waits nor looks a name up; what the
// network can't take is lost, as UDP is. Errors: open() says in one sentence which address can't be used;
// publish() has none. Source: Open Sound Control 1.0 (Wright, 2002), by the library liblo.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "daemon/base/result.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/moment.h"

namespace undersong::server {

struct OscOptions {
  std::string address = "127.0.0.1";  // numeric, of version 4 or 6
  int port = 0;                       // 1..65,535
  friend bool operator==(const OscOptions&, const OscOptions&) = default;
};

bool is_osc_address(const std::string& text);

class OscOutput {
 public:
  static Result<std::unique_ptr<OscOutput>> open(const OscOptions& options);
  ~OscOutput();
  OscOutput(const OscOutput&) = delete;
  OscOutput& operator=(const OscOutput&) = delete;

  void publish(const listen::Moment& moment, harmony::SymbolStyle style);

 private:
  struct Told;
  explicit OscOutput(void* target);
  static Told told_of(const listen::Moment& moment, harmony::SymbolStyle style);

  void* target_;  // lo_address
  std::unique_ptr<Told> last_;
};

}  // namespace undersong::server
