#include "daemon/base/account.h"

#include <grp.h>
#include <pwd.h>
#include <sys/stat.h>
#include <unistd.h>

namespace undersong {

std::string no_right_to(const std::string& file, const std::string& what) {
  struct stat about {};
  if (::stat(file.c_str(), &about) != 0) return what + " (" + file + ") may not be opened.";
  const passwd* self = ::getpwuid(::geteuid());
  const group* owners = ::getgrgid(about.st_gid);
  const std::string name = self ? self->pw_name : std::to_string(::geteuid());
  const std::string group_name = owners ? owners->gr_name : std::to_string(about.st_gid);
  const std::string there = what + " is there, but " + name + " has no right to use it: " + file;
  if ((about.st_mode & S_IRGRP) == 0 || (about.st_mode & S_IWGRP) == 0 || about.st_gid == 0)
    return there + " is open to root alone. `sudo chgrp audio " + file + " && sudo chmod 660 " + file +
           "` opens it to the group audio; `sudo usermod -aG audio " + name +
           "` puts you there. Then log out and in again.";
  return there + " belongs to the group " + group_name + ". `sudo usermod -aG " + group_name + " " + name +
         "` puts you there; then log out and in again.";
}

}  // namespace undersong
