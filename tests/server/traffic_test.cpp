// Real messages of a running server, every kind of them, against the schema with a validator that is not
// ours.
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>

#include "protocol/schema.h"
#include "tests/server/server_fixture.h"

namespace undersong::server {
namespace {

// A client whose traffic is written down in the form tests/traffic/validate.mjs reads.
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
    listen::Moment moment;
    moment.number = 1;
    moment.harmony = listen::HarmonyInForce{takes::reading(5, "maj7", -1), us(1), true};
    moment.readings.push_back(moment.harmony->reading);
    moment.key = harmony::KeyReading{{PitchClass(5), harmony::Mode::kMajor}, 0.5f};
    moment.melody.push_back({Pitch(76), harmony::NoteName(4), {7, 0}, us(1), true});
    moment.held.push_back({Pitch(76), Velocity(80), true, us(1)});
    harmony::Question question;
    question.melody.push_back(Pitch(76));
    question.previous = moment.harmony->reading.chord;
    harmony::rank_alternatives(question, nullptr, moment.alternatives);
    takes::Along along;
    along.chords.push_back({us(0), "F:maj7"});
    moment.beat = listen::BeatNow{us(1), 96, .8f, 2, 4, listen::BeatSource::kClock};
    listen::Meeting met;
    met.at = us(1);
    met.length = us(500'000);
    met.pitch = Pitch(76);
    met.name = harmony::NoteName(4);
    met.degree = {7, 0};
    met.chord = moment.harmony->reading;
    met.key = moment.key->key;
    running.on_server([&] {
      running.desk.playing = true;
      running.server->publish_moment(moment);
    });
    running.keep(demo_take({takes::chord_in_force(us(1), moment.harmony->reading),
                            takes::key_heard(us(2), *moment.key),
                            takes::melody_note(moment.melody[0], moment.harmony->reading.chord),
                            takes::alternatives_offered(
                                us(3), 1, {moment.melody.begin(), moment.melody.end()}, moment.alternatives),
                            takes::alternative_tried(us(4), 1, moment.alternatives[0], 0),
                            takes::beat_said({us(4), takes::BeatWord::kTap, us(500'000), 0}),
                            takes::along_begins(us(5), 1, along), takes::pass_begins(us(6), 1),
                            takes::suspected_echo(midi::note_on(us(7), 0, Pitch(60), Velocity(50), 2)),
                            takes::events_lost(us(8), 2, "Stage keys", 3), takes::meeting(met)}));
    Recorded watcher(running.socket, capture, 1);
    watcher.send(
        R"({"jsonrpc":"2.0","id":"all","method":"subscribe","params":{"topics":["moment","status","log"],"log_from":1}})");
    Recorded asker(running.socket, capture, 2);
    int id = 0;
    boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>(
        [&](auto message) {
          using T = typename decltype(message)::type;
          auto params = protocol::read_text<T>(T::kExample, "params");
          if constexpr (requires { params->take = 1; }) params->take = 1;
          asker.send(R"({"jsonrpc":"2.0","id":)" + std::to_string(++id) + R"(,"method":")" + T::kMethod +
                     R"(","params":)" + protocol::to_json(*params) + "}");
          asker.receive_until(R"("id":)" + std::to_string(id) + "}");
        });
    asker.send(R"({"jsonrpc":"2.0","id":"found","method":"take.find","params":{"question":"F under E"}})");
    asker.receive_until(R"("degree":"7")");
    asker.send(
        R"([{"jsonrpc":"2.0","id":"x","method":"hold","params":{"on":false}},{"jsonrpc":"2.0","id":"y","method":"no.such"}])");
    asker.receive_until("\"y\"");
    watcher.receive_until(R"("kind":"restore")");
  }
  const std::string validate =
      "node " + tools + "/validate.mjs --all " + UNDERSONG_SOURCE_DIR + "/protocol/schema.json < ";
  const auto [exit, output] = run(validate + capture_path.string());
  EXPECT_EQ(exit, 0) << output;
  EXPECT_NE(output.find(" 0 problems"), std::string::npos) << output;

  // The check does find what is wrong.
  const auto broken_path = running.folder.path / "broken.jsonl";
  std::ofstream(broken_path)
      << R"({"client":1,"to":"client","message":{"jsonrpc":"2.0","method":"welcome","params":{"protocol":2,"program":"x","capabilities":[],"token_needed":"no"}}})"
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
