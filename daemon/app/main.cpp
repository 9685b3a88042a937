// undersongd, the daemon: reads the command line, then runs a Daemon.
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <cstdlib>
#include <iostream>
#include <thread>

#include "daemon/app/daemon.h"
#include "daemon/app/version.h"
#include "daemon/midi/pipewire.h"

namespace {

constexpr std::chrono::milliseconds kLettingGo{1500};

int fail(const std::string& sentence) {
  std::cerr << "undersongd: " << sentence << '\n';
  return 1;
}

// The folder of the page: installed beside the program, or else in the source folder, built there (dist) or
// as it came with the sources (built).
std::filesystem::path page_folder() {
  std::error_code ignored;
  const auto program = std::filesystem::read_symlink("/proc/self/exe", ignored);
  const std::filesystem::path companion = UNDERSONG_COMPANION_FOLDER;
  for (const auto& folder :
       {program.parent_path().parent_path() / "share/undersong/page", companion / "dist"})
    if (std::filesystem::exists(folder / "index.html", ignored)) return folder;
  return companion / "built";
}

}  // namespace

int main(int argc, char** argv) {
  using namespace undersong;
  CLI::App program{
      "Undersong's daemon: it listens to every MIDI keyboard, names what is played, and keeps every take."};
  program.set_version_flag("--version", std::string(app::kVersion));
  std::string config_file, play, socket, takes_file, page;
  int web_port = -1;
  double speed = 1;
  bool quit_after = false;
  program.add_option("--config", config_file,
                     "the configuration, instead of ~/.config/undersong/undersong.toml");
  program.add_option("--socket", socket, "where clients connect, instead of what the configuration says");
  program.add_option("--takes", takes_file, "where takes are kept, instead of what the configuration says");
  program.add_option("--web-port", web_port, "the port of the page, 0 for none")->check(CLI::Range(0, 65535));
  program.add_option("--page", page, "the folder of the companion page");
  auto* play_option =
      program.add_option("--play", play, "listen to a standard MIDI file instead of the keyboards");
  program.add_option("--speed", speed, "how fast the file is played")
      ->check(CLI::Range(0.1, 1000.0))
      ->needs(play_option);
  program.add_flag("--quit-after", quit_after, "stop when the file has been played")->needs(play_option);
  try {
    program.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success)) return program.exit(error);
    std::cerr << "undersongd: " << error.what() << '\n';
    return 2;
  }

  const auto places = app::default_places();
  app::RunOptions options;
  options.config_file = config_file.empty() ? places.config_file : std::filesystem::path(config_file);
  std::error_code ignored;
  if (!config_file.empty() || std::filesystem::exists(options.config_file, ignored)) {
    auto config = app::load_config(options.config_file);
    if (!config) return fail(config.error().message);
    options.config = std::move(*config);
  }
  if (!socket.empty()) options.command_line.socket = std::filesystem::absolute(socket);
  if (!takes_file.empty()) options.command_line.takes_file = std::filesystem::absolute(takes_file);
  if (web_port >= 0) options.command_line.web_port = web_port;
  options.config = options.command_line.over(std::move(options.config));
  if (!play.empty()) options.play = play;
  options.speed = speed;
  options.quit_after_file = quit_after;
  options.page_folder = page.empty() ? page_folder() : std::filesystem::path(page);

  if (options.config.service != midi::BackendKind::kAlsa && play.empty())
    midi::use_pipewire_jack(argv, options.config.service == midi::BackendKind::kJack);

  auto log = spdlog::stderr_color_mt("undersongd");
  log->set_pattern("%H:%M:%S %^%l%$ %v");
  spdlog::set_default_logger(log);
  spdlog::set_level(spdlog::level::from_str(options.config.log_level));

  auto daemon = app::Daemon::start(std::move(options));
  if (!daemon) return fail(daemon.error().message);
  const int status = (*daemon)->run();
  // Everything is kept by now. What is left is to let go of the MIDI service, which may never answer.
  std::thread([status] {
    std::this_thread::sleep_for(kLettingGo);
    spdlog::warn("Undersong did not end by itself in time and stops now; everything is kept.");
    std::_Exit(status);
  }).detach();
  daemon->reset();
  return status;
}
