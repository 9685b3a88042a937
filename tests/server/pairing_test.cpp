// Paired devices over real sockets: their tokens, the port for them, and what wrong tokens cost.
#include "daemon/server/pairing.h"

#include <gtest/gtest.h>
#include <spdlog/sinks/ostream_sink.h>
#include <spdlog/spdlog.h>
#include <sys/stat.h>

#include <atomic>
#include <fstream>
#include <iterator>
#include <sstream>

#include "tests/server/server_fixture.h"
#include "tests/server/web_client.h"

namespace undersong::server {
namespace {

using namespace std::chrono_literals;

std::string hello(const std::string& token) {
  return R"({"jsonrpc":"2.0","id":1,"method":"hello","params":{"token":")" + token + R"("}})";
}
constexpr const char* kStatus = R"({"jsonrpc":"2.0","id":2,"method":"status.get"})";

// Times that the test sets. The server reads them on its own thread.
struct Times {
  std::atomic<std::int64_t> utc_ms{1'790'000'000'000}, clock_ms{1'000'000};
  PairingOptions options() {
    PairingOptions out;
    out.utc = [this] { return UtcMs(utc_ms); };
    out.clock = [this] { return TokenBrake::Clock(clock_ms); };
    return out;
  }
};

protocol::DeviceList opened(protocol::Connection& player, bool on = true) {
  protocol::OpenDevices request;
  request.on = on;
  const auto list = player.request(request);
  EXPECT_TRUE(list) << list.error().sentence;
  return list ? *list : protocol::DeviceList{};
}
protocol::PairingCode paired(protocol::Connection& player, const std::string& name) {
  protocol::PairDevice request;
  request.name = name;
  const auto code = player.request(request);
  EXPECT_TRUE(code) << code.error().sentence;
  return code ? *code : protocol::PairingCode{};
}
// Opens our own page's WebSocket at this port, as a browser does, and reads the greeting.
bool come(Browser& browser, std::uint16_t port) {
  const std::string host = at("127.0.0.1", port);
  return browser.shake(port, host, "http://" + host) == 101 &&
         browser.read().find(R"("token_needed":true,"may_pair":false)") != std::string::npos;
}
unsigned file_mode(const std::filesystem::path& path) {
  struct stat there {};
  return ::stat(path.c_str(), &there) == 0 ? there.st_mode & 0777 : 0;
}
std::string text_of(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST(Pairing, ItsPortIsClosedUntilThePlayerOpensIt) {
  Running running(WebOptions{});
  auto player = running.connect();
  EXPECT_EQ(player.welcome().may_pair, true);
  EXPECT_EQ(running.server->devices_port(), 0);
  const auto refused = player.request(protocol::PairDevice{});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().sentence.find("`undersong pair --open`"), std::string::npos);
  const auto list = player.request(protocol::ListDevices{});
  ASSERT_TRUE(list);
  EXPECT_FALSE(list->open);
  EXPECT_TRUE(list->addresses.empty());
  EXPECT_FALSE(std::filesystem::exists(running.devices_folder)) << "nothing is made before it is wanted";
  const auto open = opened(player);
  EXPECT_TRUE(open.open);
  EXPECT_EQ(open.addresses, std::vector<std::string>{
                                "http://127.0.0.1:" + std::to_string(running.server->devices_port()) + "/"});
}

TEST(Pairing, ATokenOpensTheWebSocketAndRevokingClosesItAtOnce) {
  Running running(WebOptions{});
  auto player = running.connect();
  opened(player);
  const auto port = running.server->devices_port();
  const auto code = paired(player, "music desk");
  EXPECT_EQ(code.address, code.addresses.at(0) + "#pair=" + code.token);
  EXPECT_EQ(code.rows.size(), code.rows.at(0).size());

  Browser tablet;
  ASSERT_TRUE(come(tablet, port));
  EXPECT_EQ(tablet.code_of(kStatus), -32000);
  EXPECT_EQ(tablet.code_of(hello(code.token)), 0);
  EXPECT_EQ(tablet.code_of(kStatus), 0);
  for (const char* method : {"device.list", "device.pair", "device.open", "device.revoke"})
    EXPECT_EQ(tablet.code_of(R"({"jsonrpc":"2.0","id":3,"method":")" + std::string(method) +
                             R"(","params":{"on":true,"device":1}})"),
              -32005)
        << method;
  const auto seen = player.request(protocol::ListDevices{});
  ASSERT_TRUE(seen && seen->devices.size() == 1);
  EXPECT_EQ(seen->devices[0].name, "music desk");
  EXPECT_TRUE(seen->devices[0].connected);
  EXPECT_TRUE(seen->devices[0].seen_utc_ms);

  // A program shows the token when it connects, at the port of this machine too; it is no player for that.
  Browser program, at_home;
  EXPECT_EQ(program.shake(port, at("127.0.0.1", port), {}, code.token), 101);
  const auto home = running.server->web_port();
  ASSERT_EQ(at_home.shake(home, at("127.0.0.1", home), {}, code.token), 101);
  EXPECT_NE(at_home.read().find(R"("token_needed":false,"may_pair":false)"), std::string::npos);

  protocol::RevokeDevice revoke;
  revoke.device = code.device.device;
  const auto left = player.request(revoke);
  ASSERT_TRUE(left) << left.error().sentence;
  EXPECT_TRUE(left->devices.empty());
  EXPECT_EQ(tablet.read(), "");
  EXPECT_EQ(at_home.read(), "");
  Browser again;
  ASSERT_TRUE(come(again, port));
  EXPECT_EQ(again.code_of(hello(code.token)), -32000);
  EXPECT_EQ(Browser().shake(port, at("127.0.0.1", port), {}, code.token), 403);
  EXPECT_FALSE(player.request(revoke)) << "there is no such device any more";
}

TEST(Pairing, EveryoneNeedsATokenAtTheDevicesPort) {
  PairingOptions options;
  options.token = "of-the-configuration";
  Running running(WebOptions{}, options);
  auto player = running.connect();
  opened(player);
  const auto port = running.server->devices_port();
  EXPECT_EQ(Browser().shake(port, at("127.0.0.1", port), {}), 403) << "a program without a token";
  EXPECT_EQ(Browser().shake(port, at("127.0.0.1", port), "http://evil.example"), 403);
  Browser known;
  ASSERT_TRUE(come(known, port));
  EXPECT_EQ(known.code_of(hello(options.token)), 0) << "the configured token goes on working";
  EXPECT_EQ(known.code_of(R"({"jsonrpc":"2.0","id":3,"method":"device.list"})"), -32005);
}

TEST(Pairing, StrangersTakeNobodysPlace) {
  Running running(WebOptions{});
  auto player = running.connect();
  opened(player);
  const auto port = running.server->devices_port();
  const auto code = paired(player, "music desk");
  Browser tablet;
  ASSERT_TRUE(come(tablet, port));
  ASSERT_EQ(tablet.code_of(hello(code.token)), 0);
  std::vector<Browser> strangers(Server::kMostStrangers + 1);
  for (Browser& each : strangers) ASSERT_TRUE(come(each, port));
  EXPECT_EQ(strangers.front().read(), "") << "the oldest made room";
  EXPECT_EQ(strangers.back().code_of(kStatus), -32000);
  EXPECT_EQ(tablet.code_of(kStatus), 0);
  EXPECT_TRUE(player.request(protocol::ListDevices{}));
}

TEST(Pairing, IsKeptOverARestartWithoutTheToken) {
  takes::TemporaryFolder kept;
  PairingOptions options;
  options.folder = kept.path / "devices";
  std::string token;
  {
    Running running(WebOptions{}, options);
    auto player = running.connect();
    opened(player);
    token = paired(player, "music desk").token;
    EXPECT_EQ(file_mode(options.folder), 0700u);
    EXPECT_EQ(file_mode(options.folder / "paired.json"), 0600u);
    EXPECT_EQ(text_of(options.folder / "paired.json").find(token), std::string::npos);
    Browser tablet;
    ASSERT_TRUE(come(tablet, running.server->devices_port()));
    EXPECT_EQ(tablet.code_of(hello(token)), 0);
  }
  Running running(WebOptions{}, options);
  ASSERT_NE(running.server->devices_port(), 0) << "the port is open as it was left";
  Browser tablet;
  ASSERT_TRUE(come(tablet, running.server->devices_port()));
  EXPECT_EQ(tablet.code_of(hello(token)), 0);
  auto player = running.connect();
  EXPECT_FALSE(opened(player, false).open);
  EXPECT_EQ(tablet.read(), "") << "closing the port ends its connections";
  EXPECT_EQ(running.server->devices_port(), 0);
  const auto list = player.request(protocol::ListDevices{});
  ASSERT_TRUE(list);
  EXPECT_EQ(list->devices.size(), 1u) << "the device stays paired";
}

TEST(Pairing, AFileThatCantBeReadIsKeptAside) {
  takes::TemporaryFolder kept;
  PairingOptions options;
  options.folder = kept.path;
  std::ofstream(kept.path / "paired.json") << "not JSON";
  Running running(WebOptions{}, options);
  auto player = running.connect();
  const auto list = player.request(protocol::ListDevices{});
  ASSERT_TRUE(list);
  EXPECT_TRUE(list->devices.empty());
  EXPECT_EQ(text_of(kept.path / "paired.json.damaged"), "not JSON");
}

TEST(Pairing, NothingIsSaidToBePairedThatCouldNotBeKept) {
  takes::TemporaryFolder kept;
  PairingOptions options;
  options.folder = kept.path / "in the way";
  Running running(WebOptions{}, options);
  auto player = running.connect();
  opened(player);
  std::filesystem::remove_all(options.folder);
  std::ofstream(options.folder) << "a file";
  const auto refused = player.request(protocol::PairDevice{});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().sentence.find("in the way"), std::string::npos) << refused.error().sentence;
  const auto list = player.request(protocol::ListDevices{});
  ASSERT_TRUE(list);
  EXPECT_TRUE(list->devices.empty());
}

TEST(Pairing, WrongTokensMakeTheirAddressWaitAndAreLoggedWithoutTheToken) {
  std::ostringstream log;
  const auto before = spdlog::default_logger();
  spdlog::set_default_logger(
      std::make_shared<spdlog::logger>("test", std::make_shared<spdlog::sinks::ostream_sink_mt>(log)));
  {
    Times times;
    Running running(WebOptions{}, times.options());
    auto player = running.connect();
    opened(player);
    const auto port = running.server->devices_port();
    const auto code = paired(player, "music desk");
    Browser guesser;
    ASSERT_TRUE(come(guesser, port));
    for (int i = 0; i < TokenBrake::kFree + 1; ++i)
      EXPECT_EQ(guesser.code_of(hello("a-guess-of-the-test")), -32000) << i;
    EXPECT_EQ(guesser.code_of(hello(code.token)), -32004) << "while it waits, no token is looked at";
    EXPECT_EQ(Browser().shake(port, at("127.0.0.1", port), {}, code.token), 429);
    times.clock_ms += 999;
    EXPECT_EQ(guesser.code_of(hello("a-guess-of-the-test")), -32004);
    times.clock_ms += 1;
    EXPECT_EQ(guesser.code_of(hello("a-guess-of-the-test")), -32000);
    times.clock_ms += 1999;
    EXPECT_EQ(guesser.code_of(hello(code.token)), -32004) << "twice as long";
    times.clock_ms += 1;
    EXPECT_EQ(guesser.code_of(hello(code.token)), 0);
    running.on_server([] {});
  }
  spdlog::set_default_logger(before);
  const std::string said = log.str();
  EXPECT_EQ(said.find("a-guess-of-the-test"), std::string::npos);
  std::size_t lines = 0;
  for (auto found = said.find("A wrong token came from 127.0.0.1"); found != std::string::npos;
       found = said.find("A wrong token came from 127.0.0.1", found + 1))
    ++lines;
  EXPECT_EQ(lines, static_cast<std::size_t>(TokenBrake::kFree + 2)) << said;
}

TEST(Pairing, ACodeThatWasNotUsedInTimeIsWorthNothing) {
  Times times;
  Running running(WebOptions{}, times.options());
  auto player = running.connect();
  opened(player);
  const auto code = paired(player, "music desk");
  EXPECT_EQ(code.until_utc_ms, times.utc_ms + DeviceBook::kCodeLasts.count());
  times.utc_ms += DeviceBook::kCodeLasts.count();
  Browser tablet;
  ASSERT_TRUE(come(tablet, running.server->devices_port()));
  EXPECT_EQ(tablet.code_of(hello(code.token)), -32000);
  const auto list = player.request(protocol::ListDevices{});
  ASSERT_TRUE(list);
  EXPECT_TRUE(list->devices.empty());
}

TEST(Pairing, TheCodeHasTheLikeliestAddressAndTheListAllOfThem) {
  PairingOptions options;
  options.web.emplace().address = "0.0.0.0";
  options.addresses = [] { return std::vector<std::string>{"192.168.1.20", "10.8.0.2", "2001:db8::7"}; };
  Running running(WebOptions{}, options);
  auto player = running.connect();
  opened(player);
  const std::string port = std::to_string(running.server->devices_port());
  const auto code = paired(player, "");
  EXPECT_EQ(code.device.name, "Device 1");
  EXPECT_EQ(code.addresses,
            (std::vector<std::string>{"http://192.168.1.20:" + port + "/", "http://10.8.0.2:" + port + "/"}))
      << "it listens to no IPv6";
  EXPECT_TRUE(code.address.starts_with("http://192.168.1.20:" + port + "/#pair="));
}

TEST(Pairing, WithoutANetworkThereIsNoCode) {
  PairingOptions options;
  options.web.emplace().address = "0.0.0.0";
  options.addresses = [] { return std::vector<std::string>(); };
  Running running(WebOptions{}, options);
  auto player = running.connect();
  opened(player);
  const auto refused = player.request(protocol::PairDevice{});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().sentence.find("no network address"), std::string::npos);
}

}  // namespace
}  // namespace undersong::server
