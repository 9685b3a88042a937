// The commands of the terminal client that talk to the daemon. They link protocol/ and nothing of the daemon.
//
// Units: none.
// Threads: main thread.
// Errors: a command that fails prints one sentence to stderr and sets Session::exit_code: 1 if the work
// failed, 2 if the command line was wrong.
#pragma once

#include <CLI/CLI.hpp>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "clients/files_into.h"
#include "protocol/connection.h"

namespace undersong::terminal {

// What all commands share.
struct Session {
  std::string socket;  // --socket; empty: the default place
  int exit_code = 0;
  std::vector<std::string_view> json;  // --json: the requests whose answers are printed instead of words
  // What works on a file without a daemon, from the other half of the program (clients/offline/backup.h,
  // import.h).
  // They print what went wrong and set exit_code.
  std::function<std::optional<std::uint64_t>(const std::string& takes, const std::string& to)> back_up_file;
  std::function<std::optional<std::string>(const std::string& takes, const std::string& from)> restore_file;
  std::function<std::unique_ptr<FilesInto>(const std::string& takes)> open_for_files;

  std::filesystem::path socket_path() const {
    return socket.empty() ? protocol::default_socket_path() : std::filesystem::path(socket);
  }
  // Connects and runs `use`. A Problem is printed to stderr as one sentence, with exit code 1.
  void with_daemon(const std::function<std::optional<protocol::Problem>(protocol::Connection&)>& use);
  // With --json: prints, from now on, what this daemon answers to the requests in `json`, a line each.
  void print_answers_of(protocol::Connection& daemon) const;
};

// Connects; if that fails, says on stderr what to do for a file that no daemon keeps, and sets the exit code.
std::optional<protocol::Connection> open_or_name_file(Session& session);

// Adds --json to a command that talks to the daemon. `methods`: the requests whose answers it prints, as they
// come.
void add_json(CLI::App& command, Session& session, std::vector<std::string_view> methods);

// The style of chord symbols in the settings of the daemon.
protocol::Read<protocol::SymbolStyle> symbol_style(protocol::Connection& daemon);

// Reads a chord as people or programs write it: "Ebmaj9" or "Eb:maj9".
protocol::Read<protocol::Chord> chord_named(protocol::Connection& daemon, const std::string& name);

// A take as the daemon is asked for it: 0 is the newest.
inline std::optional<std::uint64_t> take_or_last(std::uint64_t take) {
  return take ? std::optional(take) : std::nullopt;
}

// Adds all commands below to the program.
void add_commands(CLI::App& program, Session& session);

void add_live(CLI::App& program, Session& session);
// list, show, export, rename, annotate, delete, restore
void add_takes(CLI::App& program, Session& session);
void add_moments(CLI::App& program, Session& session);  // moments
// mark, end, hear, play, along, stop, tap, beat, hold, wish, key, settings
void add_orders(CLI::App& program, Session& session);
void add_digest(CLI::App& program, Session& session);  // digest
void add_own(CLI::App& program, Session& session);
void add_songs(CLI::App& program, Session& session);      // take loop, take reharmonise, take hand-over
void add_find_played(CLI::App& group, Session& session);  // take find
void add_sketches(CLI::App& program, Session& session);   // song list, new, show, check, hand-over, delete
void add_pair(CLI::App& program, Session& session);
void add_backup(CLI::App& program, Session& session);  // backup, restore
void add_import(CLI::App& program, Session& session);
void add_doctor(CLI::App& program, Session& session);
void add_open(CLI::App& program, Session& session);

// For `doctor --listen`: waits for a key and prints what came, from where and how late. Problem: none came.
std::optional<protocol::Problem> wait_for_key(protocol::Connection& daemon);

}  // namespace undersong::terminal
