// Fixture for tests that play to the daemon, and listen to its output, over a real JACK server.
//
// Threads: OutputEar receives on JACK's thread and may be read from the test's.
// Errors: a failed step fails the test; without jackd the tests are skipped.
#pragma once

#include <jack/jack.h>
#include <rtmidi/RtMidi.h>

#include <array>
#include <mutex>
#include <set>
#include <sstream>

#include "tests/app/running_daemon.h"

namespace undersong::app {

using transport::JackServer;
using transport::Player;
using transport::wire;

// Listens to an output port and counts what arrives.
class OutputEar {
 public:
  explicit OutputEar(const std::string& port) : in_(RtMidi::UNIX_JACK, "Somebody") {
    in_.setCallback(
        [](double, std::vector<unsigned char>* message, void* self) {
          auto& ear = *static_cast<OutputEar*>(self);
          const std::lock_guard lock(ear.mutex_);
          if (message->size() == 3) ear.messages_.push_back({(*message)[0], (*message)[1], (*message)[2]});
        },
        this);
    opened = eventually([&] {
      for (unsigned i = 0; i < in_.getPortCount(); ++i)
        if (in_.getPortName(i).find(port) != std::string::npos) {
          in_.openPort(i, "in");
          return true;
        }
      return false;
    });
    opened = opened && transport::until_connections_carry();
  }
  std::vector<int> struck() {
    const std::lock_guard lock(mutex_);
    std::vector<int> out;
    for (const auto& m : messages_)
      if ((m[0] & 0xF0) == 0x90 && m[2] > 0) out.push_back(m[1]);
    return out;
  }
  std::size_t let_go() {
    const std::lock_guard lock(mutex_);
    return static_cast<std::size_t>(std::count_if(messages_.begin(), messages_.end(), [](const auto& m) {
      return (m[0] & 0xF0) == 0x80 || ((m[0] & 0xF0) == 0x90 && m[2] == 0);
    }));
  }
  std::set<int> channels() {
    const std::lock_guard lock(mutex_);
    std::set<int> out;
    for (const auto& m : messages_)
      if ((m[0] & 0xF0) == 0x90) out.insert(m[0] & 0x0F);
    return out;
  }
  int loudest() {
    const std::lock_guard lock(mutex_);
    int most = 0;
    for (const auto& m : messages_)
      if ((m[0] & 0xF0) == 0x90) most = std::max<int>(most, m[2]);
    return most;
  }
  bool opened = false;

 private:
  std::mutex mutex_;
  std::vector<std::array<unsigned char, 3>> messages_;
  RtMidiIn in_;
};

class DaemonOverJack : public DaemonTest {
 protected:
  void SetUp() override {
    if (!transport::have_jackd()) GTEST_SKIP() << "jackd is not installed (Debian: jackd2)";
    jack_ = std::make_unique<JackServer>();
    ASSERT_TRUE(jack_->start());
  }
  void TearDown() override {
    daemon_.reset();
    jack_.reset();
  }
  void configure(const std::string& toml) {
    std::filesystem::create_directories(folder_ / ".config/undersong");
    std::ofstream(folder_ / ".config/undersong/undersong.toml") << toml;
  }
  // Makes take 1, which repeats F Dm Gm C six times, and starts the daemon again.
  void keep_a_loop() {
    const std::vector<std::vector<int>> chords{
        {41, 57, 60, 65}, {38, 57, 62, 65}, {43, 58, 62, 67}, {36, 55, 60, 64}};
    {
      start({"--play", write_cycle(chords, 6), "--speed", "1000"});
      Connection daemon = connect();
      ASSERT_TRUE(eventually([&] {
        const auto takes = daemon.request(protocol::ListTakes{});
        return takes && !takes->takes.empty() && takes->takes[0].ended;
      }));
    }
    daemon_->end(SIGTERM);
    start();
  }
  bool until_connected(Connection& daemon, const std::string& name) {
    const bool connected = eventually([&] {
      const auto status = daemon.request(protocol::GetStatus{});
      if (!status) return false;
      for (const auto& port : status->ports)
        if (port.connected && port.name.find(name) != std::string::npos) return true;
      return false;
    });
    return connected && transport::until_connections_carry();
  }
  static void strike(Player& keys, std::initializer_list<int> pitches) {
    for (int pitch : pitches) {
      std::ostringstream order;
      order << "send 90 " << std::hex << pitch << " 48";
      ASSERT_EQ(keys.order(order.str()), "ok");
    }
  }

  std::unique_ptr<JackServer> jack_;
};

}  // namespace undersong::app
