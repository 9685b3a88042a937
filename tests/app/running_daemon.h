// Fixture for tests that run the daemon as a process, talk to it over its socket, kill it and restart it.
//
// Threads: the test's only.
// Errors: a failed step fails the test, or throws with one sentence.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/midi/smf.h"
#include "protocol/connection.h"
#include "tests/transport/jack_world.h"

namespace undersong::app {

using namespace std::chrono_literals;
using protocol::Connection;
using transport::eventually;
using transport::kPatience;
using transport::Process;

class DaemonTest : public testing::Test {
 protected:
  DaemonTest() {
    char name[] = "/tmp/undersong-daemon-XXXXXX";
    folder_ = mkdtemp(name);
    // The test must not touch the user's own files or daemon.
    setenv("HOME", folder_.c_str(), 1);
    setenv("XDG_RUNTIME_DIR", (folder_ / "run").c_str(), 1);
    for (const char* variable : {"XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "NOTIFY_SOCKET"})
      unsetenv(variable);
    setenv("JACK_NO_START_SERVER", "1", 1);
    setenv("JACK_DEFAULT_SERVER", "undersong-no-such-server", 1);
  }
  ~DaemonTest() override {
    daemon_.reset();
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }

  void start(std::vector<std::string> more = {}) {
    std::vector<std::string> words{UNDERSONGD, "--web-port", "0"};
    words.insert(words.end(), more.begin(), more.end());
    daemon_ = std::make_unique<Process>(words, true);
  }
  Connection connect() {
    std::optional<Connection> made;
    eventually([&] {
      auto opened = Connection::open(folder_ / "run/undersong/socket", 1s);
      if (opened) made.emplace(std::move(*opened));
      return made.has_value();
    });
    if (!made) throw std::runtime_error("the daemon does not answer");
    return std::move(*made);
  }
  // Reads notifications until `enough` accepts one. Empty if none came within kPatience.
  template <class T>
  std::optional<T> until(Connection& daemon, const std::function<bool(const T&)>& enough) {
    const auto end = std::chrono::steady_clock::now() + kPatience;
    while (std::chrono::steady_clock::now() < end) {
      const auto note = daemon.next_notification(200ms);
      if (!note) return std::nullopt;
      if (!*note) continue;
      const auto read = (*note)->as<T>();
      if (read && *read && enough(**read)) return **read;
    }
    return std::nullopt;
  }
  // Writes a MIDI file that repeats chords. Each lasts two seconds; its upper notes are struck on every beat.
  std::string write_cycle(const std::vector<std::vector<int>>& chords, int rounds) {
    std::vector<midi::Event> events;
    int bar = 0;
    for (int round = 0; round < rounds; ++round)
      for (const auto& chord : chords) {
        for (int beat = 0; beat < 4; ++beat)
          for (const int key : chord) {
            if (beat > 0 && key == chord.front()) continue;
            const Micros at = Micros(2'000'000) * bar + Micros(500'000) * beat;
            const Micros end = key == chord.front() ? at + Micros(1'950'000) : at + Micros(450'000);
            events.push_back(midi::note_on(at, 0, Pitch(key), Velocity(beat == 0 ? 80 : 60)));
            events.push_back(midi::note_off(end, 0, Pitch(key)));
          }
        ++bar;
      }
    std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
    const auto file = folder_ / "cycle.mid";
    EXPECT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "cycle"), file));
    return file.string();
  }
  // Waits until the file that the daemon plays has become a take that has ended.
  static bool until_kept(Connection& daemon) {
    return eventually([&] {
      const auto takes = daemon.request(protocol::ListTakes{});
      return takes && !takes->takes.empty() && takes->takes[0].ended;
    });
  }
  static std::vector<protocol::PlayedNote> keys(std::initializer_list<int> pitches, bool on) {
    std::vector<protocol::PlayedNote> out;
    for (int pitch : pitches) out.push_back({pitch, 70, on});
    return out;
  }

  std::filesystem::path folder_;
  std::unique_ptr<Process> daemon_;
};

// Writes a MIDI file in which G is held on top while twelve roots are tried under it, each with fifth, third
// and seventh. Db comes a second time at the end.
inline std::string write_twelve_roots(const std::filesystem::path& folder) {
  std::vector<midi::Event> events{midi::note_on(Micros(0), 0, Pitch(79), Velocity(80))};
  Micros at(500'000);
  for (const int root : {0, 5, 10, 3, 8, 1, 6, 11, 4, 9, 2, 7, 1}) {
    for (const int above : {0, 7, 16, 23}) {
      events.push_back(midi::note_on(at, 0, Pitch(36 + root + above), Velocity(72)));
      events.push_back(midi::note_off(at + Micros(1'400'000), 0, Pitch(36 + root + above)));
    }
    at += Micros(1'500'000);
  }
  events.push_back(midi::note_off(at, 0, Pitch(79)));
  std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  const auto file = folder / "roots.mid";
  EXPECT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "roots"), file));
  return file.string();
}

}  // namespace undersong::app
