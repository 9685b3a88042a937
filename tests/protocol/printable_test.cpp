// What a terminal would obey never reaches it.
#include "protocol/printable.h"

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstring>

#include "protocol/connection.h"

namespace undersong::protocol {
namespace {

TEST(Printable, NoControlCharacterIsLeft) {
  EXPECT_EQ(printable("Evening \u266A\tone\ntwo\r\n"), "Evening \u266A\tone\ntwo\r\n");
  EXPECT_EQ(printable("\x1b]0;title\x07"), "\uFFFD]0;title\uFFFD");
  EXPECT_EQ(printable("over\rwritten"), "over\uFFFDwritten");
  EXPECT_EQ(printable("\x7F|\xC2\x9B"
                      "31m|\xC2\xA0"),
            "\uFFFD|\uFFFD"
            "31m|\xC2\xA0")
      << "C1 has a short way to escape";
  EXPECT_EQ(printable("\xC2"), "\xC2");
}

TEST(Printable, EveryTextOfAnAnswerIsLookedAt) {
  auto value = boost::json::parse(R"({"a":["x\u001b[2J",{"b":"\u0007","c":1}],"d":null})");
  make_printable(value);
  EXPECT_EQ(value, boost::json::parse("{\"a\":[\"x\\ufffd[2J\",{\"b\":\"\\ufffd\",\"c\":1}],\"d\":null}"));
}

// Somebody may have made our folder in /tmp before our daemon did.
TEST(Connection, ASocketOfAnotherUserIsNotBelieved) {
  if (::geteuid() != 0) return;  // only root can be somebody else
  char folder[] = "/tmp/undersong-foreign-XXXXXX";
  ASSERT_NE(::mkdtemp(folder), nullptr);
  ASSERT_EQ(::chmod(folder, 0777), 0);
  const std::string path = std::string(folder) + "/socket";
  int ready[2];
  ASSERT_EQ(::pipe(ready), 0);
  const pid_t child = ::fork();
  if (child == 0) {
    sockaddr_un at{};
    at.sun_family = AF_UNIX;
    std::strncpy(at.sun_path, path.c_str(), sizeof at.sun_path - 1);
    const bool other = ::syscall(SYS_setresuid, 65534, 65534, 65534) == 0;
    const int in = ::socket(AF_UNIX, SOCK_STREAM, 0);
    if (other && ::bind(in, reinterpret_cast<const sockaddr*>(&at), sizeof at) == 0) ::listen(in, 1);
    (void)!::write(ready[1], "x", 1);
    const int client = ::accept(in, nullptr, nullptr);
    char asked = 0;
    ::_exit(::read(client, &asked, 1) == 0 ? 0 : 1);  // nothing was asked
  }
  char byte = 0;
  ASSERT_EQ(::read(ready[0], &byte, 1), 1);
  const auto daemon = Connection::open(path);
  ASSERT_FALSE(daemon);
  EXPECT_NE(daemon.error().sentence.find("another user"), std::string::npos) << daemon.error().sentence;
  int status = -1;
  ::waitpid(child, &status, 0);
  EXPECT_EQ(status, 0);
  ::close(ready[0]), ::close(ready[1]);
  ::unlink(path.c_str());
  ::rmdir(folder);
}

}  // namespace
}  // namespace undersong::protocol
