// Controls: pedals, pads and far keys that give orders instead of music, so that the hands stay on the keys.
//
// A mapping says: this message, pressed so, means this action. A message that is mapped is not heard as
// music.
//   message  "cc 67"              controller 67 going from below 64 to 64 or above
//            "note 108"           a key, struck
//            "pad 36"             a key on the drum channel (10)
//            "program 5"          a program change, which counts as pressed and let go at once
//            then, in any order   "channel 1".."channel 16" (else any; a pad: 10)
//                                 "port NAME" (the rest of the text): only inputs whose name contains NAME
//   press    "single", "double" (two presses begun within kDoubleWithin), "long" (held for kLongAfter)
//   action   "mark", "hold_still", "hear_next", "end_take", "tap", "beat_one", "pin_key"
//
// A single press acts at once when nothing else is mapped to its message; otherwise as soon as it is known
// not to be double or long. Time is data: call advance() when next_deadline() has come, and the result
// depends on the events and their times alone.
//
// Threads: none, one owner. Heap: at construction and in set_port_name only.
#pragma once

#include <array>
#include <bitset>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"

namespace undersong::listen {

enum class Action : std::uint8_t { kMark, kHoldStill, kHearNext, kEndTake, kTap, kBeatOne, kPinKey };
enum class Press : std::uint8_t { kSingle, kDouble, kLong };
std::string_view to_text(Action action);
std::string_view to_text(Press press);

struct ControlMessage {
  enum class Kind : std::uint8_t { kController, kNote, kProgram };
  Kind kind = Kind::kController;
  std::uint8_t number = 0;              // controller, key or program, 0..127 as sent
  std::optional<std::uint8_t> channel;  // 0..15; nothing: any
  std::string port;                     // part of the input's name, whatever the case; empty: any
  friend bool operator==(const ControlMessage&, const ControlMessage&) = default;
};

struct Mapping {
  ControlMessage message;
  Press press = Press::kSingle;
  Action action = Action::kMark;
  friend bool operator==(const Mapping&, const Mapping&) = default;
};

// Errors: one sentence with the text that can't be understood.
Result<Mapping> parse_mapping(std::string_view message, std::string_view press, std::string_view action);

struct Order {
  Action action = Action::kMark;
  Micros pressed{};  // when the (first) press began: the moment the player means
  Micros known{};    // when it was certain what kind of press it was
  friend bool operator==(const Order&, const Order&) = default;
};

class Controls {
 public:
  static constexpr Micros kDoubleWithin{400'000};
  static constexpr Micros kLongAfter{600'000};

  Controls() : Controls(std::vector<Mapping>{}) {}
  // Errors: two mappings of one message and press; a message that overlaps with another without being equal
  // (the same controller on one channel and on any).
  static Result<Controls> make(const std::vector<Mapping>& mappings);

  // The name of an input, as soon as it is known; mappings with a port name match no input without one.
  void set_port_name(midi::PortNumber port, std::string_view name);

  struct Heard {
    bool consumed = false;          // mapped: not music
    std::span<const Order> orders;  // by time; valid until the next call
  };
  // Times never decrease from call to call. First resolves what was due before the event.
  Heard apply(const midi::Event& event);
  std::span<const Order> advance(Micros now);
  std::optional<Micros> next_deadline() const;

 private:
  // All mappings of one message and where its press stands.
  struct Trigger {
    enum class State : std::uint8_t {
      kIdle,
      kDown,   // pressed once, undecided
      kUp,     // pressed once and let go, a second press may come
      kSpent,  // decided, not yet let go
    };
    ControlMessage message;
    std::array<std::optional<Action>, 3> actions;  // by Press
    std::bitset<256> ports;                        // that match message.port
    State state = State::kIdle;
    Micros pressed{};
    std::bitset<256 * 16> above;  // controllers: which input and channel is at 64 or above

    bool has(Press press) const { return actions[static_cast<std::size_t>(press)].has_value(); }
    std::optional<Micros> deadline() const;
  };
  explicit Controls(const std::vector<Mapping>& mappings);
  void press(Trigger& trigger, Micros at);
  void release(Trigger& trigger, Micros at);
  void order(Trigger& trigger, Press press, Micros known);
  void resolve(Micros now);
  static bool mentions(const Trigger& trigger, const midi::Event& event);

  std::vector<Trigger> triggers_;
  std::vector<Order> orders_;
};

}  // namespace undersong::listen
