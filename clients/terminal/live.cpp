// undersong live: shows the current chord and other chords that fit under the melody. The display is kept
// calm, so that it can be read at a glance.
#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdio>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "protocol/json.h"

namespace undersong::terminal {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr auto kRedraw = 80ms;  // more often would flicker

volatile std::sig_atomic_t stopped = 0;
void stop(int) {
  stopped = 1;
}

struct LiveOptions {
  std::size_t rows = 12;
  bool lines = false;
  bool one_take = false;
  bool json = false;
};

// The names of the keys of an alternative, left hand first.
std::string hands(const protocol::Alternative& offered) {
  std::string out;
  for (std::size_t i = 0; i < offered.names.size(); ++i) {
    if (i == offered.left.size()) out += "| ";
    out += offered.names[i] + " ";
  }
  if (!out.empty()) out.pop_back();
  return out;
}

class View {
 public:
  explicit View(const LiveOptions& options)
      : options_(options), terminal_(!options.lines && !options.json && isatty(STDOUT_FILENO)) {
    if (terminal_) fmt::print("\x1b[?25l");
  }
  ~View() {
    if (terminal_) fmt::print("\x1b[?25h\n");
  }

  void status(protocol::Status status) {
    status_ = std::move(status);
    dirty_ = true;
  }
  void moment(protocol::Moment moment) {
    // A chord is shown when it has lasted for the settling time, or at once if nothing is shown yet.
    protocol::Chord heard;
    if (moment.chord) heard = *moment.chord;
    if (heard.harte != pending_.harte) {
      pending_ = std::move(heard);
      pending_since_ = Clock::now();
    }
    moment_ = std::move(moment);
    dirty_ = true;
  }

  // Other names of the chord shown; empty if the newest moment has another chord.
  std::string other_names() const {
    if (!moment_ || !moment_->chord || moment_->chord->harte != shown_.harte) return "";
    std::string out;
    std::size_t count = 0;
    for (const auto& reading : moment_->readings)
      if (reading.harte != shown_.harte && count++ < 3)
        out += (out.empty() ? "or " : ", ") + symbol(reading, style());
    return out;
  }

  // Draws if something is new and kRedraw has passed since the last drawing.
  void tick() {
    if (!status_) return;  // the style of symbols and the settling time are not known yet
    const auto now = Clock::now();
    if (pending_.harte != shown_.harte) {
      const auto settle = std::chrono::milliseconds(status_->settings.settle_ms.value);
      if (shown_.harte.empty() || now - pending_since_ >= settle) {
        shown_ = pending_;
        dirty_ = true;
        if (!terminal_) line();
      }
    }
    if (!terminal_ || !dirty_ || now - drawn_ < kRedraw) return;
    draw();
    drawn_ = now;
    dirty_ = false;
  }

 private:
  protocol::SymbolStyle style() const {
    return status_->settings.symbol_style;  // nothing is drawn before a status has arrived
  }

  std::string melody() const {
    std::string out;
    for (const auto& note : moment_->melody)
      out += fmt::format("{}{}{}", out.empty() ? "" : "  ", note.name,
                         note.degree ? fmt::format(" ({})", *note.degree) : "");
    return out;
  }

  static std::string word(const std::vector<std::string>& words, std::size_t place) {
    return place < words.size() ? words[place] : "";
  }

  std::string key(const std::string& before) const {
    if (!moment_ || !moment_->key) return "";
    return before + moment_->key->name + (moment_->key->pinned ? " (pinned)" : "");
  }

  // The first line says what the columns are.
  void line() {
    if (!moment_ || shown_.harte.empty()) return;
    std::string best;
    for (std::size_t i = 0; i < moment_->alternatives.size() && i < 4; ++i)
      best += (i ? ", " : "") + symbol(moment_->alternatives[i], style());
    if (!std::exchange(explained_, true))
      fmt::print("{:>8}  {}  {}  {}  other chords under the note\n", "time", padded("chord", 14),
                 padded("note (degree)", 18), padded("key", 10));
    fmt::print("{:>8}  {}  {}  {}{}\n", duration(moment_->at - started()),
               padded(symbol(shown_, style()), 14), padded(melody(), 18), padded(key(""), 10),
               best.empty() ? "" : "  or " + best);
    std::fflush(stdout);
  }

  protocol::TimeUs started() const {
    if (status_ && status_->take) return status_->take->since;
    return moment_->at;
  }

  void draw() {
    winsize size{};
    ioctl(STDOUT_FILENO, TIOCGWINSZ, &size);
    const std::size_t room = size.ws_row > 12 ? size.ws_row - 12u : 4,
                      width = size.ws_col ? size.ws_col : 80u;
    std::string out = "\x1b[H";
    const auto put = [&](const std::string& text) { out += clipped(text, width) + "\x1b[K\n"; };
    put("");
    const bool sounding = moment_ && moment_->chord && moment_->chord->sounding;
    put(fmt::format("  {}{}\x1b[0m    \x1b[2m{}\x1b[0m", sounding ? "\x1b[1m" : "\x1b[2m",
                    shown_.harte.empty() ? "play something" : symbol(shown_, style()), other_names()));
    put("  " + (moment_ ? melody() : "") + key("    in "));
    put("  \x1b[2m" +
        (moment_ && moment_->beat ? beat_words(*moment_->beat) : std::string("no steady pulse")) + "\x1b[0m");
    put("");
    if (moment_) {
      const std::size_t rows = std::min({options_.rows, moment_->alternatives.size(), room});
      if (rows > 0)  // the columns of the rows below
        put("  \x1b[2m" + std::string(7, ' ') + padded("chord", 13) + padded("note", 5) +
            padded("colour", 13) + padded("tension", 9) + padded("hands", 11) +
            padded("keys, left | right", 33) + "what for\x1b[0m");
      for (std::size_t i = 0; i < rows; ++i) {
        const auto& offered = moment_->alternatives[i];
        put(fmt::format("  {:2} {:2d}  {} {} {} {} moves {:2d}   {}   {}", tries(offered), i + 1,
                        padded(symbol(offered, style()), 12),
                        padded(offered.degrees.empty() ? "" : offered.degrees[0], 4),
                        padded(word(offered.colour, 0), 12), padded(word(offered.colour, 1), 8),
                        offered.hands_move.value, padded(hands(offered), 30), offered.reason));
      }
      if (moment_->still) put("  the list is frozen");
      if (!moment_->returned.empty()) put("  \x1b[2myou came back to\x1b[0m  " + returned());
    }
    put("");
    put("  \x1b[2m" + foot() + "\x1b[0m");
    out += "\x1b[J";
    std::fwrite(out.data(), 1, out.size(), stdout);
    std::fflush(stdout);
  }

  // The chords that were played more than once, with how often and how long ago.
  std::string returned() const {
    std::string out;
    for (const auto& each : moment_->returned)
      out += fmt::format("{}{} {}x, {} ago", out.empty() ? "" : "   ", symbol(each, style()),
                         each.times.value, duration(std::max<protocol::TimeUs>(0, moment_->at - each.last)));
    return out;
  }

  // An asterisk for a chord that was tried under this note; from the second time on, how often.
  static std::string tries(const protocol::Alternative& offered) {
    if (!offered.tried) return "";
    return offered.tries.value > 1 ? fmt::format("{}x", offered.tries.value) : "*";
  }

  std::string foot() const {
    if (!status_) return "";
    std::string ports;
    for (const auto& port : status_->ports)
      if (port.connected && !port.own) ports += (ports.empty() ? "" : ", ") + port.name;
    std::string out = ports.empty() ? "no keyboard yet: plug one in" : "listening to " + ports;
    if (status_->take && moment_)
      out += fmt::format("; take {}, {}", status_->take->take.value_or(0),
                         duration(moment_->at - status_->take->since));
    if (!status_->store.good) out += "; " + status_->store.sentence;
    if (status_->lost_events) out += fmt::format("; {} MIDI messages were lost", status_->lost_events);
    return out;
  }

  const LiveOptions& options_;
  const bool terminal_;
  std::optional<protocol::Status> status_;
  std::optional<protocol::Moment> moment_;
  protocol::Chord pending_, shown_;  // an empty harte means no chord
  Clock::time_point pending_since_{}, drawn_{};
  bool dirty_ = true, explained_ = false;
};

std::optional<protocol::Problem> watch(protocol::Connection& daemon, const LiveOptions& options) {
  const auto subscribed = daemon.request(protocol::Subscribe{
      .topics = {protocol::Topic::kMoment, protocol::Topic::kStatus, protocol::Topic::kLog}});
  if (!subscribed) return subscribed.error();
  std::signal(SIGINT, stop);
  std::signal(SIGTERM, stop);
  View view(options);
  while (!stopped) {
    const auto note = daemon.next_notification(20ms);
    if (!note) return note.error();
    if (*note) {
      if (auto moment = (*note)->as<protocol::Moment>()) {
        if (!*moment) return moment->error();
        if (options.json) {
          fmt::print("{}\n", protocol::to_json(**moment));
          std::fflush(stdout);
        } else {
          view.moment(std::move(**moment));
        }
      } else if (auto status = (*note)->as<protocol::Status>()) {
        if (!*status) return status->error();
        if (!options.json) view.status(std::move(**status));
      } else if (auto line = (*note)->as<protocol::Log>();
                 line && *line && options.one_take && (*line)->kind == protocol::LineKind::kTakeEnd) {
        view.tick();
        return std::nullopt;
      }
    }
    view.tick();
  }
  return std::nullopt;
}

}  // namespace

void add_live(CLI::App& program, Session& session) {
  auto options = std::make_shared<LiveOptions>();
  auto* command =
      program.add_subcommand("live", "Show the current chord and other chords that fit under the melody");
  command->add_option("--rows", options->rows, "number of alternatives shown")->check(CLI::Range(1, 36));
  command->add_flag("--lines", options->lines,
                    "print one line for each chord instead of redrawing the screen");
  command->add_flag("--json", options->json,
                    "print every moment as JSON, a line each, as in the notifications of the daemon");
  command->add_flag("--one-take", options->one_take, "stop when the take ends");
  command->callback([options, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return watch(daemon, *options); });
  });
}

}  // namespace undersong::terminal
