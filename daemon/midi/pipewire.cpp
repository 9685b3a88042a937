#include "daemon/midi/pipewire.h"

#include <dlfcn.h>
#include <jack/jack.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>

namespace undersong::midi {
namespace {

// The loader puts the folder of this machine's libraries in the place of $LIB.
constexpr const char* kFolder = "/usr/$LIB/pipewire-0.3/jack";
// Set for the second start, so that there is no third.
constexpr const char* kTried = "UNDERSONG_WITH_PIPEWIRE";

bool pipewire_runs() {
  for (const char* variable : {"PIPEWIRE_RUNTIME_DIR", "XDG_RUNTIME_DIR"}) {
    const char* folder = std::getenv(variable);
    std::error_code ignored;
    if (folder && std::filesystem::exists(std::filesystem::path(folder) / "pipewire-0", ignored)) return true;
  }
  return false;
}

bool library_installed() {
  void* library = dlopen((std::string(kFolder) + "/libjack.so.0").c_str(), RTLD_LAZY | RTLD_LOCAL);
  if (!library) return false;
  dlclose(library);
  return true;
}

bool library_in_use() {
  Dl_info about{};
  return dladdr(reinterpret_cast<void*>(&jack_client_open), &about) != 0 && about.dli_fname &&
         std::string(about.dli_fname).find("pipewire") != std::string::npos;
}

bool jack_answers() {
  jack_set_error_function([](const char*) {});
  jack_set_info_function([](const char*) {});
  jack_client_t* client = jack_client_open("Undersong look", JackNoStartServer, nullptr);
  if (client) jack_client_close(client);
  return client != nullptr;
}

}  // namespace

void use_pipewire_jack(char** argv, bool jack_only) {
  if (std::getenv(kTried) || (!jack_only && ::access("/dev/snd/seq", R_OK | W_OK) == 0)) return;
  if (!pipewire_runs() || library_in_use() || jack_answers() || !library_installed()) return;
  const char* old = std::getenv("LD_LIBRARY_PATH");
  setenv("LD_LIBRARY_PATH", (std::string(kFolder) + (old && *old ? std::string(":") + old : "")).c_str(), 1);
  setenv(kTried, "1", 1);
  ::execv("/proc/self/exe", argv);
  // If that failed, we go on as we are.
}

std::string what_pipewire_lacks() {
  if (!pipewire_runs() || library_in_use()) return {};
  return library_installed()
             ? " PipeWire runs, but came after Undersong: start undersongd again."
             : " PipeWire runs, but its JACK library is missing: `sudo apt install pipewire-jack`, "
               "then start undersongd again.";
}

}  // namespace undersong::midi
