// undersong live: what sounds now and what else could stand under the melody, calm enough to be read in
// passing.
#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"

namespace undersong::terminal {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr auto kRedraw = 80ms;  // more often would flicker

volatile std::sig_atomic_t stopped = 0;
void stop(int) {
  stopped = 1;
}

struct Options {
  std::size_t rows = 12;
  bool lines = false;
  bool one_take = false;
};

// The keys of an alternative. A melody note is called as above; the others by where they lie on the line of
// fifths seen from the chord's root (five below it to six above), and never by a rare name.
std::string hands(const protocol::Alternative& offered, const std::vector<protocol::MelodyNote>& melody) {
  constexpr std::string_view kLetters = "FCGDAEB";
  int root = static_cast<int>(kLetters.find(offered.root_name.front())) - 1;
  for (const char sign : offered.root_name.substr(1)) root += sign == '#' ? 7 : -7;
  const auto name = [&](const protocol::PitchNumber& pitch) {
    for (const auto& note : melody)
      if (note.pitch.value == pitch.value) return note.name;
    int fifths = root - 5;
    while ((7 * fifths % 12 + 12) % 12 != pitch.value % 12) ++fifths;
    if (fifths < -6) fifths += 12;
    if (fifths > 10) fifths -= 12;
    const auto place =
        static_cast<std::size_t>(fifths + 8);  // 7 for F, so that a flat is below and a sharp above
    return fmt::format("{}{}{}", kLetters[place % 7],
                       place < 7    ? "b"
                       : place < 14 ? ""
                                    : "#",
                       pitch.value / 12 - 1);
  };
  std::string out;
  for (const auto& pitch : offered.left) out += name(pitch) + " ";
  out += "|";
  for (const auto& pitch : offered.right) out += " " + name(pitch);
  return out;
}

class View {
 public:
  explicit View(const Options& options)
      : options_(options), terminal_(!options.lines && isatty(STDOUT_FILENO)) {
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
    // A chord is shown once it has stood for the settling time, or when there is none to keep showing.
    const std::string heard = moment.chord ? moment.chord->symbol : "";
    if (heard != pending_) {
      pending_ = heard;
      pending_since_ = Clock::now();
    }
    moment_ = std::move(moment);
    dirty_ = true;
  }

  // What the chord that is shown could be called as well. Only of the moment that it is of.
  std::string other_names() const {
    if (!moment_ || !moment_->chord || moment_->chord->symbol != shown_) return "";
    std::string out;
    std::size_t count = 0;
    for (const auto& reading : moment_->readings)
      if (reading.symbol != shown_ && count++ < 3) out += (out.empty() ? "or " : ", ") + reading.symbol;
    return out;
  }

  // Draws if there is something new and the last drawing is not too fresh.
  void tick() {
    const auto now = Clock::now();
    if (pending_ != shown_) {
      const auto settle = std::chrono::milliseconds(status_ ? status_->settings.settle_ms.value : 250);
      if (shown_.empty() || now - pending_since_ >= settle) {
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
  std::string melody() const {
    std::string out;
    for (const auto& note : moment_->melody)
      out += fmt::format("{}{}{}", out.empty() ? "" : "  ", note.name,
                         note.degree ? fmt::format(" ({})", *note.degree) : "");
    return out;
  }

  std::string key(const std::string& before) const {
    if (!moment_ || !moment_->key) return "";
    return before + moment_->key->name + (moment_->key->pinned ? " (pinned)" : "");
  }

  void line() const {
    if (!moment_ || shown_.empty()) return;
    std::string best;
    for (std::size_t i = 0; i < moment_->alternatives.size() && i < 4; ++i)
      best += (i ? ", " : "") + moment_->alternatives[i].symbol;
    fmt::print("{:>8}  {}  {}  {}{}\n", duration(moment_->at - started()), padded(shown_, 14),
               padded(melody(), 18), padded(key(""), 10), best.empty() ? "" : "  or " + best);
    std::fflush(stdout);
  }

  protocol::TimeUs started() const {
    if (status_ && status_->take) return status_->take->since;
    return moment_->at;
  }

  void draw() {
    winsize size{};
    ioctl(STDOUT_FILENO, TIOCGWINSZ, &size);
    const std::size_t room = size.ws_row > 10 ? size.ws_row - 10u : 4,
                      width = size.ws_col ? size.ws_col : 80u;
    std::string out = "\x1b[H";
    const auto put = [&](const std::string& text) { out += clipped(text, width) + "\x1b[K\n"; };
    put("");
    const bool sounding = moment_ && moment_->chord && moment_->chord->sounding;
    put(fmt::format("  {}{}\x1b[0m    \x1b[2m{}\x1b[0m", sounding ? "\x1b[1m" : "\x1b[2m",
                    shown_.empty() ? "play something" : shown_, other_names()));
    put("  " + (moment_ ? melody() : "") + key("    in "));
    put("  \x1b[2m" +
        (moment_ && moment_->beat ? beat_words(*moment_->beat) : std::string("no steady pulse")) + "\x1b[0m");
    put("");
    if (moment_) {
      const std::size_t rows = std::min({options_.rows, moment_->alternatives.size(), room});
      for (std::size_t i = 0; i < rows; ++i) {
        const auto& offered = moment_->alternatives[i];
        put(fmt::format("  {} {:2d}  {} {} {} {} moves {:2d}   {}   {}", offered.tried ? "*" : " ", i + 1,
                        padded(offered.symbol, 12),
                        padded(offered.degrees.empty() ? "" : offered.degrees[0], 4),
                        padded(dark_bright_word(offered.dark_bright), 12),
                        padded(resolved_tense_word(offered.resolved_tense), 8), offered.hands_move.value,
                        padded(hands(offered, moment_->melody), 30), offered.reason));
      }
      if (moment_->still) put("  the list holds still");
    }
    put("");
    put("  \x1b[2m" + foot() + "\x1b[0m");
    out += "\x1b[J";
    std::fwrite(out.data(), 1, out.size(), stdout);
    std::fflush(stdout);
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

  const Options& options_;
  const bool terminal_;
  std::optional<protocol::Status> status_;
  std::optional<protocol::Moment> moment_;
  std::string pending_, shown_;
  Clock::time_point pending_since_{}, drawn_{};
  bool dirty_ = true;
};

std::optional<protocol::Problem> watch(protocol::Connection& daemon, const Options& options) {
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
        view.moment(std::move(**moment));
      } else if (auto status = (*note)->as<protocol::Status>()) {
        if (!*status) return status->error();
        view.status(std::move(**status));
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
  auto options = std::make_shared<Options>();
  auto* command =
      program.add_subcommand("live", "Show what sounds now and what else could stand under the melody");
  command->add_option("--rows", options->rows, "how many alternatives to show")->check(CLI::Range(1, 36));
  command->add_flag("--lines", options->lines, "one line for each chord instead of a picture that changes");
  command->add_flag("--one-take", options->one_take, "stop when the take ends");
  command->callback([options, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return watch(daemon, *options); });
  });
}

}  // namespace undersong::terminal
