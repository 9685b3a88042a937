// A MIDI service that is there and never answers, as JACK can be after a program died while it was
// connecting; and the service manager's watchdog.
#include <sys/socket.h>
#include <sys/un.h>

#include "daemon/app/daemon.h"
#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

// A socket that accepts connections and says nothing.
class Silent {
 public:
  explicit Silent(const std::string& path, int type = SOCK_STREAM) : path_(path) {
    ::unlink(path.c_str());
    descriptor_ = ::socket(AF_UNIX, type | SOCK_CLOEXEC, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path.copy(address.sun_path, sizeof address.sun_path - 1);
    EXPECT_EQ(::bind(descriptor_, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0) << path;
    if (type == SOCK_STREAM) {
      EXPECT_EQ(::listen(descriptor_, 8), 0);
    }
  }
  ~Silent() {
    ::close(descriptor_);
    ::unlink(path_.c_str());
  }
  // The next datagram; "" if none comes within kPatience.
  std::string datagram() {
    pollfd waits{descriptor_, POLLIN, 0};
    if (::poll(&waits, 1, static_cast<int>(std::chrono::milliseconds(kPatience).count())) != 1) return {};
    char bytes[256];
    const ssize_t size = ::recv(descriptor_, bytes, sizeof bytes, 0);
    return size > 0 ? std::string(bytes, static_cast<std::size_t>(size)) : std::string();
  }

 private:
  const std::string path_;
  int descriptor_ = -1;
};

class SilentService : public DaemonTest {};

TEST_F(SilentService, IsToldAndDoesNotKeepTheDaemonFromWorkingOrStopping) {
  const std::string server = "undersong-silent-" + std::to_string(::getpid());
  // Where JACK's library looks for its server.
  const Silent jack("/dev/shm/jack_" + server + "_" + std::to_string(::getuid()) + "_0");
  setenv("JACK_DEFAULT_SERVER", server.c_str(), 1);
  std::filesystem::create_directories(folder_ / ".config/undersong");
  std::ofstream(folder_ / ".config/undersong/undersong.toml") << "[midi]\nservice = \"jack\"\n";
  start();
  auto daemon = connect();
  std::string trouble;
  EXPECT_TRUE(eventually([&] {
    const auto status = daemon.request(protocol::GetStatus{});
    trouble = status && status->midi_trouble ? *status->midi_trouble : std::string();
    return trouble.find("does not answer") != std::string::npos;
  })) << trouble;
  EXPECT_TRUE(daemon.request(protocol::ListTakes{})) << "everything else works";
  std::string said;
  EXPECT_EQ(daemon_->finish(SIGTERM, said), 0) << said;
  EXPECT_NE(said.find("the take is closed and kept"), std::string::npos) << said;
}

TEST_F(SilentService, TheWatchdogIsFedWhileTheDaemonListens) {
  Silent manager((folder_ / "notify").string(), SOCK_DGRAM);
  setenv("NOTIFY_SOCKET", (folder_ / "notify").c_str(), 1);
  setenv("WATCHDOG_USEC", "200000", 1);
  start();
  unsetenv("NOTIFY_SOCKET");
  unsetenv("WATCHDOG_USEC");
  EXPECT_EQ(manager.datagram(), "READY=1");
  for (int i = 0; i < 3; ++i) EXPECT_EQ(manager.datagram(), "WATCHDOG=1");
}

}  // namespace
}  // namespace undersong::app
