// TLS on the devices' port: a real handshake with the certificate that was made, and how it is kept and
// renewed.
#include <gtest/gtest.h>
#include <openssl/x509.h>
#include <sys/stat.h>

#include <atomic>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/ssl.hpp>
#include <boost/asio/write.hpp>
#include <fstream>

#include "daemon/server/tls_identity.h"
#include "tests/server/server_fixture.h"

namespace undersong::server {
namespace {

namespace asio = boost::asio;
namespace ssl = asio::ssl;
using namespace std::chrono_literals;
constexpr UtcMs kTlsNow{1'790'000'000'000};

// A client that trusts this certificate and no other; anybody if it is empty.
struct Client {
  asio::io_context io;
  ssl::context context{ssl::context::tls_client};
  std::optional<ssl::stream<asio::ip::tcp::socket>> stream;
  boost::system::error_code shake(std::uint16_t port, const std::string& certificate,
                                  const std::string& name = "127.0.0.1") {
    context.set_verify_mode(certificate.empty() ? ssl::verify_none : ssl::verify_peer);
    if (!certificate.empty()) context.add_certificate_authority(asio::buffer(certificate));
    stream.emplace(io, context);
    if (!certificate.empty()) stream->set_verify_callback(ssl::host_name_verification(name));
    stream->next_layer().connect({asio::ip::make_address("127.0.0.1"), port});
    boost::system::error_code failed;
    stream->handshake(ssl::stream_base::client, failed);
    return failed;
  }
  std::string fingerprint() {
    unsigned char digest[32];
    unsigned size = 0;
    X509* shown = SSL_get1_peer_certificate(stream->native_handle());
    X509_digest(shown, EVP_sha256(), digest, &size);
    X509_free(shown);
    std::string out;
    for (unsigned i = 0; i < size; ++i) {
      char two[4];
      std::snprintf(two, sizeof two, "%02X", digest[i]);
      out.append(i == 0 ? "" : ":").append(two);
    }
    return out;
  }
  // Sends a request and returns the answer up to `end`.
  std::string ask(const std::string& request, const std::string& end) {
    asio::write(*stream, asio::buffer(request));
    std::string answer;
    boost::system::error_code failed;
    asio::read_until(*stream, asio::dynamic_buffer(answer), end, failed);
    return answer;
  }
};

std::string plain(std::uint16_t port, const std::string& request) {
  asio::io_context io;
  asio::ip::tcp::socket socket(io);
  socket.connect({asio::ip::make_address("127.0.0.1"), port});
  asio::write(socket, asio::buffer(request));
  std::string answer;
  boost::system::error_code ended;
  asio::read(socket, asio::dynamic_buffer(answer), ended);
  return answer;
}

TEST(Tls, ADeviceComesByACertificateThatItCanCompare) {
  PairingOptions options;
  options.tls = true;
  Running running(WebOptions{}, options);
  auto player = running.connect();
  protocol::OpenDevices open;
  open.on = true;
  const auto list = player.request(open);
  ASSERT_TRUE(list) << list.error().sentence;
  const auto port = running.server->devices_port();
  const std::string host = "127.0.0.1:" + std::to_string(port);
  EXPECT_EQ(list->addresses, std::vector<std::string>{"https://" + host + "/"});
  ASSERT_TRUE(list->fingerprint);

  const auto file = running.devices_folder / "tls.pem";
  struct stat there {};
  ASSERT_EQ(::stat(file.c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 0777, 0600u) << "the key is in it";
  const auto kept = kept_identity(running.devices_folder, {"127.0.0.1"}, PairingOptions().utc());
  ASSERT_TRUE(kept) << kept.error().message;

  Client tablet;
  const auto failed = tablet.shake(port, kept->certificate);
  ASSERT_FALSE(failed) << failed.message();
  EXPECT_EQ(tablet.fingerprint(), *list->fingerprint);
  EXPECT_NE(tablet.ask("GET / HTTP/1.1\r\nHost: " + host + "\r\n\r\n", "\r\n\r\n").find("HTTP/1.1 200"),
            std::string::npos);

  // The protocol over it: the page's origin is https now, and plain http is no origin of ours.
  const auto upgrade = [&](const std::string& origin) {
    return "GET /socket HTTP/1.1\r\nHost: " + host + "\r\nOrigin: " + origin +
           "\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
           "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n";
  };
  Client page, stranger;
  ASSERT_FALSE(page.shake(port, kept->certificate));
  const std::string greeting = page.ask(upgrade("https://" + host), "may_pair\":false");
  EXPECT_NE(greeting.find("HTTP/1.1 101"), std::string::npos);
  // The example key and its answer are those of RFC 6455, section 1.3.
  EXPECT_NE(greeting.find("s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), std::string::npos);
  EXPECT_NE(greeting.find(R"("token_needed":true)"), std::string::npos);
  ASSERT_FALSE(stranger.shake(port, kept->certificate));
  EXPECT_NE(stranger.ask(upgrade("http://" + host), "\r\n\r\n").find("HTTP/1.1 403"), std::string::npos);

  Client elsewhere;
  EXPECT_TRUE(elsewhere.shake(port, kept->certificate, "192.0.2.99")) << "the certificate names us alone";
  Client distrustful;
  EXPECT_TRUE(distrustful.shake(port, make_identity({"127.0.0.1"}, PairingOptions().utc())->certificate));
}

TEST(Tls, WhoComesWithoutItIsSentToIt) {
  PairingOptions options;
  options.tls = true;
  Running running(WebOptions{}, options);
  auto player = running.connect();
  protocol::OpenDevices open;
  open.on = true;
  ASSERT_TRUE(player.request(open));
  const auto port = running.server->devices_port();
  const std::string host = "127.0.0.1:" + std::to_string(port);
  const std::string answer = plain(port, "GET /x HTTP/1.1\r\nHost: " + host + "\r\n\r\n");
  EXPECT_TRUE(answer.starts_with("HTTP/1.1 307")) << answer;
  EXPECT_NE(answer.find("Location: https://" + host + "/x\r\n"), std::string::npos) << answer;
  EXPECT_NE(answer.find("This port speaks https only"), std::string::npos) << answer;
  EXPECT_TRUE(plain(port, "GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n").starts_with("HTTP/1.1 403"));
  EXPECT_TRUE(plain(port, "GET /socket HTTP/1.1\r\nHost: " + host + "\r\nOrigin: http://" + host +
                              "\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
                              "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n")
                  .starts_with("HTTP/1.1 307"));
  EXPECT_TRUE(plain(port, "\x16\x03\x01nonsense").starts_with("HTTP/1.1 400"));
  // The port of this machine alone stays as it is.
  const std::string home = "127.0.0.1:" + std::to_string(running.server->web_port());
  EXPECT_TRUE(
      plain(running.server->web_port(), "GET / HTTP/1.1\r\nHost: " + home + "\r\nConnection: close\r\n\r\n")
          .starts_with("HTTP/1.1 200"));
}

TEST(Tls, ACertificateIsRenewedBeforeItEnds) {
  std::atomic<std::int64_t> now_ms{kTlsNow.count()};
  PairingOptions options;
  options.tls = true;
  options.utc = [&] { return UtcMs(now_ms); };
  Running running(WebOptions{}, options);
  auto player = running.connect();
  protocol::OpenDevices open;
  open.on = true;
  const auto list = player.request(open);
  ASSERT_TRUE(list) << list.error().sentence;
  now_ms += UtcMs(kHolds - 20 * 24h).count();
  Client tablet;
  ASSERT_FALSE(tablet.shake(running.server->devices_port(), ""));
  EXPECT_EQ(tablet.fingerprint(), *list->fingerprint);
  EXPECT_TRUE(running.eventually([&] { return running.server->fingerprint() != *list->fingerprint; }));
  Client next;
  ASSERT_FALSE(next.shake(running.server->devices_port(), ""));  // by the real clock it does not hold yet
  EXPECT_EQ(next.fingerprint(), running.server->fingerprint());
}

TEST(TlsIdentity, HoldsAsLongAsBrowsersAllowAndNamesWhatItShould) {
  const auto made = make_identity({"192.168.1.20", "2001:db8::7", "studio", "no name!"}, kTlsNow);
  ASSERT_TRUE(made) << made.error().message;
  EXPECT_EQ(made->names, (std::vector<std::string>{"192.168.1.20", "2001:db8::7", "studio"}));
  EXPECT_LE(made->ends - kTlsNow, kHolds);
  EXPECT_GT(made->ends - kTlsNow, kHolds - 48h);
  EXPECT_EQ(made->fingerprint.size(), 32u * 3 - 1);
  EXPECT_NE(made->key, make_identity({"192.168.1.20"}, kTlsNow)->key);
  EXPECT_FALSE(make_identity({}, kTlsNow));
  EXPECT_FALSE(read_identity(made->key)) << "no certificate";
  EXPECT_FALSE(read_identity(make_identity({"studio"}, kTlsNow)->key + made->certificate))
      << "of another key";
}

TEST(TlsIdentity, IsKeptWhileItIsGood) {
  takes::TemporaryFolder folder;
  const auto first = kept_identity(folder.path, {"192.168.1.20"}, kTlsNow);
  ASSERT_TRUE(first) << first.error().message;
  EXPECT_EQ(kept_identity(folder.path, {"192.168.1.20"}, kTlsNow + 700 * 24h)->fingerprint,
            first->fingerprint);
  const auto moved = kept_identity(folder.path, {"192.168.1.21"}, kTlsNow);
  EXPECT_NE(moved->fingerprint, first->fingerprint) << "the machine has another address";
  const auto renewed = kept_identity(folder.path, {"192.168.1.21"}, kTlsNow + kHolds - 29 * 24h);
  EXPECT_NE(renewed->fingerprint, moved->fingerprint) << "it would end soon";
  std::ofstream(folder.path / "tls.pem") << "nonsense";
  const auto replaced = kept_identity(folder.path, {"192.168.1.21"}, kTlsNow);
  ASSERT_TRUE(replaced);
  EXPECT_EQ(kept_identity(folder.path, {"192.168.1.21"}, kTlsNow)->fingerprint, replaced->fingerprint);
}

}  // namespace
}  // namespace undersong::server
