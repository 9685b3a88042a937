// A MIDI instrument as a process, for tests. It reads orders from standard input, one per line, and answers
// each with a line "ok" or "failed WHY".
//   player NAME          makes an output port NAME:out
//   player NAME echo     also makes an input port NAME:in and sends everything that arrives there back at
//   once
// Orders: send HEX...    sends one message
//         run N          sends N notes on channel 1; keys and velocities count up; a pause after every 100
//         connect PART   plays into the input port whose name contains PART, instead of through NAME:out
#include <jack/jack.h>
#include <rtmidi/RtMidi.h>

#include <chrono>
#include <iostream>
#include <memory>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

int main(int count, char** words) {
  if (count < 2) return 2;
  const std::string name = words[1];
  const bool echo = count > 2 && std::string(words[2]) == "echo";
  jack_set_error_function([](const char*) {});  // a test that kills the server expects it to be gone
  auto out = std::make_unique<RtMidiOut>(RtMidi::UNIX_JACK, name);
  out->openVirtualPort("out");
  std::unique_ptr<RtMidiIn> in;
  if (echo) {
    in = std::make_unique<RtMidiIn>(RtMidi::UNIX_JACK, name + " in");
    in->ignoreTypes(false, false, false);
    in->setCallback([](double, std::vector<unsigned char>* message,
                       void* to) { static_cast<RtMidiOut*>(to)->sendMessage(message); },
                    out.get());
    in->openVirtualPort("in");
  }
  std::cout << "ok" << std::endl;
  for (std::string line; std::getline(std::cin, line);) {
    std::istringstream order(line);
    std::string what;
    order >> what;
    if (what == "send") {
      std::vector<unsigned char> message;
      for (unsigned byte; order >> std::hex >> byte;) message.push_back(static_cast<unsigned char>(byte));
      out->sendMessage(&message);
    } else if (what == "run") {
      int notes = 0;
      order >> notes;
      for (int i = 0; i < notes; ++i) {
        const std::vector<unsigned char> message{0x90, static_cast<unsigned char>(i & 0x7F),
                                                 static_cast<unsigned char>(1 + ((i >> 7) & 0x3F))};
        out->sendMessage(&message);
        // The back end drops messages that do not fit into its buffer, and no person plays 2,700 notes at
        // once.
        if (i % 100 == 99) std::this_thread::sleep_for(std::chrono::milliseconds(5));
      }
    } else if (what == "connect") {
      std::string part;
      std::getline(order >> std::ws, part);
      bool found = false;
      for (unsigned i = 0; i < out->getPortCount() && !found; ++i) {
        if (out->getPortName(i).find(part) == std::string::npos) continue;
        out->closePort();
        out->openPort(i, "to");
        found = true;
      }
      if (!found) {
        std::cout << "failed no port " << part << std::endl;
        continue;
      }
    } else {
      std::cout << "failed " << line << std::endl;
      continue;
    }
    std::cout << "ok" << std::endl;
  }
  // RtMidi 5 frees the output's buffer while JACK may still run a period of it.
  out->closePort();
  std::this_thread::sleep_for(std::chrono::milliseconds(90));
}
