// The commands backup and restore: a copy of the whole file of takes, and back. Through the daemon while it
// runs; on the file itself if --takes names it. `restore 12` brings a deleted take back.
#include <fmt/format.h>

#include <charconv>
#include <chrono>
#include <ctime>
#include <memory>

#include "clients/terminal/commands.h"
#include "clients/terminal/say.h"
#include "protocol/json.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

constexpr auto kCopyPatience = std::chrono::minutes(20);  // longer than the daemon takes

struct BackupWish {
  std::string file, takes;
};

std::string today() {
  const std::time_t time = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm local{};
  ::localtime_r(&time, &local);
  char text[16];
  return {text, std::strftime(text, sizeof text, "%Y-%m-%d", &local)};
}

void through_daemon(Session& session,
                    const std::function<std::optional<Problem>(protocol::Connection&)>& use) {
  auto daemon = open_or_name_file(session);
  if (!daemon) return;
  const auto problem = use(*daemon);
  if (!problem) return;
  fmt::print(stderr, "undersong: {}\n", problem->sentence);
  session.exit_code = 1;
}

// With --json, what a daemon would answer.
template <class Reply>
void answer(const Session& session, const Reply& reply) {
  if (!session.json.empty()) fmt::print("{}\n", protocol::to_json(reply));
}

std::string megabytes(std::uint64_t bytes) {
  return fmt::format("{:.1f} MB", static_cast<double>(bytes) / (1 << 20));
}

void run_backup(Session& session, const BackupWish& wish) {
  const std::string file =
      std::filesystem::absolute(wish.file.empty() ? "undersong-takes-" + today() + ".sqlite" : wish.file)
          .string();
  const auto done = [&](std::uint64_t bytes) {
    say("The takes are copied to {} ({}).\n", file, megabytes(bytes));
  };
  if (!wish.takes.empty()) {
    const auto bytes = session.back_up_file(wish.takes, file);
    if (bytes) answer(session, protocol::BackedUp{file, *bytes});
    if (bytes) done(*bytes);
    return;
  }
  through_daemon(session, [&](protocol::Connection& daemon) -> std::optional<Problem> {
    const auto made = daemon.request(protocol::BackUpTakes{file}, kCopyPatience);
    if (!made) return made.error();
    done(made->bytes);
    return std::nullopt;
  });
}

// `text` as the number of a take; nullopt if it is not one.
std::optional<std::uint64_t> take_number(const std::string& text) {
  std::uint64_t number = 0;
  const auto [end, wrong] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (wrong != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return number;
}

void run_restore(Session& session, const BackupWish& wish) {
  if (const auto take = wish.takes.empty() ? take_number(wish.file) : std::nullopt)
    return session.with_daemon([take](protocol::Connection& daemon) -> std::optional<Problem> {
      const auto kept = daemon.request(protocol::RestoreTake{*take});
      if (!kept) return kept.error();
      say("Take {} is back on the list.\n", *take);
      return std::nullopt;
    });
  const std::string file = std::filesystem::absolute(wish.file).string();
  const auto done = [&](const std::string& kept) {
    say("The takes are those of {} now. Those from before are kept as {}.\n", file, kept);
  };
  if (!wish.takes.empty()) {
    const auto kept = session.restore_file(wish.takes, file);
    if (kept) answer(session, protocol::BroughtBack{*kept});
    if (kept) done(*kept);
    return;
  }
  through_daemon(session, [&](protocol::Connection& daemon) -> std::optional<Problem> {
    const auto back = daemon.request(protocol::RestoreTakes{file}, kCopyPatience);
    if (!back) return back.error();
    done(back->kept);
    return std::nullopt;
  });
}

}  // namespace

void add_backup(CLI::App& program, Session& session) {
  const auto wish = std::make_shared<BackupWish>();
  constexpr const char* kTakes = "work on this file of takes directly; no daemon may keep takes in it";
  auto* backup =
      program.add_subcommand("backup", "Copy the whole file of takes, also while takes are recorded");
  backup->add_option("FILE", wish->file,
                     "the copy; no file may have that name (default: undersong-takes-DATE.sqlite, here)");
  backup->add_option("--takes", wish->takes, kTakes);
  add_json(*backup, session, {protocol::BackUpTakes::kMethod});
  backup->callback([wish, &session] { run_backup(session, *wish); });
  auto* restore =
      program.add_subcommand("restore", "Bring a deleted take back, or all takes as they are in a backup");
  restore->add_option("WHAT", wish->file, "the number of a take, or the file of a backup")->required();
  restore->add_option("--takes", wish->takes, kTakes);
  restore->footer(
      "A copy of the backup takes the place of the takes. Those that were there are kept beside it, in a "
      "file whose name ends with .before-restore-1. Undersong makes a backup on each day of use, in the "
      "folder "
      "\"backups\" beside the takes; `undersong doctor` says where the takes are.");
  add_json(*restore, session, {protocol::RestoreTake::kMethod, protocol::RestoreTakes::kMethod});
  restore->callback([wish, &session] { run_restore(session, *wish); });
}

}  // namespace undersong::terminal
