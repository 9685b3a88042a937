// Ears: what a MIDI service must provide to listen to its ports. PortsSource decides which ports are heard
// and when; AlsaEars and JackEars connect them.
//
// A port is called by its raw name, as the service lists it. Messages go from the service's thread straight
// into the lane of the port.
//
// Threads: one owner, the watcher of PortsSource. Messages come on a thread of the service; see
// push_received. Errors: false or Opened::kRefused; an implementation may throw std::exception when the
// service fails. Source: MIDI 1.0 Detailed Specification (MMA, 1996) for system reset.
#pragma once

#include <string>
#include <vector>

#include "daemon/midi/source.h"

namespace undersong::midi {

// True if the message belongs in the queue. Real-time safe: no lock, no allocation, no logging.
bool is_wanted_message(const std::uint8_t* bytes, std::size_t size, bool pass_clock) noexcept;

// Passes on a message as it was received, if it belongs in the queue. System reset becomes All Sound Off and
// Reset All Controllers on every channel, which everything behind the lane understands. Real-time safe: no
// lock, no allocation, no logging.
void push_received(Lane& lane, Micros at, const std::uint8_t* bytes, std::size_t size,
                   bool pass_clock) noexcept;

class Ears {
 public:
  enum class Opened : std::uint8_t {
    kYes,
    kGone,     // it is not listed any more
    kRefused,  // it is listed, but the connection failed
  };
  virtual ~Ears() = default;  // disconnects everything; no message comes after it
  // Every port that can be heard, our own included.
  virtual std::vector<std::string> listed() = 0;
  // Makes the input that other programs can connect to.
  virtual bool make_own(const std::string& name, Lane& lane) = 0;
  virtual Opened open(const std::string& raw_name, Lane& lane) = 0;
  virtual bool connected(const std::string& raw_name) = 0;
  virtual void close(const std::string& raw_name) = 0;  // no message of the port comes after it
  // True if somebody has also connected the port to our own input and it would be heard twice. ALSA tells
  // where a message comes from, so there it is never true.
  virtual bool heard_on_own(const std::string& raw_name) = 0;
  // How often messages were lost since the last call, because they came faster than they could be read.
  virtual unsigned take_losses() { return 0; }
};

}  // namespace undersong::midi
