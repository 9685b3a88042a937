#include "daemon/listen/controls.h"

#include <spdlog/fmt/fmt.h>

#include <algorithm>
#include <charconv>

#include "daemon/midi/source.h"

namespace undersong::listen {
namespace {

constexpr std::array<std::string_view, 19> kActions{
    "mark",          "hold_still", "hear_next",  "end_take",      "tap",
    "beat_one",      "pin_key",    "undo_mark",  "hear_previous", "hear_again",
    "brighter",      "darker",     "more_tense", "more_resolved", "more_surprising",
    "more_familiar", "no_wishes",  "along",      "find_played"};
static_assert(kActions.size() == static_cast<std::size_t>(Action::kFindPlayed) + 1);
constexpr std::array<std::string_view, 3> kPresses{"single", "double", "long"};
constexpr std::uint8_t kPressedFrom = 64;

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + ('a' - 'A'));
  }
  return out;
}

std::string_view next_word(std::string_view& text) {
  const std::size_t start = std::min(text.find_first_not_of(" \t"), text.size());
  text.remove_prefix(start);
  const std::size_t end = std::min(text.find_first_of(" \t"), text.size());
  const std::string_view word = text.substr(0, end);
  text.remove_prefix(end);
  return word;
}

std::optional<int> number(std::string_view word, int from, int to) {
  int value = 0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc() || end != word.data() + word.size() || value < from || value > to)
    return std::nullopt;
  return value;
}

// The index of `text` in `words`; spaces and hyphens count as underscores.
template <std::size_t N>
std::optional<std::size_t> one_of(const std::array<std::string_view, N>& words, std::string_view text) {
  std::string plain = lower(text);
  std::replace_if(
      plain.begin(), plain.end(), [](char c) { return c == ' ' || c == '-'; }, '_');
  const auto found = std::find(words.begin(), words.end(), plain);
  if (found == words.end()) return std::nullopt;
  return static_cast<std::size_t>(found - words.begin());
}

Result<ControlMessage> parse_message(std::string_view text) {
  const auto wrong = [&](std::string_view why) {
    return invalid_input(fmt::format("The control \"{}\" {}.", text, why));
  };
  std::string_view rest = text;
  const std::string kind = lower(next_word(rest));
  ControlMessage message;
  if (kind == "cc") {
    message.kind = ControlMessage::Kind::kController;
  } else if (kind == "note" || kind == "pad") {
    message.kind = ControlMessage::Kind::kNote;
    if (kind == "pad") message.channel = midi::kDrumChannel;
  } else if (kind == "program") {
    message.kind = ControlMessage::Kind::kProgram;
  } else {
    return wrong("must begin with cc, note, pad or program");
  }
  const auto value = number(next_word(rest), 0, 127);
  if (!value) return wrong(fmt::format("needs a number from 0 to 127 after {}", kind));
  message.number = static_cast<std::uint8_t>(*value);
  if (message.kind == ControlMessage::Kind::kController && *value >= 120) {
    return wrong("is a channel mode message (120 to 127), which has a meaning of its own");
  }
  for (std::string_view word = next_word(rest); !word.empty(); word = next_word(rest)) {
    if (lower(word) == "channel") {
      const auto channel = number(next_word(rest), 1, 16);
      if (!channel) return wrong("needs a number from 1 to 16 after channel");
      message.channel = static_cast<std::uint8_t>(*channel - 1);
    } else if (lower(word) == "port") {
      rest.remove_prefix(std::min(rest.find_first_not_of(" \t"), rest.size()));
      while (!rest.empty() && (rest.back() == ' ' || rest.back() == '\t')) rest.remove_suffix(1);
      if (rest.empty()) return wrong("needs a part of the input's name after port");
      message.port = lower(rest);
      break;
    } else {
      return wrong(fmt::format("has \"{}\" where channel or port may stand", word));
    }
  }
  return message;
}

// True if one event could match both. Port names cannot be compared before the inputs are known, so different
// port names count as not overlapping.
bool overlap(const ControlMessage& a, const ControlMessage& b) {
  return a.kind == b.kind && a.number == b.number && (!a.channel || !b.channel || *a.channel == *b.channel) &&
         (a.port.empty() || b.port.empty() || a.port == b.port);
}

}  // namespace

std::string_view to_text(Action action) {
  return kActions[static_cast<std::size_t>(action)];
}
std::string_view to_text(Press press) {
  return kPresses[static_cast<std::size_t>(press)];
}

std::string to_text(const ControlMessage& message) {
  const bool pad = message.kind == ControlMessage::Kind::kNote && message.channel == midi::kDrumChannel;
  std::string out = fmt::format("{} {}",
                                message.kind == ControlMessage::Kind::kController ? "cc"
                                : message.kind == ControlMessage::Kind::kProgram  ? "program"
                                : pad                                             ? "pad"
                                                                                  : "note",
                                message.number);
  if (message.channel && !pad) out += fmt::format(" channel {}", *message.channel + 1);
  if (!message.port.empty()) out += " port " + message.port;
  return out;
}

std::optional<ControlMessage> pressed(const midi::Event& event) {
  if (midi::notice_of(event) != midi::Notice::kNone || event.size < 2) return std::nullopt;
  ControlMessage out;
  out.number = event.bytes[1];
  if (event.kind() == midi::kControlChange && event.bytes[1] < 120 && event.bytes[2] >= kPressedFrom) {
    out.kind = ControlMessage::Kind::kController;
  } else if (event.kind() == midi::kNoteOn && event.bytes[2] > 0) {
    out.kind = ControlMessage::Kind::kNote;
    if (event.channel() == midi::kDrumChannel) out.channel = midi::kDrumChannel;
  } else if (event.kind() == 0xC0) {
    out.kind = ControlMessage::Kind::kProgram;
  } else {
    return std::nullopt;
  }
  return out;
}

Result<Mapping> parse_mapping(std::string_view message, std::string_view press, std::string_view action) {
  auto parsed = parse_message(message);
  if (!parsed) return parsed.error();
  const auto how = one_of(kPresses, press);
  if (!how)
    return invalid_input(fmt::format(
        "The press \"{}\" of the control \"{}\" is none of single, double and long.", press, message));
  const auto what = one_of(kActions, action);
  if (!what) {
    std::string words(kActions[0]);
    for (std::size_t i = 1; i < kActions.size(); ++i)
      words.append(i + 1 < kActions.size() ? ", " : " and ").append(kActions[i]);
    return invalid_input(
        fmt::format("The action \"{}\" of the control \"{}\" is none of {}.", action, message, words));
  }
  if (parsed->kind == ControlMessage::Kind::kProgram && static_cast<Press>(*how) == Press::kLong) {
    return invalid_input(fmt::format(
        "The control \"{}\" cannot be pressed long, because a program change has no end.", message));
  }
  return Mapping{*parsed, static_cast<Press>(*how), static_cast<Action>(*what)};
}

Controls::Controls(const std::vector<Mapping>& mappings) {
  for (const Mapping& mapping : mappings) {
    auto it = std::find_if(triggers_.begin(), triggers_.end(),
                           [&](const Trigger& t) { return t.message == mapping.message; });
    if (it == triggers_.end()) {
      it = triggers_.emplace(triggers_.end());
      it->message = mapping.message;
      if (mapping.message.port.empty()) it->ports.set();
    }
    it->actions[static_cast<std::size_t>(mapping.press)] = mapping.action;
  }
  orders_.reserve(3 * triggers_.size());
}

Result<Controls> Controls::make(const std::vector<Mapping>& mappings) {
  for (std::size_t i = 0; i < mappings.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const ControlMessage &a = mappings[i].message, &b = mappings[j].message;
      if (!overlap(a, b)) continue;
      if (a == b && mappings[i].press != mappings[j].press) continue;
      return invalid_input(fmt::format(
          "The controls {} and {} {}.", j + 1, i + 1,
          a == b ? "are the same message with the same press" : "overlap: one message could be both"));
    }
  }
  return Controls(mappings);
}

void Controls::set_port_name(midi::PortNumber port, std::string_view name) {
  const std::string small = lower(name);
  for (Trigger& trigger : triggers_) {
    if (!trigger.message.port.empty())
      trigger.ports[port] = small.find(trigger.message.port) != std::string::npos;
  }
}

std::optional<Micros> Controls::Trigger::deadline() const {
  if (state == State::kUp) return pressed + kDoubleWithin;
  if (state != State::kDown) return std::nullopt;
  // Still held: if a long press is mapped, wait for it, even beyond the time for a double press.
  return pressed + (has(Press::kLong) ? kLongAfter : kDoubleWithin);
}

std::optional<Micros> Controls::next_deadline() const {
  std::optional<Micros> first;
  for (const Trigger& trigger : triggers_) {
    const auto deadline = trigger.deadline();
    if (deadline && (!first || *deadline < *first)) first = deadline;
  }
  return first;
}

std::span<const Order> Controls::advance(Micros now) {
  orders_.clear();
  resolve(now);
  return orders_;
}

void Controls::resolve(Micros now) {
  const std::size_t before = orders_.size();
  for (Trigger& trigger : triggers_) {
    const auto deadline = trigger.deadline();
    if (!deadline || *deadline > now) continue;
    const bool held = trigger.state == Trigger::State::kDown;
    trigger.state = held ? Trigger::State::kSpent : Trigger::State::kIdle;
    order(trigger, held && trigger.has(Press::kLong) ? Press::kLong : Press::kSingle, *deadline);
  }
  std::stable_sort(orders_.begin() + static_cast<std::ptrdiff_t>(before), orders_.end(),
                   [](const Order& a, const Order& b) { return a.known < b.known; });
}

void Controls::order(Trigger& trigger, Press press, Micros known) {
  if (const auto action = trigger.actions[static_cast<std::size_t>(press)])
    orders_.push_back({*action, trigger.pressed, known});
}

void Controls::press(Trigger& trigger, Micros at) {
  using State = Trigger::State;
  // Pads may send no note-off: a second press without a release in between counts as a press after a release.
  const bool second = trigger.state == State::kUp || trigger.state == State::kDown;
  if (second && trigger.has(Press::kDouble) && at - trigger.pressed < kDoubleWithin) {
    trigger.state = State::kSpent;
    order(trigger, Press::kDouble, at);
    return;
  }
  if (second) order(trigger, Press::kSingle, at);  // the first press was a single one
  trigger.pressed = at;
  if (trigger.has(Press::kDouble) || trigger.has(Press::kLong)) {
    trigger.state = State::kDown;
  } else {
    trigger.state = State::kSpent;
    order(trigger, Press::kSingle, at);
  }
}

void Controls::release(Trigger& trigger, Micros at) {
  using State = Trigger::State;
  if (trigger.state == State::kSpent) {
    trigger.state = State::kIdle;
  } else if (trigger.state == State::kDown) {
    if (trigger.has(Press::kDouble) && at - trigger.pressed < kDoubleWithin) {
      trigger.state = State::kUp;
    } else {
      trigger.state = State::kIdle;
      order(trigger, Press::kSingle, at);
    }
  }
}

bool Controls::mentions(const Trigger& trigger, const midi::Event& event) {
  if (event.size < 2 || !trigger.ports[event.port] || event.bytes[1] != trigger.message.number) return false;
  if (trigger.message.channel && *trigger.message.channel != event.channel()) return false;
  switch (trigger.message.kind) {
    case ControlMessage::Kind::kController: return event.kind() == midi::kControlChange;
    case ControlMessage::Kind::kNote:  // including the key pressure that follows it
      return event.kind() == midi::kNoteOn || event.kind() == midi::kNoteOff || event.kind() == 0xA0;
    case ControlMessage::Kind::kProgram: return event.kind() == 0xC0;
  }
  return false;
}

Controls::Heard Controls::apply(const midi::Event& event) {
  orders_.clear();
  resolve(event.at);
  const midi::Notice notice = midi::notice_of(event);
  if (notice != midi::Notice::kNone) {
    // An input went, ended or lost events: a press that is held there is forgotten; it is neither long nor
    // released.
    if (notice == midi::Notice::kPortCame) return {false, orders_};
    for (Trigger& trigger : triggers_) {
      if (!trigger.ports[event.port]) continue;
      for (std::size_t channel = 0; channel < 16; ++channel)
        trigger.above.reset(std::size_t{event.port} * 16 + channel);
      if (trigger.state != Trigger::State::kUp) trigger.state = Trigger::State::kIdle;
    }
    return {false, orders_};
  }
  bool consumed = false;
  for (Trigger& trigger : triggers_) {
    if (!mentions(trigger, event)) continue;
    consumed = true;
    if (event.kind() == midi::kControlChange) {
      auto above = trigger.above[std::size_t{event.port} * 16 + event.channel()];
      const bool now_above = event.bytes[2] >= kPressedFrom;
      if (now_above && !above) press(trigger, event.at);
      if (!now_above && above) release(trigger, event.at);
      above = now_above;
    } else if (event.kind() == midi::kNoteOn && event.bytes[2] > 0) {
      press(trigger, event.at);
    } else if (event.kind() == midi::kNoteOn || event.kind() == midi::kNoteOff) {
      release(trigger, event.at);
    } else if (event.kind() == 0xC0) {
      press(trigger, event.at);
      release(trigger, event.at);
    }
  }
  return {consumed, orders_};
}

}  // namespace undersong::listen
