// Open Sound Control, received on a real UDP socket by the library that others use as well.
#include <gtest/gtest.h>
#include <lo/lo.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/server/osc_output.h"

namespace undersong::server {
namespace {

constexpr int kPatienceMs = 10'000;

// A program that listens: each address with its arguments as text.
class Listener {
 public:
  Listener() : server_(lo_server_new(nullptr, nullptr)) {
    lo_server_add_method(
        server_, nullptr, nullptr,
        [](const char* path, const char* types, lo_arg** arguments, int count, lo_message, void* self) {
          std::string text;
          for (int i = 0; i < count; ++i) {
            if (i > 0) text += ' ';
            if (types[i] == 's') text += '"' + std::string(&arguments[i]->s) + '"';
            if (types[i] == 'i') text += std::to_string(arguments[i]->i);
            if (types[i] == 'f') text += std::to_string(arguments[i]->f).substr(0, 5);
          }
          static_cast<Listener*>(self)->said[path] = text;
          return 0;
        },
        this);
  }
  ~Listener() { lo_server_free(server_); }
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;
  int port() const { return lo_server_get_port(server_); }
  // The next bundle, or nothing if none comes in time.
  bool receive(int timeout_ms = kPatienceMs) {
    said.clear();
    return lo_server_recv_noblock(server_, timeout_ms) > 0;
  }
  std::map<std::string, std::string> said;

 private:
  lo_server server_;
};

listen::Moment playing() {
  listen::Moment moment;
  moment.harmony.emplace();
  moment.harmony->reading.chord = {PitchClass(3), harmony::quality("maj7"), PitchClass(10)};
  moment.harmony->reading.root_name = harmony::NoteName(-3);
  moment.harmony->sounding = true;
  listen::MelodyNote note;
  note.pitch = Pitch(74);
  note.name = harmony::NoteName(2);
  note.degree = harmony::degree_in(harmony::quality("maj7"), 11);
  moment.melody.push_back(note);
  moment.beat = listen::BeatNow{.at = Micros(0), .tempo = 96, .confidence = 1, .place = 2, .meter = 4};
  return moment;
}

TEST(OpenSoundControl, SaysWhatSoundsInOneBundleAndAgainOnlyWhenItChanges) {
  Listener listener;
  const auto osc = OscOutput::open({"127.0.0.1", listener.port()});
  ASSERT_TRUE(osc) << osc.error().message;
  auto moment = playing();
  (*osc)->publish(moment, harmony::SymbolStyle::kLetters);
  ASSERT_TRUE(listener.receive());
  EXPECT_EQ(listener.said["/undersong/chord"], "\"Ebmaj7/Bb\" 3 10 1");
  EXPECT_EQ(listener.said["/undersong/melody"], "\"D5\" 74 \"7\"");
  EXPECT_EQ(listener.said["/undersong/beat"], "96 3 4");
  EXPECT_EQ(listener.said["/undersong/key"], "\"\"");
  EXPECT_EQ(listener.said["/undersong/best"], "\"\"");
  EXPECT_TRUE(listener.said.contains("/undersong/colour"));
  (*osc)->publish(moment, harmony::SymbolStyle::kLetters);  // nothing has changed, so nothing is sent ...
  moment.harmony->sounding = false;
  moment.melody.clear();
  (*osc)->publish(moment, harmony::SymbolStyle::kLetters);
  ASSERT_TRUE(listener.receive());  // ... and this is the next that comes
  EXPECT_EQ(listener.said["/undersong/chord"], "\"Ebmaj7/Bb\" 3 10 0");
  EXPECT_EQ(listener.said["/undersong/melody"], "\"\" -1 \"\"");
}

TEST(OpenSoundControl, NobodyListeningDisturbsNobody) {
  // A connected socket takes nothing from strangers, so what is sent to it is answered as if nobody were
  // there; and it keeps the port from the listener of another test that runs at the same time.
  namespace ip = boost::asio::ip;
  boost::asio::io_context io;
  ip::udp::socket nobody(io, ip::udp::endpoint(ip::address_v4::loopback(), 0));
  nobody.connect(nobody.local_endpoint());
  const auto osc = OscOutput::open({"127.0.0.1", nobody.local_endpoint().port()});
  ASSERT_TRUE(osc);
  auto moment = playing();
  for (int place = 0; place < 4; ++place) {
    moment.beat->place = place;
    (*osc)->publish(moment, harmony::SymbolStyle::kSigns);
  }
  EXPECT_EQ(nobody.available(), 0u);
}

TEST(OpenSoundControl, ANameInsteadOfAnAddressIsRefusedInOneSentence) {
  const auto osc = OscOutput::open({"lights.local", 9000});
  ASSERT_FALSE(osc);
  EXPECT_NE(osc.error().message.find("\"lights.local\" is no address in numbers"), std::string::npos)
      << osc.error().message;
}

}  // namespace
}  // namespace undersong::server
