// Commands that speak to the daemon. They link protocol/ and nothing of the daemon.
#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>
#include <string>

#include "protocol/connection.h"

namespace undersong::terminal {

// What every live command shares.
struct Session {
  std::string socket;  // --socket; empty: the default place
  int exit_code = 0;

  std::filesystem::path socket_path() const {
    return socket.empty() ? protocol::default_socket_path() : std::filesystem::path(socket);
  }
  // Connects and runs `use`; a Problem becomes one sentence on stderr and exit code 1.
  void with_daemon(const std::function<std::optional<protocol::Problem>(protocol::Connection&)>& use);
};

// How chord symbols are to look, as the daemon's settings say.
protocol::Read<protocol::SymbolStyle> symbol_style(protocol::Connection& daemon);

// Adds live, list, show, moments, mark, end, export, hear, play, stop, hold, wish, key, settings, take, song
// and doctor to the program.
void add_commands(CLI::App& program, Session& session);

void add_live(CLI::App& program, Session& session);
void add_takes(CLI::App& program, Session& session);    // list, show, export, rename, delete, restore
void add_moments(CLI::App& program, Session& session);  // moments
void add_orders(
    CLI::App& program,
    Session& session);  // mark, end, hear, play, along, stop, tap, beat, hold, wish, key, settings
void add_songs(CLI::App& program, Session& session);     // take loop, take reharmonise, take hand-over
void add_sketches(CLI::App& program, Session& session);  // song list, new, show, check, hand-over, delete
void add_doctor(CLI::App& program, Session& session);

}  // namespace undersong::terminal
