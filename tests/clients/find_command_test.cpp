// Tests undersong import and undersong find on real files and a real store.
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <fstream>

#include "clients/offline/commands.h"
#include "clients/offline/import.h"
#include "clients/terminal/commands.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/instance_lock.h"
#include "tests/clients/outcome.h"
#include "tests/takes/invented_pieces.h"
#include "tests/takes/store_fixture.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

std::vector<json::object> json_lines(const Outcome& outcome) {
  std::vector<json::object> out;
  std::istringstream in(outcome.printed);
  for (std::string line; std::getline(in, line);) out.push_back(json::parse(line).as_object());
  return out;
}

Outcome run_find(const std::vector<std::string>& words) {
  return outcome(words, [](CLI::App& program, int& exit_code) { add_find(program, exit_code); });
}

Outcome run_import(const std::vector<std::string>& words) {
  terminal::Session session;
  session.socket = "/nobody/listens";
  session.open_for_files = [&](const std::string& takes) { return open_for_files(takes, session.exit_code); };
  Outcome out = outcome(words, [&](CLI::App& program, int&) { terminal::add_import(program, session); });
  if (out.exit_code == -1) out.exit_code = session.exit_code;
  return out;
}

class FindCommand : public testing::Test {
 protected:
  void write(const std::string& name, const std::vector<takes::InventedNote>& notes) {
    std::filesystem::create_directories((folder_.path / name).parent_path());
    ASSERT_TRUE(
        midi::write_smf_file(midi::smf_from_events(takes::played(notes), "piano"), folder_.path / name));
  }
  std::string path(const std::string& name) const { return (folder_.path / name).string(); }
  Outcome import() {
    return run_import({"import", path("old"), "--takes", path("store/takes.db"), "--json"});
  }

  takes::TemporaryFolder folder_;
};

TEST_F(FindCommand, WhatWasImportedIsFound) {
  write("old/2019-05-31 21-04-59 rounds.mid", takes::invented_piece(1).notes);
  write("old/deeper/20180102.mid", takes::invented_piece(2).notes);
  write("old/deeper/again.mid", takes::invented_piece(1).notes);
  std::ofstream(path("old/broken.mid")) << "MThd, but no more";
  const Outcome first = import();
  EXPECT_EQ(first.exit_code, 1);
  EXPECT_NE(first.complaint.find("broken.mid"), std::string::npos) << first.complaint;
  const auto lines = json_lines(first);
  ASSERT_EQ(lines.size(), 4u);
  EXPECT_EQ(lines[0].at("take").to_number<int>(), 1);
  std::tm when{};
  when.tm_year = 119, when.tm_mon = 4, when.tm_mday = 31, when.tm_hour = 21, when.tm_min = 4,
  when.tm_sec = 59;
  when.tm_isdst = -1;
  EXPECT_EQ(lines[0].at("begin_utc_ms").to_number<std::int64_t>(), std::int64_t{std::mktime(&when)} * 1000);
  EXPECT_TRUE(lines[1].contains("reason"));
  EXPECT_EQ(lines[2].at("take").to_number<int>(), 2);
  EXPECT_EQ(lines[3].at("known").to_number<int>(), 1);

  // Once more brings nothing new.
  for (const auto& line : json_lines(import())) EXPECT_FALSE(line.contains("take")) << json::serialize(line);

  write("tune.mid",
        takes::asked_of(takes::invented_piece(2), {.from = 2, .to = 11, .shift = 5, .slower = 1.3}));
  const Outcome found = run_find({"find", path("tune.mid"), "--takes", path("store/takes.db"), "--json"});
  EXPECT_EQ(found.exit_code, 0) << found.complaint;
  const auto answers = json_lines(found);
  ASSERT_EQ(answers.size(), 1u);
  EXPECT_EQ(answers[0].at("query").as_string(), "tune");
  const auto& places = answers[0].at("found").as_array();
  ASSERT_FALSE(places.empty());
  EXPECT_EQ(places[0].at("take").as_string(), "20180102");
  EXPECT_EQ(places[0].at("as").as_string(), "tune");
  EXPECT_LT(places[0].at("from").to_number<double>(), 11);
  EXPECT_GT(places[0].at("to").to_number<double>(), 2);

  const Outcome people = run_find({"find", path("tune.mid"), "--takes", path("store/takes.db")});
  EXPECT_EQ(people.printed.find("  1  take    2  2018-01-02 12:00"), 0u) << people.printed;
}

TEST_F(FindCommand, EachTroubleIsOneSentence) {
  write("one.mid", {{Micros(0), Micros(300'000), 60}});
  write("old/a.mid", takes::invented_piece(1).notes);
  EXPECT_EQ(run_find({"find", path("one.mid"), "--takes", path("none.db")}).complaint,
            "undersong: There is no file of takes " + path("none.db") + ".\n");
  ASSERT_EQ(import().exit_code, 0);
  const Outcome one = run_find({"find", path("one.mid"), "--takes", path("store/takes.db")});
  EXPECT_EQ(one.exit_code, 1);
  EXPECT_EQ(one.complaint,
            "undersong: " + path("one.mid") + ": There is only one note to look for; play at least 3.\n");
  std::ofstream(path("text.db")) << "no takes in here, only text that is no database at all";
  EXPECT_EQ(run_find({"find", path("one.mid"), "--takes", path("text.db")}).exit_code, 1);
}

TEST_F(FindCommand, ImportLeavesTheTakesOfARunningDaemonAlone) {
  write("old/a.mid", takes::invented_piece(1).notes);
  std::filesystem::create_directories(folder_.path / "store");
  const auto held = takes::InstanceLock::take(path("store/takes.db"), "held by the test");
  ASSERT_TRUE(held);
  const Outcome refused = import();
  EXPECT_EQ(refused.exit_code, 1);
  EXPECT_EQ(refused.complaint,
            "undersong: Another program keeps takes in " + path("store/takes.db") +
                " now: without --takes, the files go to the undersongd that runs, also while you "
                "play.\n");
  EXPECT_FALSE(std::filesystem::exists(path("store/takes.db")));
}

TEST_F(FindCommand, WithoutADaemonAndWithoutAFileImportSaysWhatToDo) {
  write("old/a.mid", takes::invented_piece(1).notes);
  const Outcome nobody = run_import({"import", path("old")});
  EXPECT_EQ(nobody.exit_code, 1);
  EXPECT_EQ(nobody.complaint,
            "undersong: No daemon is running: nobody listens at /nobody/listens. Without a daemon, name the "
            "file of takes with --takes.\n");
}

}  // namespace
}  // namespace undersong::offline
