#include "clients/terminal/commands.h"

#include <fmt/format.h>

#include <cstdio>

namespace undersong::terminal {

void Session::with_daemon(const std::function<std::optional<protocol::Problem>(protocol::Connection&)>& use) {
  auto daemon = protocol::Connection::open(socket_path());
  std::optional<protocol::Problem> problem;
  if (daemon) {
    problem = use(*daemon);
  } else {
    problem = daemon.error();
  }
  if (!problem) return;
  fmt::print(stderr, "undersong: {}\n", problem->sentence);
  exit_code = 1;
}

protocol::Read<protocol::SymbolStyle> symbol_style(protocol::Connection& daemon) {
  const auto settings = daemon.request(protocol::GetSettings{});
  if (!settings) return settings.error();
  return settings->symbol_style;
}

protocol::Read<protocol::Chord> chord_named(protocol::Connection& daemon, const std::string& name) {
  protocol::GetChordParts request;
  request.names.push_back(name);
  const auto parts = daemon.request(request);
  if (!parts) return parts.error();
  if (parts->chords.empty() || !parts->chords[0])
    return protocol::Problem{
        fmt::format("\"{}\" is no chord. Write it as a symbol (Ebmaj9) or for programs (Eb:maj9).", name)};
  return protocol::Chord(*parts->chords[0]);
}

void add_commands(CLI::App& program, Session& session) {
  program.add_option("--socket", session.socket, "path of the daemon's socket, if it is not the default");
  add_live(program, session);
  add_takes(program, session);
  add_moments(program, session);
  add_orders(program, session);
  add_digest(program, session);
  add_own(program, session);
  add_songs(program, session);
  add_sketches(program, session);
  add_pair(program, session);
  add_backup(program, session);
  add_doctor(program, session);
  add_open(program, session);
}

}  // namespace undersong::terminal
