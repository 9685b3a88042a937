#include "daemon/takes/instance_lock.h"

#include <gtest/gtest.h>

#include <fstream>

#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

namespace fs = std::filesystem;

TEST(InstanceLock, HoldsForEveryNameOfTheFile) {
  const TemporaryFolder folder;
  const fs::path store = folder.path / "takes.sqlite";
  std::ofstream(store) << "a store";
  fs::create_symlink("takes.sqlite", folder.path / "link.sqlite");
  fs::create_symlink("link.sqlite", folder.path / "link of a link.sqlite");
  fs::create_hard_link(store, folder.path / "second name.sqlite");
  fs::create_directory_symlink(folder.path, folder.path / "here");
  const auto lock = InstanceLock::take(store, "stop it first");
  ASSERT_TRUE(lock) << lock.error().message;
  for (const char* name : {"takes.sqlite", "link.sqlite", "link of a link.sqlite", "second name.sqlite",
                           "here/takes.sqlite", "here/link.sqlite"}) {
    const auto again = InstanceLock::take(folder.path / name, "stop it first");
    ASSERT_FALSE(again) << name;
    EXPECT_EQ(again.error().code, ErrorCode::kConflict) << name;
    EXPECT_NE(again.error().message.find("stop it first"), std::string::npos);
  }
}

TEST(InstanceLock, HoldsBeforeThereIsAFileAndIsGivenBack) {
  const TemporaryFolder folder;
  fs::create_symlink("takes.sqlite", folder.path / "link.sqlite");
  {
    const auto lock = InstanceLock::take(folder.path / "link.sqlite", "stop it first");
    ASSERT_TRUE(lock) << lock.error().message;
    EXPECT_FALSE(InstanceLock::take(folder.path / "takes.sqlite", "stop it first"));
  }
  EXPECT_TRUE(InstanceLock::take(folder.path / "takes.sqlite", "stop it first"));
}

TEST(InstanceLock, SaysWhereNoneCanBeTaken) {
  const TemporaryFolder folder;
  const auto lock = InstanceLock::take(folder.path / "no folder" / "takes.sqlite", "stop it first");
  ASSERT_FALSE(lock);
  EXPECT_NE(lock.error().message.find("no folder"), std::string::npos);
}

}  // namespace
}  // namespace undersong::takes
