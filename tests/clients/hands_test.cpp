// Does undersong analyse --events name what the hands play? Voicings from another collection, where it is
// available. The program itself is run, so the test stands with the clients.
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <string>

namespace undersong::offline {
namespace {

TEST(Hands, TheVoicingsOfOthersAreAcceptedToo) {
  const std::filesystem::path kit = std::filesystem::path(UNDERSONG_SOURCE_DIR) / "../shared/eval/hands";
  if (!std::filesystem::exists(kit / "run_hands.py"))
    GTEST_SKIP() << "no evaluation data in ../shared/eval/hands";
  const std::string tool = UNDERSONG_CLIENT;
  const std::string check = R"(import json, sys
settings = json.load(sys.stdin)
for name, moments in settings.items():
    for moment in moments.values():
        if moment.get("accepted", 1) < .95 or moment["unplayed"] > .015 or moment["bass"] > .01 or moment["stale"] > .01: sys.exit(name + ": " + str(moment)))";
  const std::string command = "cd '" + kit.string() + "' && python3 -B run_hands.py '" + tool +
                              "' dev.jsonl | python3 -c '" + check + "'";
  EXPECT_EQ(std::system(command.c_str()), 0);
}

}  // namespace
}  // namespace undersong::offline
