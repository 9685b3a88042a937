// How the daemon starts and ends: killed, stopped, a full disk, a second instance, no memory, a port in use.
#include <netinet/in.h>
#include <sys/resource.h>
#include <sys/socket.h>

#include "daemon/takes/store.h"
#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

// Asks a web server on loopback for its first page and returns the answer; empty if it cannot be reached.
std::string first_page(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  std::string answer;
  if (::connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0) {
    const std::string ask =
        "GET / HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\nConnection: close\r\n\r\n";
    if (::send(fd, ask.data(), ask.size(), MSG_NOSIGNAL) > 0) {
      char chunk[4096];
      for (ssize_t got; (got = ::read(fd, chunk, sizeof chunk)) > 0;)
        answer.append(chunk, static_cast<std::size_t>(got));
    }
  }
  ::close(fd);
  return answer;
}

TEST_F(DaemonTest, InstalledItServesThePageThatWasInstalledBesideIt) {
  std::filesystem::create_directories(folder_ / "usr/bin");
  std::filesystem::create_directories(folder_ / "usr/share/undersong/page");
  std::filesystem::copy_file(UNDERSONGD, folder_ / "usr/bin/undersongd");
  std::ofstream(folder_ / "usr/share/undersong/page/index.html")
      << "<!doctype html><title>installed here</title>";
  // A port that is free at the moment.
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  socklen_t size = sizeof address;
  ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size), 0);
  ::close(fd);
  const std::uint16_t port = ntohs(address.sin_port);
  daemon_ = std::make_unique<Process>(
      std::vector<std::string>{folder_ / "usr/bin/undersongd", "--web-port", std::to_string(port)}, true);
  ASSERT_TRUE(eventually([&] { return first_page(port).find("installed here") != std::string::npos; }));
  const auto places = connect().request(protocol::GetPlaces{});
  ASSERT_TRUE(places);
  ASSERT_TRUE(places->page.has_value());
  EXPECT_EQ(*places->page, "http://127.0.0.1:" + std::to_string(port) + "/");
  EXPECT_EQ(places->takes, (folder_ / ".local/share/undersong/takes.sqlite").string());
  EXPECT_FALSE(places->configured);
}

TEST_F(DaemonTest, KilledInTheMiddleTheTakeIsThereAndClosedAtTheNextStart) {
  start();
  std::uint64_t last = 0;
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67, 72}, true)}));
    std::optional<protocol::Read<protocol::Kept>> marked;
    ASSERT_TRUE(eventually([&] {
      marked = daemon.request(protocol::MarkTake{.text = "kept"});
      return bool(*marked);
    }));
    last = (*marked)->number;  // the answer means that it is on disk
  }
  daemon_->end(SIGKILL);
  start();
  Connection daemon = connect();
  const auto takes = daemon.request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  ASSERT_EQ(takes->takes.size(), 1u);
  EXPECT_EQ(takes->takes[0].ended, "interrupted");
  EXPECT_EQ(takes->takes[0].notes, 4u);
  const auto lines = daemon.request(protocol::GetEvents{.take = std::nullopt, .from = 1, .limit = 2000});
  ASSERT_TRUE(lines);
  ASSERT_GE(lines->lines.size(), last);
  for (std::size_t i = 0; i < lines->lines.size(); ++i) EXPECT_EQ(lines->lines[i].number, i + 1);
  EXPECT_EQ(lines->lines[last - 1].text, "kept");
}

TEST_F(DaemonTest, AskedToStopItClosesTheTake) {
  start();
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
    ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::MarkTake{})); }));
  }
  daemon_->end(SIGTERM);
  EXPECT_FALSE(std::filesystem::exists(folder_ / "run/undersong/socket"));
  start();
  const auto takes = connect().request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  ASSERT_EQ(takes->takes.size(), 1u);
  EXPECT_EQ(takes->takes[0].ended, "stop");
}

TEST_F(DaemonTest, StoppedWithADiskThatTakesNoMoreItSaysSoAndTheNextStartHasEveryNote) {
  // A limit on the size of files acts like a full disk.
  daemon_ = std::make_unique<Process>(
      std::vector<std::string>{"bash", "-c",
                               std::string("ulimit -f 200; exec ") + UNDERSONGD + " --web-port 0"},
      true);
  std::uint64_t played = 0;
  {
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      for (int i = 0; i < 20; ++i) {
        const int key = 40 + i;
        if (!daemon.request(protocol::SendNotes{keys({key}, true)}) ||
            !daemon.request(protocol::SendNotes{keys({key}, false)}))
          return false;
        ++played;
      }
      const auto status = daemon.request(protocol::GetStatus{});
      return status && !status->store.good && status->store.waiting > 100;
    }));
  }
  std::string said;
  EXPECT_EQ(daemon_->finish(SIGTERM, said), 3);
  const std::string spilled = " lines could not be written there; they are in " +
                              (folder_ / ".local/share/undersong/takes.sqlite.waiting-").string();
  EXPECT_NE(said.find("Stopped, but not everything is in the takes. "), std::string::npos) << said;
  EXPECT_NE(said.find(spilled), std::string::npos) << said;
  EXPECT_EQ(said.find("closed and kept"), std::string::npos) << said;
  start();
  {
    Connection daemon = connect();
    const auto takes = daemon.request(protocol::ListTakes{});
    ASSERT_TRUE(takes);
    ASSERT_EQ(takes->takes.size(), 1u);
    EXPECT_EQ(takes->takes[0].notes, played);
    EXPECT_EQ(takes->takes[0].ended, "stop");
    EXPECT_NE(daemon.request(protocol::GetStatus{})->store.sentence.find("have been read back"),
              std::string::npos);
  }
  said.clear();
  EXPECT_EQ(daemon_->finish(SIGTERM, said), 0);
  EXPECT_NE(said.find("Stopped; the take is closed and kept."), std::string::npos) << said;
}

TEST_F(DaemonTest, ASecondDaemonGivesWayAndTheFirstGoesOn) {
  start();
  Connection first = connect();
  Process second({UNDERSONGD, "--web-port", "0"}, true);
  const std::string said = second.read_line();
  EXPECT_NE(said.find("Another program keeps takes in"), std::string::npos) << said;
  EXPECT_TRUE(first.request(protocol::GetStatus{}));
}

TEST_F(DaemonTest, ASocketLeftBehindByAKilledDaemonIsNoHindrance) {
  start();
  (void)connect();
  daemon_->end(SIGKILL);
  ASSERT_TRUE(std::filesystem::exists(folder_ / "run/undersong/socket"));
  start();
  EXPECT_TRUE(connect().request(protocol::GetStatus{}));
}

TEST_F(DaemonTest, AWrongConfigurationIsSaidInOneSentenceAndNothingStarts) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  std::ofstream(folder_ / ".config/undersong/undersong.toml") << "[takes]\nsilence = 3\n";
  start();
  const std::string said = daemon_->read_line();
  EXPECT_NE(said.find("undersong.toml, line 2: silence is no option of [takes]"), std::string::npos) << said;
}

// The notes are so far apart that analysing the take needs more memory than there is.
TEST_F(DaemonTest, WithoutMemoryAQuestionIsAnsweredWithAnErrorAndAllElseGoesOn) {
  const auto file = folder_ / ".local/share/undersong/takes.sqlite";
  {
    auto store = takes::Store::open({.path = file}, {});
    ASSERT_TRUE(store) << store.error().message;
    (*store)->append(takes::take_begin(Micros(0), 1'790'000'000'000));
    for (int i = 0; i < 200; ++i) {
      (*store)->append(
          takes::midi_received(midi::note_on(Micros(9'000'000) * i, 0, Pitch(60), Velocity(70))));
      (*store)->append(
          takes::midi_received(midi::note_off(Micros(9'000'000) * i + Micros(500'000), 0, Pitch(60))));
    }
    (*store)->append(takes::take_end(Micros(9'000'000) * 200, takes::EndReason::kRequest));
  }
  // The C library reserves 64 MB of addresses for the memory of each thread; reserved ones would count as
  // had.
  setenv("MALLOC_ARENA_MAX", "1", 1);
  start();
  unsetenv("MALLOC_ARENA_MAX");
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::GetTake{.take = 1}));
  const auto bound = [&](rlim_t bytes) {
    const rlimit limit{bytes, RLIM_INFINITY};
    return ::prlimit(daemon_->id(), RLIMIT_AS, &limit, nullptr) == 0;
  };
  std::ifstream sizes("/proc/" + std::to_string(daemon_->id()) + "/statm");
  rlim_t pages = 0;
  ASSERT_TRUE(sizes >> pages);
  ASSERT_TRUE(bound(pages * static_cast<rlim_t>(::sysconf(_SC_PAGESIZE)) + (14u << 20)));
  for (int i = 0; i < 3; ++i) {
    const auto refused = daemon.request(protocol::GetBeats{.take = 1});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().sentence,
              "There was not enough memory while take 1 was listened to again; everything else goes on.");
    EXPECT_FALSE(daemon.request(protocol::GetLoop{.take = 1}));
  }
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({60}, true)}));
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::ListTakes{})->takes.size() == 2; }))
      << "what is played is kept";
  ASSERT_TRUE(bound(RLIM_INFINITY));
  const auto again =
      daemon.request(protocol::GetBeats{.take = 1}, 240s);  // work of low priority may wait long
  EXPECT_TRUE(again) << again.error().sentence;
}

TEST_F(DaemonTest, AWebPortThatAnotherProgramHasDoesNotKeepItFromStarting) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  ASSERT_EQ(::listen(fd, 1), 0);
  socklen_t size = sizeof address;
  ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size), 0);
  const std::string port = std::to_string(ntohs(address.sin_port));
  daemon_ = std::make_unique<Process>(std::vector<std::string>{UNDERSONGD, "--web-port", port}, true);
  Connection daemon = connect();
  const auto places = daemon.request(protocol::GetPlaces{});
  ASSERT_TRUE(places);
  EXPECT_FALSE(places->page);
  EXPECT_EQ(places->page_trouble, "The web port 127.0.0.1:" + port + " is taken by another program.");
  EXPECT_NE(daemon_->read_line().find("is taken by another program. Going on without the page."),
            std::string::npos);
  Process doctor({UNDERSONG_CLIENT, "doctor"}, true);
  bool told = false;
  for (std::string line; !(line = doctor.read_line()).empty();)
    told |= line.find("No companion page is served. The web port") != std::string::npos;
  EXPECT_TRUE(told);
  // A second daemon still refuses to start, whatever port it asks for.
  Process second({UNDERSONGD, "--web-port", "0"}, true);
  EXPECT_NE(second.read_line().find("Another program keeps takes in"), std::string::npos);
  EXPECT_TRUE(daemon.request(protocol::GetStatus{}));
  ::close(fd);
}

TEST_F(DaemonTest, FoldersThatWereThereKeepTheirMode) {
  const auto mode = [](const std::filesystem::path& folder) {
    return std::filesystem::status(folder).permissions();
  };
  const auto open = std::filesystem::perms(0755), closed = std::filesystem::perms(0700);
  for (const char* name : {"sockets", "takes"}) {
    std::filesystem::create_directory(folder_ / name);
    std::filesystem::permissions(folder_ / name, open);
  }
  const auto socket = folder_ / "sockets/s", takes = folder_ / "takes/new/t.sqlite";
  start({"--socket", socket.string(), "--takes", takes.string()});
  std::optional<Connection> daemon;
  ASSERT_TRUE(eventually([&] {
    auto opened = Connection::open(socket, 1s);
    if (opened) daemon.emplace(std::move(*opened));
    return daemon.has_value();
  }));
  EXPECT_EQ(mode(folder_ / "sockets"), open);
  EXPECT_EQ(mode(folder_ / "takes"), open);
  EXPECT_EQ(mode(folder_ / "takes/new"), closed) << "a folder of our own is ours alone";
}

TEST_F(DaemonTest, DoctorTellsWhenAKeyWasHeardAndWhyThereIsNoMidi) {
  start();
  Connection daemon = connect();
  std::optional<std::string> trouble;
  ASSERT_TRUE(eventually(
      [&] { return (trouble = daemon.request(protocol::GetStatus{})->midi_trouble).has_value(); }));
  Process doctor({UNDERSONG_CLIENT, "doctor"}, true);
  bool told = false;
  for (std::string line; !(line = doctor.read_line()).empty();) told |= line == "--   " + *trouble;
  EXPECT_TRUE(told) << *trouble;
}

TEST_F(DaemonTest, DoctorWaitsForAKeyAndSaysWhatCame) {
  start();
  Connection daemon = connect();
  Process doctor({UNDERSONG_CLIENT, "doctor", "--listen"}, true);
  ASSERT_EQ(doctor.read_line(), "Press a key.");
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({61}, true)}));
  const std::string said = doctor.read_line();
  EXPECT_EQ(said.find("Db4 (MIDI 61) came from "), 0u) << said;
  EXPECT_NE(said.find(", channel 1, velocity 70; it was here "), std::string::npos) << said;
}

}  // namespace
}  // namespace undersong::app
