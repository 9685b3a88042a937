// Checks real messages of a running server, of every kind, against the schema with an independent validator.
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>

#include "protocol/schema.h"
#include "tests/server/server_fixture.h"

namespace undersong::server {
namespace {

// A client that records its traffic in the form that tests/traffic/validate.mjs reads.
class Recorded {
 public:
  Recorded(const std::filesystem::path& socket, std::ofstream& capture, int number)
      : client_(socket), capture_(capture), number_(number) {
    receive();
  }

  void send(const std::string& message) {
    write("daemon", message);
    client_.send(message + "\n");
  }
  std::string receive() {
    std::string line = client_.line();
    EXPECT_FALSE(line.empty());
    write("client", line);
    return line;
  }
  // Reads until a message contains the text.
  void receive_until(std::string_view text) {
    for (std::string line = receive(); !line.empty() && line.find(text) == std::string::npos;)
      line = receive();
  }

 private:
  void write(std::string_view to, const std::string& message) {
    capture_ << R"({"client":)" << number_ << R"(,"to":")" << to << R"(","message":)" << message << "}\n";
  }
  RawClient client_;
  std::ofstream& capture_;
  int number_;
};

std::pair<int, std::string> run(const std::string& command) {
  FILE* pipe = ::popen((command + " 2>&1").c_str(), "r");
  std::string output;
  char bytes[4096];
  while (const std::size_t n = std::fread(bytes, 1, sizeof bytes, pipe)) output.append(bytes, n);
  const int status = ::pclose(pipe);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, output};
}

TEST(Traffic, EveryKindOfMessageMatchesTheSchema) {
  const std::string tools = std::string(UNDERSONG_SOURCE_DIR) + "/tests/traffic";
  ASSERT_TRUE(std::filesystem::exists(tools + "/node_modules/ajv"))
      << "The validator is not installed; run `npm ci` in tests/traffic.";
  Running running;
  const auto capture_path = running.folder.path / "capture.jsonl";
  {
    std::ofstream capture(capture_path);
    // Rare kinds of lines are written to the log directly; the others come from playing.
    takes::Along along;
    along.chords.push_back({us(0), "F:maj7"});
    const auto fmaj7 = takes::reading(5, "maj7", -1);
    listen::Meeting met;
    met.at = us(1);
    met.length = us(500'000);
    met.pitch = Pitch(76);
    met.name = harmony::NoteName(4);
    met.degree = {7, 0};
    met.chord = fmaj7;
    met.key = harmony::Key{PitchClass(5), harmony::Mode::kMajor};
    harmony::Question question;
    question.melody.push_back(Pitch(76));
    question.previous = fmaj7.chord;
    harmony::Alternatives alternatives;
    harmony::rank_alternatives(question, nullptr, alternatives);
    running.keep(demo_take(
        {takes::chord_in_force(us(1), fmaj7), takes::alternative_tried(us(4), 1, alternatives[0], 0),
         takes::along_begins(us(5), 1, along), takes::pass_begins(us(6), 1),
         takes::suspected_echo(midi::note_on(us(7), 0, Pitch(60), Velocity(50), 2)),
         takes::events_lost(us(8), 2, "Stage keys", 3), takes::meeting(met),
         takes::chord_heard(us(9), fmaj7.chord, fmaj7.root_name), takes::mark(us(10), "this turn")}));
    const auto detail = takes::now<takes::Detail>([&](auto answer) { running.store->detail(1, answer); });
    ASSERT_TRUE(detail && !detail->marks.empty());
    running.play_cadence();
    Recorded watcher(running.socket, capture, 1);
    watcher.send(
        R"({"jsonrpc":"2.0","id":"all","method":"subscribe","params":{"topics":["moment","status","log"],"log_from":1}})");
    Recorded asker(running.socket, capture, 2);
    int id = 0;
    boost::mp11::mp_for_each<
        boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>([&](auto message) {
      using T = typename decltype(message)::type;
      if constexpr (std::is_same_v<T, protocol::GrowSketch>) {  // sketch.delete was asked before
        asker.send(R"({"jsonrpc":"2.0","id":"again","method":"sketch.put","params":)" +
                   protocol::to_json(example_of<protocol::PutSketch>()) + "}");
        asker.receive_until(R"("id":"again")");
      }
      if constexpr (std::is_same_v<T, protocol::RestoreTakes>) {  // refused while a take is being played
        asker.send(R"({"jsonrpc":"2.0","id":"ended","method":"take.end","params":{}})");
        asker.receive_until(R"("id":"ended")");
      }
      asker.send(R"({"jsonrpc":"2.0","id":)" + std::to_string(++id) + R"(,"method":")" + T::kMethod +
                 R"(","params":)" + protocol::to_json(example_of<T>()) + "}");
      if constexpr (std::is_same_v<T, protocol::LearnControl>)  // answered by the next press
        asker.send(
            R"({"jsonrpc":"2.0","id":"press","method":"notes.send","params":{"notes":[{"pitch":108,"velocity":70,"on":true}]}})");
      asker.receive_until(R"("id":)" + std::to_string(id) + "}");
    });
    asker.send(R"({"jsonrpc":"2.0","id":"unmark","method":"take.unmark","params":{"take":1,"line":)" +
               std::to_string(detail->marks[0].number) + "}}");
    asker.receive_until(R"("id":"unmark")");
    asker.send(R"({"jsonrpc":"2.0","id":"found","method":"take.find","params":{"question":"F under E"}})");
    asker.receive_until(R"("degree":"7")");
    asker.send(
        R"([{"jsonrpc":"2.0","id":"x","method":"hold","params":{"on":false}},{"jsonrpc":"2.0","id":"y","method":"no.such"}])");
    asker.receive_until("\"y\"");
    watcher.receive_until(R"("kind":"restore")");
    watcher.receive_until(R"("kind":"unmark")");
  }
  const std::string validate =
      "node " + tools + "/validate.mjs --all " + UNDERSONG_SOURCE_DIR + "/protocol/schema.json < ";
  const auto [exit, output] = run(validate + capture_path.string());
  EXPECT_EQ(exit, 0) << output;
  EXPECT_NE(output.find(" 0 problems"), std::string::npos) << output;

  // The check finds mistakes.
  const auto broken_path = running.folder.path / "broken.jsonl";
  std::ofstream(broken_path)
      << R"({"client":1,"to":"client","message":{"jsonrpc":"2.0","method":"welcome","params":{"protocol":2,"program":"x","capabilities":[],"passing_us":150000,"token_needed":"no","may_pair":false}}})"
         "\n"
      << R"({"client":1,"to":"client","message":{"jsonrpc":"2.0","id":3,"result":{}}})"
         "\n"
      << R"({"client":1,"to":"daemon","message":{"jsonrpc":"2.0","id":4,"method":"hold","params":{"on":true}}})"
         "\n"
      << R"({"client":1,"to":"client","message":{"jsonrpc":"2.0","id":4,"result":{"still":true,"more":1}}})"
         "\n";
  const auto [broken_exit, found] = run("node " + tools + "/validate.mjs " + UNDERSONG_SOURCE_DIR +
                                        "/protocol/schema.json < " + broken_path.string());
  EXPECT_EQ(broken_exit, 1);
  EXPECT_NE(found.find("/params/token_needed must be boolean"), std::string::npos) << found;
  EXPECT_NE(found.find("which was not asked"), std::string::npos) << found;
  EXPECT_NE(found.find("additional"), std::string::npos) << found;
}

}  // namespace
}  // namespace undersong::server
