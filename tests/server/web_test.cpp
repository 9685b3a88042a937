// The web port with a real WebSocket client and plain HTTP.
#include <gtest/gtest.h>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/syscall.h>
#include <sys/wait.h>

#include <fstream>

#include "daemon/server/peer_user.h"
#include "daemon/server/web_guard.h"
#include "tests/server/server_fixture.h"
#include "tests/server/web_client.h"

namespace undersong::server {
namespace {

TEST(WebSocket, GreetsAnswersAndPublishesAsTheSocketDoes) {
  Running running(WebOptions{});
  const auto port = running.server->web_port();
  Browser browser;
  ASSERT_EQ(browser.shake(port, at("127.0.0.1", port), "http://" + at("127.0.0.1", port)), 101);
  EXPECT_NE(browser.read().find(R"("method":"welcome")"), std::string::npos);
  browser.write(R"({"jsonrpc":"2.0","id":1,"method":"subscribe","params":{"topics":["moment"]}})");
  EXPECT_NE(browser.read().find(R"("topics":["moment"])"), std::string::npos);
  EXPECT_NE(browser.read().find(R"("number":0)"), std::string::npos);
  running.publish(5);
  const std::string moment = browser.read();
  EXPECT_NE(moment.find(R"("number":5)"), std::string::npos);
  EXPECT_TRUE(moment.ends_with('}')) << "no newline";
  browser.write("nonsense");
  EXPECT_NE(browser.read().find("-32700"), std::string::npos);
  running.on_server([&] { running.server->stop(); });
  EXPECT_EQ(browser.read(), "");
  EXPECT_EQ(browser.ws->reason().code, websocket::close_code::going_away);
}

TEST(WebSocket, IsOpenToOurOwnPageOnly) {
  PairingOptions options;
  options.token = "a-secret-of-the-test";
  Running running(WebOptions{}, options);
  const auto port = running.server->web_port();
  const std::string host = at("127.0.0.1", port), page = "http://" + host;
  const auto shake = [&](const std::string& h, std::optional<std::string> origin,
                         std::optional<std::string> token = {}) {
    return Browser().shake(port, h, origin, token);
  };
  EXPECT_EQ(shake(host, page), 101);
  EXPECT_EQ(shake(at("localhost", port), "http://" + at("localhost", port)), 101);
  EXPECT_EQ(shake(host, "http://evil.example"), 403);
  EXPECT_EQ(shake(host, "null"), 403);
  EXPECT_EQ(shake(host, "http://localhost.evil.example"), 403);
  EXPECT_EQ(shake(host, "http://evil.example/localhost"), 403);
  EXPECT_EQ(shake(host, "http://" + host + ".evil.example"), 403);
  EXPECT_EQ(shake(host, "https://" + host), 403) << "we serve no https page";
  EXPECT_EQ(shake(host, "http://127.0.0.1"), 403) << "the port belongs to the origin";
  EXPECT_EQ(shake(host, "http://127.0.0.1:1"), 403);
  EXPECT_EQ(shake(host, ""), 403);
  EXPECT_EQ(shake(at("evil.example", port), page), 403);
  EXPECT_EQ(shake(at("evil.example", port), {}), 403);
  EXPECT_EQ(shake(at("evil.example", port), {}, options.token), 403);
  EXPECT_EQ(shake("127.0.0.1", page), 403) << "without port";
  EXPECT_EQ(shake(host, {}), 101) << "a program of this machine sends no Origin";
  EXPECT_EQ(shake(host, {}, "wrong"), 403);
  EXPECT_EQ(shake(host, {}, options.token + "x"), 403);
  EXPECT_EQ(shake(host, {}, options.token), 101);
  Browser browser;
  EXPECT_EQ(browser.shake(port, host, page, {}, "/elsewhere"), 404);
  // Neither refused connections nor accepted ones that were closed have left a session behind.
  std::size_t clients = 1;
  for (int i = 0; i < 3000 && clients != 0; ++i) {
    running.on_server([&] { clients = running.server->clients(); });
    if (clients != 0) ::usleep(1000);
  }
  EXPECT_EQ(clients, 0u);
}

TEST(WebSocket, ClosesAMessageThatIsTooLongWith1009) {
  Running running(WebOptions{});
  const auto port = running.server->web_port();
  Browser browser;
  ASSERT_EQ(browser.shake(port, at("127.0.0.1", port), "http://" + at("127.0.0.1", port)), 101);
  browser.read();
  browser.write(std::string(kMostMessageBytes + 1, ' '));
  EXPECT_EQ(browser.read(), "");
  EXPECT_EQ(browser.ws->reason().code, websocket::close_code::too_big);
}

TEST(BeyondLoopback, NeedsATokenToListenAndToSpeak) {
  WebOptions open;
  open.address = "0.0.0.0";
  {
    Running refused(open);
    ASSERT_TRUE(refused.server->page_trouble());
    EXPECT_NE(refused.server->page_trouble()->message.find("needs a token"), std::string::npos);
  }
  PairingOptions options;
  options.token = "a-secret-of-the-test";
  open.more_hosts = {"studio.example"};
  Running running(open, options);
  const auto port = running.server->web_port();
  Browser browser;
  ASSERT_EQ(browser.shake(port, at("studio.example", port), "http://" + at("studio.example", port)), 101);
  EXPECT_NE(browser.read().find(R"("token_needed":true)"), std::string::npos);
  const auto code = [&](const std::string& request) { return browser.code_of(request); };
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"status.get"})"), -32000);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hello","params":{"token":"wrong"}})"), -32000);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hello","params":{}})"), -32000);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hello","params":{"token":"a-secret-of-the-test"}})"),
            0);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"status.get"})"), 0);
}

TEST(BeyondLoopback, ATokenThatCouldBeGuessedIsRefusedAndABetterOneNamed) {
  WebOptions open;
  open.address = "0.0.0.0";
  PairingOptions options;
  options.token = "fifteen letters";
  Running refused(open, options);
  ASSERT_TRUE(refused.server->page_trouble());
  const std::string why = refused.server->page_trouble()->message;
  EXPECT_NE(why.find("fewer than 16 characters"), std::string::npos) << why;
  EXPECT_NE(why.find("one that can't is "), std::string::npos) << why;
}

// 127.0.0.2 is an address of this machine too, and stands for one of the network.
TEST(BeyondLoopback, IsCalledByTheAddressThatWasReachedAndByNoOther) {
  WebOptions everywhere;
  everywhere.address = "0.0.0.0";
  PairingOptions options;
  options.token = "a-secret-of-the-test";
  Running running(everywhere, options);
  const auto port = running.server->web_port();
  const auto shake = [&](const std::string& host, const char* to) {
    return Browser().shake(port, at(host, port), "http://" + at(host, port), {}, "/socket", to);
  };
  EXPECT_EQ(shake("127.0.0.2", "127.0.0.2"), 101);
  EXPECT_EQ(shake("127.0.0.3", "127.0.0.2"), 403) << "another address of the machine";
  EXPECT_EQ(shake("192.168.1.20", "127.0.0.2"), 403);
  EXPECT_EQ(shake("studio.example", "127.0.0.2"), 403);
  EXPECT_EQ(shake("0.0.0.0", "127.0.0.2"), 403);
  EXPECT_EQ(get(port, "/", at("127.0.0.1", port)).result_int(), 200u);
  EXPECT_EQ(get(port, "/", at("192.168.1.20", port)).result_int(), 403u);
  WebGuard guard("0.0.0.0", 8345);
  EXPECT_TRUE(guard.host_allowed("192.168.1.20:8345", "192.168.1.20"));
  EXPECT_TRUE(guard.host_allowed("[2001:db8::7]:8345", "2001:db8::7"));
  EXPECT_FALSE(guard.host_allowed("localhost:8345", "192.168.1.20")) << "nobody else's loopback is ours";
  EXPECT_FALSE(guard.host_allowed("127.0.0.1:8345", "192.168.1.20"));
  EXPECT_FALSE(guard.host_allowed("192.168.1.20", "192.168.1.20")) << "without port";
}

TEST(Http, ServesThePageWithAStrictPolicy) {
  TemporaryFolder page;
  std::filesystem::create_directory(page.path / "assets");
  std::ofstream(page.path / "index.html") << "<!doctype html>hello";
  std::ofstream(page.path / "assets" / "app-1.js") << "let x = 1;";
  std::ofstream(page.path / ".hidden") << "no";
  std::ofstream(page.path.parent_path() / (page.path.filename().string() + "-outside")) << "no";
  std::filesystem::create_symlink("/etc/passwd", page.path / "link.txt");
  WebOptions options;
  options.page_folder = page.path;
  Running running(options);
  const auto port = running.server->web_port();
  const auto index = get(port, "/");
  EXPECT_EQ(index.result_int(), 200u);
  EXPECT_EQ(index.body(), "<!doctype html>hello");
  EXPECT_EQ(index[http::field::content_type], "text/html; charset=utf-8");
  const std::string policy(index["Content-Security-Policy"]);
  EXPECT_NE(policy.find("default-src 'none'; script-src 'self';"), std::string::npos) << policy;
  EXPECT_EQ(policy.find("unsafe"), std::string::npos);
  EXPECT_NE(policy.find("ws://127.0.0.1:" + std::to_string(port)), std::string::npos);
  EXPECT_EQ(index["X-Content-Type-Options"], "nosniff");
  EXPECT_EQ(get(port, "/assets/app-1.js?v=2")[http::field::content_type], "text/javascript; charset=utf-8");
  EXPECT_EQ(index[http::field::cache_control], "no-cache") << "a new build replaces the old one";
  EXPECT_NE(policy.find("worker-src 'self';"), std::string::npos) << policy;
  EXPECT_EQ(get(port, "/assets/app-1.js")[http::field::cache_control], "public, max-age=31536000, immutable");
  EXPECT_EQ(get(port, "/assets/gone.js")[http::field::cache_control], "no-cache");
  const auto head = get(port, "/", "", http::verb::head);
  EXPECT_EQ(head[http::field::content_length], "20");
  for (const char* target : {"/missing", "/.hidden", "/../x", "/assets/../../etc/passwd", "/%2e%2e/x",
                             "/link.txt", "//etc/passwd", "/assets"})
    EXPECT_EQ(get(port, target).result_int(), 404u) << target;
  EXPECT_EQ(get(port, "/", at("evil.example", port)).result_int(), 403u) << "a name that was pointed at us";
  EXPECT_EQ(get(port, "/", "localhost:" + std::to_string(port)).result_int(), 200u);
  EXPECT_EQ(get(port, "/", "", http::verb::post).result_int(), 405u);
  std::filesystem::remove(page.path.parent_path() / (page.path.filename().string() + "-outside"));
}

TEST(Http, SaysSoWhenThereIsNoPage) {
  Running running(WebOptions{});
  const auto response = get(running.server->web_port(), "/");
  EXPECT_EQ(response.result_int(), 200u);
  EXPECT_NE(response.body().find("has not been built"), std::string::npos);
}

TEST(Http, SurvivesWhatIsNotHttp) {
  Running running(WebOptions{});
  const auto port = running.server->web_port();
  for (const std::string& bytes :
       {std::string("\0\0\0\0", 4), std::string("GET / HTTP/9.9\r\n\r\n"),
        "GET /" + std::string(100'000, 'x'),
        std::string("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999\r\n\r\n")}) {
    asio::io_context io;
    asio::ip::tcp::socket socket(io);
    socket.connect({asio::ip::make_address("127.0.0.1"), port});
    boost::system::error_code ignored;
    asio::write(socket, asio::buffer(bytes), ignored);
    socket.shutdown(asio::socket_base::shutdown_send, ignored);
    char answer[4096];
    while (!ignored) socket.read_some(asio::buffer(answer), ignored);
  }
  EXPECT_EQ(get(port, "/").result_int(), 200u);
}

TEST(Http, ConnectionsThatSayNothingKeepNobodyOut) {
  Running running(WebOptions{});
  const auto port = running.server->web_port();
  asio::io_context io;
  std::vector<asio::ip::tcp::socket> silent;
  for (int i = 0; i < 100; ++i) silent.emplace_back(io).connect({asio::ip::make_address("127.0.0.1"), port});
  EXPECT_EQ(get(port, "/").result_int(), 200u);
  Browser browser;
  EXPECT_EQ(browser.shake(port, at("127.0.0.1", port), "http://" + at("127.0.0.1", port)), 101);
}

// The first line of the answer to a request for `target`, made by a process of another user: nobody.
std::string as_nobody(std::uint16_t port, const std::string& request) {
  int from[2];
  EXPECT_EQ(::pipe(from), 0);
  const pid_t child = ::fork();
  if (child == 0) {
    char answer[64] = "no connection";
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(port);
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    const int out =
        ::syscall(SYS_setresuid, 65534, 65534, 65534) == 0 ? ::socket(AF_INET, SOCK_STREAM, 0) : -1;
    if (out >= 0 && ::connect(out, reinterpret_cast<const sockaddr*>(&to), sizeof to) == 0 &&
        ::send(out, request.data(), request.size(), MSG_NOSIGNAL) > 0)
      (void)!::recv(out, answer, sizeof answer - 1, 0);
    (void)!::write(from[1], answer, std::strlen(answer));
    ::_exit(0);
  }
  ::close(from[1]);
  char answer[64] = {};
  (void)!::read(from[0], answer, sizeof answer - 1);
  ::close(from[0]);
  ::waitpid(child, nullptr, 0);
  const std::string line(answer);
  return line.substr(0, line.find('\r'));
}

TEST(OtherUsersOfThisMachine, AreRefusedByThePageAsByTheSocket) {
  Running running(WebOptions{});
  const auto port = running.server->web_port();
  EXPECT_EQ(get(port, "/").result_int(), 200u);
  if (::geteuid() != 0) return;  // only root can be somebody else
  const std::string host = "Host: " + at("127.0.0.1", port) + "\r\n";
  EXPECT_EQ(as_nobody(port, "GET / HTTP/1.1\r\n" + host + "\r\n"), "HTTP/1.1 403 Forbidden");
  EXPECT_EQ(as_nobody(port, "GET /socket HTTP/1.1\r\n" + host +
                                "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
                                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"),
            "HTTP/1.1 403 Forbidden");
}

TEST(OtherUsersOfThisMachine, AreFoundInTheTableOfTheKernel) {
  const asio::ip::tcp::endpoint theirs(asio::ip::make_address("127.0.0.1"), 40962),
      ours(asio::ip::make_address("127.0.0.1"), 8344), six(asio::ip::make_address("::1"), 40962),
      our_six(asio::ip::make_address("::1"), 8344);
  const std::string head =
      "  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode\n";
  const std::string rest = " 00000000:00000000 00:00000000 00000000  ";
  const std::string four = "   7: 0100007F:A002 0100007F:2098 01" + rest;
  EXPECT_EQ(owner_in(head + four + "1000        0 81234 1 0 20 4 30 10 -1\n", theirs, ours), 1000u);
  EXPECT_FALSE(owner_in(head + four + "0        0 0 1 0 20 4 30 10 -1\n", theirs, ours))
      << "whoever has closed it already is not root";
  EXPECT_FALSE(owner_in(head + four + "1000        0 81234 1 0\n", ours, theirs)) << "our own end";
  EXPECT_FALSE(owner_in(head, theirs, ours));
  EXPECT_EQ(owner_in("   0: 0000000000000000FFFF00000100007F:A002 0000000000000000FFFF00000100007F:2098 01" +
                         rest + "1001        0 5 1\n",
                     theirs, ours),
            1001u);
  EXPECT_EQ(owner_in("   0: 00000000000000000000000001000000:A002 00000000000000000000000001000000:2098 01" +
                         rest + "1002        0 5 1\n",
                     six, our_six),
            1002u);
}

TEST(Http, APortThatIsTakenIsSaid) {
  Running running(WebOptions{});
  boost::asio::io_context io;
  WebListener second(
      io, [](Visitor) { return nullptr; }, [](std::string_view, const std::string&) { return Shown{}; });
  WebOptions options;
  options.port = running.server->web_port();
  const auto refused = second.listen(options);
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("is taken by another program"), std::string::npos);
}

TEST(PageFiles, StayInTheirFolder) {
  EXPECT_EQ(page_file("/page", "/"), "/page/index.html");
  EXPECT_EQ(page_file("/page", "/a/b.js?x=../.."), "/page/a/b.js");
  EXPECT_EQ(page_file("/page", "/a/"), "/page/a/index.html");
  for (const char* target :
       {"", "x", "/..", "/a/../b", "/.git/config", "/a//b", "/a%2fb", "/a\\b", "http://x/"})
    EXPECT_EQ(page_file("/page", target), std::nullopt) << target;
}

}  // namespace
}  // namespace undersong::server
