// The sentence for somebody who may not use a device names the group and the command.
#include "daemon/base/account.h"

#include <grp.h>
#include <gtest/gtest.h>
#include <pwd.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <string>

namespace undersong {
namespace {

struct TemporaryFile {
  TemporaryFile() {
    const int fd = ::mkstemp(name.data());
    ::close(fd);
  }
  ~TemporaryFile() { ::unlink(name.c_str()); }
  std::string name = "/tmp/undersong-account-XXXXXX";
};

TEST(NoRightTo, NamesTheGroupOfTheDeviceAndTheCommandThatJoinsIt) {
  // Root may give a file to any group, others to their own.
  const gid_t owners = ::geteuid() == 0 ? 1 : ::getegid();
  const std::string group_name = ::getgrgid(owners)->gr_name, self = ::getpwuid(::geteuid())->pw_name;
  TemporaryFile device;
  ASSERT_EQ(::chown(device.name.c_str(), ::geteuid(), owners), 0);
  ASSERT_EQ(::chmod(device.name.c_str(), 0660), 0);
  EXPECT_EQ(no_right_to(device.name, "The sequencer"),
            "The sequencer is there, but " + self + " has no right to use it: " + device.name +
                " belongs to the group " + group_name + ". `sudo usermod -aG " + group_name + " " + self +
                "` puts you there; then log out and in again.");
}

TEST(NoRightTo, SaysHowToOpenADeviceThatIsOpenToRootAlone) {
  TemporaryFile device;
  ASSERT_EQ(::chmod(device.name.c_str(), 0600), 0);
  const auto sentence = no_right_to(device.name, "The sequencer");
  EXPECT_NE(sentence.find("is open to root alone. `sudo chgrp audio " + device.name), std::string::npos)
      << sentence;
  EXPECT_NE(sentence.find("`sudo usermod -aG audio "), std::string::npos) << sentence;
}

}  // namespace
}  // namespace undersong
