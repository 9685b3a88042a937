// undersong open: opens the companion page in the browser, and starts the daemon's service before if needed.
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/page_address.h"

namespace undersong::terminal {
namespace {

using protocol::Connection;
using protocol::Problem;

// Runs a program and waits for it. Its exit status; 127 if there is no such program.
int run_program(const std::vector<std::string>& words) {
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const pid_t child = ::fork();
  if (child == 0) {
    ::execvp(arguments[0], arguments.data());
    ::_exit(127);
  }
  int status = 0;
  if (child < 0 || ::waitpid(child, &status, 0) < 0) return 127;
  return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
}

// Connects; where no daemon runs, starts its service first.
protocol::Read<Connection> reach(const Session& session) {
  auto daemon = Connection::open(session.socket_path());
  if (daemon || !session.socket.empty()) return daemon;
  // The service says when it is ready, so nothing has to be waited for.
  if (run_program({"systemctl", "--user", "--quiet", "start", "undersongd"}) != 0)
    return Problem{daemon.error().sentence + " Start `undersongd` first."};
  return Connection::open(session.socket_path());
}

std::optional<Problem> open_page(const Session& session, bool show) {
  auto daemon = reach(session);
  if (!daemon) return daemon.error();
  const auto places = daemon->request(protocol::GetPlaces{});
  if (!places) return places.error();
  if (!places->page)
    return Problem{"No companion page is served." +
                   (places->page_trouble ? " " + *places->page_trouble : std::string())};
  const std::string page = page_here(*places->page);
  fmt::print("{}\n", page);
  std::fflush(stdout);
  if (show) return std::nullopt;
  if (const int status = run_program({"xdg-open", page}); status == 127)
    return Problem{"There is no xdg-open; open the address above in a browser."};
  return std::nullopt;
}

}  // namespace

void add_open(CLI::App& program, Session& session) {
  auto* open =
      program.add_subcommand("open", "Open the companion page in the browser; starts the service if needed");
  auto show = std::make_shared<bool>(false);
  open->add_flag("--print", *show, "only print the address");
  open->callback([show, &session] {
    const auto problem = open_page(session, *show);
    if (!problem) return;
    fmt::print(stderr, "undersong: {}\n", problem->sentence);
    session.exit_code = 1;
  });
}

}  // namespace undersong::terminal
