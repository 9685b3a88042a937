#include "clients/terminal/commands.h"

#include "clients/terminal/say.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cstdio>
#include <iostream>

namespace undersong::terminal {

void Session::with_daemon(const std::function<std::optional<protocol::Problem>(protocol::Connection&)>& use) {
  auto daemon = protocol::Connection::open(socket_path());
  std::optional<protocol::Problem> problem;
  if (daemon) {
    print_answers_of(*daemon);
    problem = use(*daemon);
  } else {
    problem = daemon.error();
  }
  if (!problem) return;
  fmt::print(stderr, "undersong: {}\n", problem->sentence);
  exit_code = 1;
}

std::optional<protocol::Connection> open_or_name_file(Session& session) {
  auto daemon = protocol::Connection::open(session.socket_path());
  if (daemon) {
    session.print_answers_of(*daemon);
    return std::move(*daemon);
  }
  fmt::print(stderr, "undersong: {} Without a daemon, name the file of takes with --takes.\n",
             daemon.error().sentence);
  session.exit_code = 1;
  return std::nullopt;
}

void Session::print_answers_of(protocol::Connection& daemon) const {
  if (json.empty()) return;
  words_are_wanted = false;
  daemon.on_result([this](std::string_view method, const boost::json::value& result) {
    if (std::find(json.begin(), json.end(), method) == json.end()) return;
    std::cout << boost::json::serialize(result) << std::endl;
  });
}

void add_json(CLI::App& command, Session& session, std::vector<std::string_view> methods) {
  const std::string says = fmt::format(
      "print the daemon's answer to {} as JSON, a line each, instead of words", fmt::join(methods, ", "));
  command.add_flag_callback(
      "--json", [&session, methods = std::move(methods)] { session.json = methods; }, says);
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
  add_import(program, session);
  add_doctor(program, session);
  add_open(program, session);
}

}  // namespace undersong::terminal
