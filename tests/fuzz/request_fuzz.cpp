// Sends any bytes, line by line, to a real server with a real store, a played take and a sounding chord.
// Every line it answers with is JSON, and it still answers afterwards.
//
// The server is one for all inputs, so that each is quick: what an input finds may need some before it. Names
// of files never leave the folder that the fuzzer made.
#include <filesystem>
#include <memory>

#include "tests/fuzz/bytes.h"
#include "tests/server/server_fixture.h"

using namespace undersong;
using fuzz::must;

namespace {

constexpr std::size_t kMostLines = 8;

struct World {
  World() {
    std::filesystem::current_path(running.folder.path);
    running.keep(server::demo_take());
    running.play_cadence();
    client = std::make_unique<server::RawClient>(running.socket);
    must(!client->line().empty());
  }
  server::Running running;
  std::unique_ptr<server::RawClient> client;
  std::uint64_t asked = 0;
};

// What can be sent without leaving the folder or waiting for a press that never comes.
bool harmless(const std::string& line) {
  for (const char* part : {"\\u002f", "\\u002F", "\\u005c", "\\u005C", "/", "..", "controls.learn"})
    if (line.find(part) != std::string::npos) return false;
  return !line.empty();
}

}  // namespace

// OpenSSL keeps something for a thread of ours until the process ends (904 bytes, once, however many inputs).
// Nothing else here is known to stay; memory that grows is found by -rss_limit_mb.
extern "C" const char* __asan_default_options();
extern "C" const char* __asan_default_options() {
  return "detect_leaks=0";
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static auto world = std::make_unique<World>();
  static const int ended = std::atexit([] { world.reset(); });
  must(ended == 0);
  std::string_view text(reinterpret_cast<const char*>(data), size);
  for (std::size_t sent = 0; !text.empty() && sent < kMostLines; ++sent) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    const std::string line(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
    if (harmless(line)) world->client->send(line + "\n");
  }
  const std::string last = "\"fuzz " + std::to_string(++world->asked) + "\"";
  world->client->send(R"({"jsonrpc":"2.0","method":"status.get","params":{},"id":)" + last + "}\n");
  for (;;) {
    const std::string line = world->client->line();
    if (line.empty()) {  // a message that is too long ends the connection
      world->client = std::make_unique<server::RawClient>(world->running.socket);
      must(!world->client->line().empty());
      return 0;
    }
    must(protocol::parse(line).has_value());
    if (line.find(last) != std::string::npos) return 0;
  }
}
