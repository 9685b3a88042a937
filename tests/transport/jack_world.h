// Runs a JACK server and instruments as processes that a test starts and ends, each by its own id.
//
//   JackServer server;
//   ASSERT_TRUE(server.start());
//   Player keys("Keys");
//   keys.order("send 90 3C 40");
//
// Threads: the test's only.
// Errors: false, "gone" or an exit status; the test checks them.
#pragma once

#include <fcntl.h>
#include <jack/jack.h>
#include <poll.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <memory>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

namespace undersong::transport {

inline constexpr std::chrono::seconds kPatience{20};  // the longest wait for a condition; it measures nothing

// Checks the condition every 5 ms. False if it does not hold within kPatience.
inline bool eventually(const std::function<bool()>& condition) {
  const auto end = std::chrono::steady_clock::now() + kPatience;
  while (!condition()) {
    if (std::chrono::steady_clock::now() > end) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  return true;
}

inline bool have_jackd() {
  std::istringstream path(std::getenv("PATH") ? std::getenv("PATH") : "");
  for (std::string folder; std::getline(path, folder, ':');) {
    if (::access((std::filesystem::path(folder) / "jackd").c_str(), X_OK) == 0) return true;
  }
  return false;
}

// What a process says goes to a pipe, from which the test reads; with `log`, all of it to that file instead.
// A pipe that nobody reads fills up and stops whoever writes to it.
class Process {
 public:
  explicit Process(const std::vector<std::string>& words, bool quiet = false, int log = -1) {
    int to[2], from[2];
    if (::pipe2(to, O_CLOEXEC) != 0 || ::pipe2(from, O_CLOEXEC) != 0) std::abort();
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    id_ = ::fork();
    if (id_ == 0) {
      ::prctl(PR_SET_PDEATHSIG, SIGTERM);  // a killed test leaves no process running
      ::dup2(to[0], 0);
      ::dup2(log >= 0 ? log : from[1], 1);
      if (quiet) ::dup2(1, 2);
      ::execvp(arguments[0], arguments.data());
      ::_exit(127);
    }
    ::close(to[0]), ::close(from[1]);
    in_ = to[1], out_ = from[0];
  }
  ~Process() { end(SIGTERM); }
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  // Closes its input and output, sends the signal and waits. With signal 0, the process ends by itself when
  // its standard input ends.
  void end(int signal) {
    if (id_ <= 0) return;
    ::close(in_), ::close(out_);
    if (signal != 0) ::kill(id_, signal);
    int status = 0;
    ::waitpid(id_, &status, 0);
    id_ = -1;
  }
  pid_t id() const { return id_; }
  // True if the process has ended by itself.
  bool ended() const {
    siginfo_t state{};
    return id_ <= 0 || (::waitid(P_PID, static_cast<id_t>(id_), &state, WEXITED | WNOHANG | WNOWAIT) == 0 &&
                        state.si_pid == id_);
  }
  // Sends a signal and waits. Returns the exit status, or -1 if a signal ended the process, and appends its
  // remaining output to `said`.
  int finish(int signal, std::string& said) {
    if (id_ <= 0) return -1;
    ::kill(id_, signal);
    char part[4096];
    for (ssize_t got; (got = ::read(out_, part, sizeof part)) > 0;)
      said.append(part, static_cast<std::size_t>(got));
    ::close(in_), ::close(out_);
    int status = 0;
    ::waitpid(id_, &status, 0);
    id_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  }
  void signal(int number) const {
    if (id_ > 0) ::kill(id_, number);
  }
  bool write_line(const std::string& line) {
    const std::string text = line + "\n";
    return ::write(in_, text.data(), text.size()) == static_cast<ssize_t>(text.size());
  }
  std::string read_line() {
    std::string line;
    for (char c;;) {
      pollfd ready{out_, POLLIN, 0};
      if (::poll(&ready, 1, static_cast<int>(std::chrono::milliseconds(kPatience).count())) != 1) return line;
      if (::read(out_, &c, 1) != 1 || c == '\n') return line;
      line += c;
    }
  }

 private:
  pid_t id_ = -1;
  int in_ = -1, out_ = -1;
};

// A JACK server with a name of its own. This process, and all processes that it starts, use this server. It
// can be started and ended repeatedly.
class JackServer {
 public:
  // Only one server runs at a time on a machine, always with the same name. JACK has room for eight names and
  // does not forget the name of a killed server.
  JackServer() {
    lock_ = ::open(("/tmp/undersong-jack-" + std::to_string(::getuid()) + ".lock").c_str(),
                   O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (lock_ >= 0) (void)::flock(lock_, LOCK_EX);
    ::setenv("JACK_DEFAULT_SERVER", name_.c_str(), 1);
    ::setenv("JACK_NO_START_SERVER", "1", 1);
    ::setenv("JACK_NO_AUDIO_RESERVATION", "1", 1);
    ::signal(SIGPIPE, SIG_IGN);
    jack_set_error_function([](const char*) {});
    jack_set_info_function([](const char*) {});
  }
  // Also removes the semaphores that a killed server leaves behind.
  ~JackServer() {
    end(SIGTERM);
    std::error_code ignored;
    for (const auto& file : std::filesystem::directory_iterator("/dev/shm", ignored)) {
      if (file.path().filename().string().find("_" + name_ + "_") != std::string::npos) {
        std::filesystem::remove(file.path(), ignored);
      }
    }
    if (said_ >= 0) ::close(said_);
    if (lock_ >= 0) ::close(lock_);
  }
  // The server tells of every period that came late. On a busy machine that is soon more than a pipe holds;
  // then the server would wait for a reader, and every client for the server.
  bool start() {
    forget_database();
    if (said_ >= 0) ::close(said_);
    said_ = ::memfd_create("jackd", MFD_CLOEXEC);
    launch();
    const bool answers = eventually([&] {
      jack_client_t* probe = jack_client_open("probe", JackNoStartServer, nullptr);
      if (probe) jack_client_close(probe);
      if (probe) return true;
      if (process_->ended()) launch();
      return false;
    });
    if (!answers) std::cerr << "  jackd does not answer; it said: " << said() << "\n";
    return answers;
  }
  void end(int signal) {
    if (process_) process_->end(signal);
    process_.reset();
  }

 private:
  // Removes libjack's database, unless another server runs. All servers of a user share this database. A
  // client that is killed at the wrong moment leaves it locked forever, and all later clients wait. If no
  // other server runs, it contains nothing that anybody needs.
  void forget_database() const {
    std::error_code ignored;
    for (const auto& process : std::filesystem::directory_iterator("/proc", ignored)) {
      std::ifstream file(process.path() / "cmdline");
      std::string program, argument;
      std::getline(file, program, '\0');
      bool ours = false;
      while (std::getline(file, argument, '\0')) ours |= argument == name_;
      if (std::filesystem::path(program).filename() == "jackd" && !ours) return;
    }
    std::filesystem::remove_all("/dev/shm/jack_db-" + std::to_string(::getuid()), ignored);
  }

  // JACK gives its own thread one second to begin, and ends where a busy machine takes longer ("Cannot start
  // thread"): it is started again then.
  void launch() {
    process_ = std::make_unique<Process>(
        std::vector<std::string>{"jackd", "--no-realtime", "-S", "-n", name_, "-d", "dummy", "-r", "48000",
                                 "-p", "64", "-C", "0", "-P", "0"},
        true, said_);
  }
  std::string said() const {
    std::string text(4000, '\0');
    const ssize_t got = ::pread(said_, text.data(), text.size(), 0);
    text.resize(static_cast<std::size_t>(std::max<ssize_t>(got, 0)));
    return text;
  }

  const std::string name_ = "undersong-tests";
  int said_ = -1;
  int lock_ = -1;
  std::unique_ptr<Process> process_;
};

// Waits until all connections made so far carry messages. JACK uses a new connection only from a later period
// on and drops messages that are sent before. A client that joins afterwards runs its first whole period with
// it.
inline bool until_connections_carry() {
  jack_client_t* clock = jack_client_open("clock of the tests", JackNoStartServer, nullptr);
  if (!clock) return false;
  std::atomic<int> periods{0};
  jack_set_process_callback(
      clock, [](jack_nframes_t, void* count) { return ++*static_cast<std::atomic<int>*>(count), 0; },
      &periods);
  const bool carry = jack_activate(clock) == 0 && eventually([&] { return periods >= 3; });
  jack_client_close(clock);
  return carry;
}

class Player {
 public:
  explicit Player(const std::string& name, bool echo = false)
      : process_(echo ? std::vector<std::string>{UNDERSONG_PLAYER, name, "echo"}
                      : std::vector<std::string>{UNDERSONG_PLAYER, name}) {
    ready_ = process_.read_line() == "ok";
  }
  bool ready() const { return ready_; }
  std::string order(const std::string& line) {
    return process_.write_line(line) ? process_.read_line() : "gone";
  }
  ~Player() { leave(); }
  // Neither of them sends note-offs. JACK needs about five seconds to notice that a client was killed.
  void leave() { process_.end(0); }
  void be_killed() { process_.end(SIGKILL); }

 private:
  Process process_;
  bool ready_ = false;
};

// Connects the output whose name contains `from` to the input whose name contains `to`, as somebody does by
// hand; with `apart`, takes the cable out. False if one of them is not there.
inline bool wire(const std::string& from, const std::string& to, bool apart = false) {
  jack_client_t* hand = jack_client_open("hand", JackNoStartServer, nullptr);
  if (!hand) return false;
  const auto find = [&](const std::string& part, unsigned long flags) {
    std::string found;
    const char** ports = jack_get_ports(hand, nullptr, JACK_DEFAULT_MIDI_TYPE, flags);
    for (const char** port = ports; port && *port; ++port)
      if (std::string(*port).find(part) != std::string::npos) found = *port;
    jack_free(ports);
    return found;
  };
  const std::string out = find(from, JackPortIsOutput), in = find(to, JackPortIsInput);
  const auto change = apart ? &jack_disconnect : &jack_connect;
  const bool done = !out.empty() && !in.empty() && change(hand, out.c_str(), in.c_str()) == 0;
  jack_client_close(hand);
  return done;
}
inline bool unwire(const std::string& from, const std::string& to) {
  return wire(from, to, true);
}

}  // namespace undersong::transport
