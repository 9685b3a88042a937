// Controls: pedals, pads and keys outside the music that trigger actions, so that the hands stay on the
// keyboard.
//
// A mapping says: this message, pressed in this way, means this action. A message that is mapped is not heard
// as music.
//   message  "cc 67"              controller 67 rising from below 64 to 64 or above
//            "note 108"           a key
//            "pad 36"             a key on the drum channel (10)
//            "program 5"          a program change; pressed and released at once
//            then, optionally     "channel 1".."channel 16" (without it: any; for a pad: 10)
//            and last             "port NAME": only inputs whose name contains NAME, ignoring case;
//                                 NAME is the whole rest of the text
//   press    "single", "double" (two presses begun within kDoubleWithin), "long" (held for kLongAfter)
//   action   one of the words in to_text(Action): "mark", "hold_still", "hear_next" ...
//
// A single press acts at once if nothing else is mapped to its message, otherwise as soon as it is certain
// that it is neither double nor long. Time is an argument: call advance() when next_deadline() is reached.
// The result depends only on the events and their times.
//
// Units: Micros of one stream; controller, key and program numbers 0..127; channels 0..15 in code, 1..16 in
// text.
// Threads: one owner.
// Errors: parse_mapping and make return one sentence; everything else is total.
// Source: common practice, no source.
// Memory: allocates at construction and in set_port_name only.
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

enum class Action : std::uint8_t {
  kMark,
  kHoldStill,
  kHearNext,
  kEndTake,
  kTap,
  kBeatOne,
  kPinKey,
  kUndoMark,
  kHearPrevious,
  kHearAgain,
  kBrighter,  // each of these six moves a wish by a quarter
  kDarker,
  kMoreTense,
  kMoreResolved,
  kMoreSurprising,
  kMoreFamiliar,
  kNoWishes,
  kAlong,       // starts to play the newest loop to play along with, or stops it
  kFindPlayed,  // asks for the takes that hold what was just played
};
enum class Press : std::uint8_t { kSingle, kDouble, kLong };
std::string_view to_text(Action action);
std::string_view to_text(Press press);

struct ControlMessage {
  enum class Kind : std::uint8_t { kController, kNote, kProgram };
  Kind kind = Kind::kController;
  std::uint8_t number = 0;              // controller, key or program number, 0..127
  std::optional<std::uint8_t> channel;  // 0..15; nullopt: any
  std::string port;                     // part of the input's name, in lower case; empty: any
  friend bool operator==(const ControlMessage&, const ControlMessage&) = default;
};

// As parse_mapping reads it.
std::string to_text(const ControlMessage& message);
// The message that a press of this kind is: a controller at 64 or above, a key, a pad (its channel is part of
// it), a program change; nullopt for anything else. The input and the channel of a keyboard are left open.
std::optional<ControlMessage> pressed(const midi::Event& event);

struct Mapping {
  ControlMessage message;
  Press press = Press::kSingle;
  Action action = Action::kMark;
  friend bool operator==(const Mapping&, const Mapping&) = default;
};

// Errors: one sentence that quotes the text that is wrong.
Result<Mapping> parse_mapping(std::string_view message, std::string_view press, std::string_view action);

struct Order {
  Action action = Action::kMark;
  Micros pressed{};  // when the (first) press began: the moment that the player means
  Micros known{};    // when the kind of press became certain
  friend bool operator==(const Order&, const Order&) = default;
};

class Controls {
 public:
  static constexpr Micros kDoubleWithin{400'000};
  static constexpr Micros kLongAfter{600'000};

  Controls() : Controls(std::vector<Mapping>{}) {}
  // Errors: two mappings of the same message and press, or two messages that overlap without being equal (the
  // same controller on one channel and on any channel).
  static Result<Controls> make(const std::vector<Mapping>& mappings);

  // Tells the name of an input. Until then, mappings with a port name do not match that input.
  void set_port_name(midi::PortNumber port, std::string_view name);

  struct Heard {
    bool consumed = false;          // the message is mapped, so it is not music
    std::span<const Order> orders;  // in time order; valid until the next call
  };
  // REQUIRES: times never decrease from call to call. Handles what was due before the event first.
  Heard apply(const midi::Event& event);
  std::span<const Order> advance(Micros now);
  std::optional<Micros> next_deadline() const;

 private:
  // All mappings of one message, and the state of its press.
  struct Trigger {
    enum class State : std::uint8_t {
      kIdle,
      kDown,   // pressed once, kind not yet known
      kUp,     // pressed once and released; a second press may follow
      kSpent,  // decided, not yet released
    };
    ControlMessage message;
    std::array<std::optional<Action>, 3> actions;  // indexed by Press
    std::bitset<256> ports;                        // inputs that match message.port
    State state = State::kIdle;
    Micros pressed{};
    std::bitset<256 * 16> above;  // controllers: inputs and channels where the value is 64 or above

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
