// Over 400 lines: all tests share one server and its clients.
// Clients over a real Unix socket.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <boost/asio/local/stream_protocol.hpp>
#include <fstream>
#include <set>
#include <thread>

#include "daemon/server/methods.h"
#include "daemon/server/notify.h"
#include "protocol/schema.h"
#include "tests/server/server_fixture.h"

namespace undersong::server {
namespace {

using namespace std::chrono_literals;
using protocol::Topic;

std::vector<takes::Entry> some_notes(int n, std::int64_t from = 0) {
  std::vector<takes::Entry> entries;
  for (int i = 0; i < n; ++i) entries.push_back(takes::note(from + i, 60));
  return entries;
}

// The numbers of the next `n` log lines.
std::vector<std::uint64_t> numbers(protocol::Connection& client, std::size_t n) {
  std::vector<std::uint64_t> all;
  while (all.size() < n) {
    auto note = client.next_notification(30s);
    if (!note || !*note) {
      ADD_FAILURE() << (note ? "nothing more came" : note.error().sentence);
      break;
    }
    if (auto log = (*note)->as<protocol::Log>()) all.push_back((*log)->number);
  }
  return all;
}
void expect_ascending_from(const std::vector<std::uint64_t>& all, std::uint64_t first) {
  for (std::size_t i = 0; i < all.size(); ++i) ASSERT_EQ(all[i], first + i);
}

TEST(Socket, GreetsFirstAndIsPrivate) {
  Running running;
  RawClient client(running.socket);
  const auto tree = protocol::parse(client.line());
  ASSERT_TRUE(tree);
  EXPECT_EQ(tree->at("method"), "welcome");
  EXPECT_EQ(tree->at("params").at("protocol"), protocol::kProtocolVersion);
  EXPECT_EQ(tree->at("params").at("program"), "0.1.0");
  struct stat there {};
  ASSERT_EQ(::stat(running.socket.c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 0777, 0600u);
  ASSERT_EQ(::stat(running.socket.parent_path().c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 0777, 0700u);
}

TEST(Socket, AnswersErrorsAsTheStandardSays) {
  Running running;
  RawClient client(running.socket);
  client.line();
  const auto code = [&](std::string_view line) {
    client.send(std::string(line) + "\n");
    const auto tree = protocol::parse(client.line());
    return tree->at("error").at("code").as_int64();
  };
  EXPECT_EQ(code("{nonsense"), -32700);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"no.such"})"), -32601);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hold","params":[true]})"), -32602);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hold","params":{"on":"yes"}})"), -32602);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"take.get","params":{"take":77}})"), -32001);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"take.end"})"), -32002);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"hear","params":{"place":0,"list":99}})"), -32003);
  EXPECT_EQ(code(R"({"jsonrpc":"2.0","id":1,"method":"settings.set","params":{"key":"H dur"}})"), -32602);
  EXPECT_EQ(
      code(R"({"jsonrpc":"2.0","id":1,"method":"take.correct","params":{"take":1,"at":0,"harte":"H:maj"}})"),
      -32602);
  client.send(
      "\r\n\n"
      R"([{"jsonrpc":"2.0","id":"a","method":"hold","params":{"on":true}},{"jsonrpc":"2.0","method":"hold","params":{"on":false}},7])"
      "\r\n");
  const auto batch = protocol::parse(client.line());
  ASSERT_TRUE(batch->is_array());
  EXPECT_EQ(batch->as_array().size(), 2u);
}

TEST(Socket, ClosesAConnectionThatSendsAnEndlessLine) {
  Running running;
  RawClient client(running.socket);
  client.line();
  const std::string longest = R"({"jsonrpc":"2.0","id":1,"method":"take.mark","params":{"text":")";
  client.send(longest + std::string(kMostMessageBytes - longest.size() - 3, 'x') + "\"}}\n");
  EXPECT_NE(client.line().find("There is no take to mark"), std::string::npos) << "64 KB are still taken";
  client.send(std::string(kMostMessageBytes + 9000, 'x'));
  EXPECT_NE(client.line().find("-32600"), std::string::npos);
  EXPECT_EQ(client.line(), "");
}

TEST(Socket, TakesALineInAnyPieces) {
  Running running;
  RawClient client(running.socket);
  client.line();
  const std::string two = R"({"jsonrpc":"2.0","id":1,"method":"hold","params":{"on":true}})"
                          "\n"
                          R"({"jsonrpc":"2.0","id":2,"method":"hold","params":{"on":false}})"
                          "\n";
  for (const char c : two) client.send(std::string(1, c));
  EXPECT_NE(client.line().find(R"("still":true)"), std::string::npos);
  EXPECT_NE(client.line().find(R"("still":false)"), std::string::npos);
}

TEST(Requests, EveryOneHasARowAndIsAnswered) {
  Running running;
  running.keep(demo_take({takes::along_begins(us(1), 1, takes::Along()), takes::pass_begins(us(2), 1)}));
  running.play_cadence();
  std::size_t answered = 0;
  std::optional<std::uint64_t> marked;
  auto client = running.connect();
  ASSERT_EQ(methods().size(), protocol::requests().size());
  boost::mp11::mp_for_each<
      boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>([&](auto id) {
    using T = typename decltype(id)::type;
    auto request = example_of<T>();
    if constexpr (std::is_same_v<T, protocol::UnmarkTake>) {  // the mark that was set just before
      ASSERT_TRUE(marked);
      request.line = *marked;
      request.take = 2;  // the one that is being played
    }
    if constexpr (std::is_same_v<T, protocol::LearnControl>) {  // answered by the next press
      RawClient player(running.socket);
      player.line();
      player.send(
          R"({"jsonrpc":"2.0","id":1,"method":"controls.learn","params":{}})"
          "\n"
          R"({"jsonrpc":"2.0","id":2,"method":"notes.send","params":{"notes":[{"pitch":108,"velocity":70,"on":true}]}})"
          "\n");
      const std::string answers = player.line() + player.line();
      EXPECT_NE(answers.find(R"({"message":"note 108"})"), std::string::npos) << answers;
      ++answered;
      return;
    }
    if constexpr (std::is_same_v<T, protocol::GrowSketch>) {  // sketch.delete was asked before
      ASSERT_TRUE(client.request(example_of<protocol::PutSketch>()));
    }
    if constexpr (std::is_same_v<T, protocol::RestoreTakes>) {  // refused while a take is being played
      ASSERT_TRUE(client.request(protocol::EndTake{}));
    }
    const auto reply = client.request(request);
    if constexpr (std::is_same_v<T, protocol::MarkTake>) {
      if (reply) marked = reply->number;
    }
    EXPECT_TRUE(reply) << T::kMethod << ": " << reply.error().sentence;
    ++answered;
  });
  EXPECT_EQ(answered, methods().size());
}

TEST(Requests, TheFileOfTakesIsCopiedAndBroughtBack) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  const auto relative = client.request(protocol::BackUpTakes{"copy.sqlite"});
  ASSERT_FALSE(relative);
  EXPECT_EQ(relative.error().sentence, "params.file must be an absolute path, not \"copy.sqlite\".");
  const auto made = client.request(protocol::BackUpTakes{backup_file().string()});
  ASSERT_TRUE(made) << made.error().sentence;
  EXPECT_EQ(made->bytes, std::filesystem::file_size(backup_file()));
  ASSERT_TRUE(client.request(protocol::RenameTake{1, "a name given afterwards"}));
  const auto back = client.request(protocol::RestoreTakes{backup_file().string()});
  ASSERT_TRUE(back) << back.error().sentence;
  EXPECT_TRUE(std::filesystem::exists(back->kept));
  const auto take = client.request(protocol::GetTake{});
  ASSERT_TRUE(take);
  EXPECT_EQ(take->summary.title, "");
}

TEST(Requests, ATitleCanTellATerminalNothing) {
  Running running;
  running.keep(demo_take());
  auto client = running.connect();
  ASSERT_TRUE(client.request(protocol::RenameTake{1, "quiet\x1b]52;c;cm0gLXJm\x07 song"}));
  const auto takes = client.request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  EXPECT_EQ(takes->takes.at(0).title, "quiet\uFFFD]52;c;cm0gLXJm\uFFFD song");
}

TEST(Requests, TakesComeBackAsTheyWereKept) {
  Running running;
  running.keep({takes::take_begin(us(0), 1'790'000'000'000), takes::note(1, 60),
                takes::chord_in_force(us(1), takes::reading(0, "maj", 0)), takes::mark(us(5), "here"),
                takes::take_end(us(9), takes::EndReason::kRequest)});
  auto client = running.connect();
  const auto list = client.request(protocol::ListTakes{});
  ASSERT_TRUE(list) << list.error().sentence;
  ASSERT_EQ(list->takes.size(), 1u);
  EXPECT_EQ(list->takes[0].notes, 1u);
  EXPECT_EQ(list->takes[0].length_us, 9);
  EXPECT_EQ(client.request(protocol::RenameTake{1, "one"})->number, 6u);
  const auto take = client.request(protocol::GetTake{});
  ASSERT_TRUE(take);
  EXPECT_EQ(take->summary.title, "one");
  EXPECT_EQ(take->chords.at(0).harte, "C:maj");
  EXPECT_EQ(take->marks.at(0).text, "here");
  protocol::GetEvents some;
  some.limit = 2;
  const auto first = client.request(some);
  ASSERT_TRUE(first);
  EXPECT_EQ(first->lines.size(), 2u);
  EXPECT_TRUE(first->more);
  some.from = first->next;
  some.limit = 100;
  const auto rest = client.request(some);
  EXPECT_EQ(rest->lines.size(), 4u);
  EXPECT_FALSE(rest->more);
  EXPECT_EQ(rest->next, 7u);
  const auto exported = client.request(protocol::ExportTake{});
  ASSERT_TRUE(exported);
  EXPECT_EQ(exported->base64.substr(0, 8), "TVRoZAAA") << "MThd";
  EXPECT_EQ(exported->file_name, "take-1.mid");
}

// The next notification of this kind. The status may change at any time, so others may come before it.
template <class T>
T next_of(protocol::Connection& client) {
  for (;;) {
    const auto next = client.next_notification(30s);
    if (!next || !*next) {
      ADD_FAILURE() << "no " << T::kMethod << " came";
      return {};
    }
    if ((*next)->method != T::kMethod) continue;
    const auto read = (*next)->template as<T>();
    EXPECT_TRUE(read && *read);
    return read && *read ? **read : T{};
  }
}

TEST(Subscriptions, StateComesAtOnceAndThenWhenItChanges) {
  Running running;
  running.publish(41);
  auto client = running.connect();
  const auto topics = client.request(protocol::Subscribe{.topics = {Topic::kMoment, Topic::kStatus}});
  ASSERT_TRUE(topics);
  EXPECT_EQ(topics->topics.size(), 2u);
  EXPECT_EQ(topics->store.size(), 16u);
  EXPECT_EQ(next_of<protocol::Moment>(client).number, 41u);
  const auto status = next_of<protocol::Status>(client);
  ASSERT_FALSE(status.ports.empty());
  EXPECT_EQ(status.ports[0].name, Running::kKeyboard);
  running.publish(42);
  EXPECT_EQ(next_of<protocol::Moment>(client).number, 42u);
  ASSERT_TRUE(client.request(protocol::Unsubscribe{.topics = {Topic::kMoment}}));
  running.publish(43);
  EXPECT_EQ(client.request(protocol::GetMoment{})->number, 43u);
  ASSERT_TRUE(client.request(protocol::Hold{true}));
  for (bool still = false; !still;) {
    const auto next = client.next_notification(30s);
    ASSERT_TRUE(next && *next);
    ASSERT_EQ((*next)->method, "status") << "no moment any more";
    still = (*(*next)->as<protocol::Status>())->still;
  }
}

TEST(Log, IsReplayedFromAnyNumberWithoutGapsAndGoesOn) {
  Running running;
  // More lines than the publisher keeps, so that the first ones must come from the store.
  running.keep(some_notes(6000));
  for (const std::uint64_t from : {1u, 1500u, 1904u, 1905u, 5999u, 6000u}) {
    auto client = running.connect();
    const auto subscribed = client.request(protocol::Subscribe{.topics = {Topic::kLog}, .log_from = from});
    ASSERT_TRUE(subscribed);
    EXPECT_EQ(subscribed->log_next, from);
    running.keep(some_notes(3, 10'000));
    const std::uint64_t last = running.store->last_number();
    const auto all = numbers(client, static_cast<std::size_t>(last - from + 1));
    expect_ascending_from(all, from);
    EXPECT_EQ(all.back(), last);
  }
  auto later = running.connect();
  EXPECT_EQ(later.request(protocol::Subscribe{.topics = {Topic::kLog}})->log_next,
            running.store->last_number() + 1);
  running.keep(some_notes(2));
  expect_ascending_from(numbers(later, 2), running.store->last_number() - 1);
  EXPECT_EQ(later.request(protocol::Subscribe{.topics = {Topic::kLog}, .log_from = 1u << 30})->log_next,
            running.store->last_number() + 1)
      << "a number that doesn't exist yet is taken as the next";
}

TEST(Log, IsReplayedFromAnEarlierRun) {
  TemporaryFolder folder;
  Running running;
  running.keep(some_notes(10));
  // A new server on the same store, to which nothing was published.
  running.on_server([&] {
    running.server->stop();
    Server::Options options;
    options.socket = running.socket;
    running.server =
        std::make_unique<Server>(running.io, options, *running.stage, *running.studies, *running.fetcher);
    ASSERT_TRUE(running.server->start());
  });
  auto client = running.connect();
  ASSERT_TRUE(client.request(protocol::Subscribe{.topics = {Topic::kLog}, .log_from = 4}));
  expect_ascending_from(numbers(client, 7), 4);
}

TEST(SlowClient, CostsTheNewestStateAndAPositionAndDelaysNobody) {
  Running running;
  RawClient slow(running.socket, 4096);
  slow.send(
      R"({"jsonrpc":"2.0","id":1,"method":"subscribe","params":{"topics":["moment","log"],"log_from":1}})"
      "\n");
  auto fast = running.connect();
  ASSERT_TRUE(fast.request(protocol::Subscribe{.topics = {Topic::kMoment, Topic::kLog}, .log_from = 1}));
  constexpr int kRounds = 300, kLines = 20;
  std::uint64_t lines_seen = 0, moments_seen = 0;
  for (int round = 1; round <= kRounds; ++round) {
    running.keep(some_notes(kLines));
    running.publish(static_cast<std::uint64_t>(round));
    // The fast client gets everything before the slow one has read a byte.
    for (bool moment = false; !moment || lines_seen < static_cast<std::uint64_t>(round) * kLines;) {
      auto note = fast.next_notification(30s);
      ASSERT_TRUE(note && *note);
      if (auto log = (*note)->as<protocol::Log>()) {
        ASSERT_EQ((*log)->number, ++lines_seen);
      }
      if (auto m = (*note)->as<protocol::Moment>(); m && (*m)->number == static_cast<std::uint64_t>(round)) {
        moment = true;
        ++moments_seen;
      }
    }
  }
  EXPECT_EQ(moments_seen, static_cast<std::uint64_t>(kRounds));
  // Now the slow client reads. It gets every log line in order, and only a few moments, also the newest.
  std::uint64_t line = 0, moments = 0, newest = 0;
  while (line < static_cast<std::uint64_t>(kRounds) * kLines || newest < kRounds) {
    const std::string text = slow.line();
    ASSERT_FALSE(text.empty()) << "the connection ended";
    const auto tree = protocol::parse(text);
    ASSERT_TRUE(tree);
    const auto* method = tree->as_object().if_contains("method");
    if (method == nullptr) continue;
    const auto& params = tree->at("params").as_object();
    if (*method == "log") {
      ASSERT_EQ(params.at("number").to_number<std::uint64_t>(), ++line);
    }
    if (*method == "moment") {
      newest = params.at("number").to_number<std::uint64_t>();
      ++moments;
    }
  }
  EXPECT_EQ(newest, static_cast<std::uint64_t>(kRounds));
  EXPECT_LT(moments, static_cast<std::uint64_t>(kRounds)) << "old ones were replaced";
}

TEST(SlowClient, ThatAsksWithoutReadingIsReadNoFurther) {
  Running running;
  running.keep(some_notes(2000));
  RawClient greedy(running.socket, 4096);
  greedy.line();
  // Each answer is about 150 KB, and none is read yet. The requests fit into the socket's buffer.
  constexpr int kRequests = 100;
  for (int i = 0; i < kRequests; ++i)
    greedy.send(R"({"jsonrpc":"2.0","id":)" + std::to_string(i) +
                R"(,"method":"take.events","params":{"limit":2000}})"
                "\n");
  auto other = running.connect();
  for (int i = 0; i < 20; ++i) {
    const auto held = other.request(protocol::Hold{i % 2 == 0});
    ASSERT_TRUE(held) << held.error().sentence;
  }
  std::vector<bool> answered(kRequests);
  for (int i = 0; i < kRequests; ++i) {
    const std::string line = greedy.line();
    const auto tree = protocol::parse(line);
    ASSERT_TRUE(tree) << "every request is answered once it reads: " << i << " " << line.size() << " "
                      << tree.error().sentence;
    answered[static_cast<std::size_t>(tree->at("id").as_int64())] = true;
  }
  EXPECT_EQ(std::count(answered.begin(), answered.end(), true), kRequests);
}

TEST(Clients, ThatGoAreForgottenAndTheirNotesReleased) {
  Running running;
  {
    auto client = running.connect();
    ASSERT_EQ(client.request(protocol::SendNotes{{{60, 80, true}}})->accepted, 1u);
    ASSERT_TRUE(running.eventually([&] { return running.stage->performance().moment().held.size() == 1; }));
  }
  EXPECT_TRUE(running.eventually(
      [&] { return running.server->clients() == 0 && running.stage->performance().moment().held.empty(); }));
}

TEST(Clients, WhatTheySendTogetherIsStruckTogether) {
  Running running;
  auto client = running.connect();
  protocol::SendNotes chord;
  for (int pitch = 40; pitch < 70; pitch += 3) chord.notes.push_back({pitch, 80, true});
  ASSERT_EQ(client.request(chord)->accepted, chord.notes.size());
  const auto& held = running.stage->performance().moment().held;
  ASSERT_TRUE(running.eventually([&] { return held.size() == chord.notes.size(); }));
  for (const auto& note : held) EXPECT_EQ(note.since, held.front().since);
}

TEST(Clients, TooManyAreToldSo) {
  Running running;
  std::vector<std::unique_ptr<RawClient>> many;
  for (std::size_t i = 0; i < Server::kMostClients; ++i) {
    many.push_back(std::make_unique<RawClient>(running.socket));
    ASSERT_NE(many.back()->line().find("welcome"), std::string::npos);
  }
  const auto refused = protocol::Connection::open(running.socket);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().sentence, "Too many clients are connected.");
}

TEST(Clients, AreClosedAndTheSocketIsRemovedAtTheEnd) {
  Running running;
  auto client = running.connect();
  running.on_server([&] { running.server->stop(); });
  EXPECT_EQ(client.request(protocol::Hold{true}).error().sentence, "The daemon closed the connection.");
  EXPECT_FALSE(std::filesystem::exists(running.socket));
  EXPECT_EQ(protocol::Connection::open(running.socket).error().sentence,
            "No daemon is running: nobody listens at " + running.socket.string() + ".");
}

TEST(SecondInstance, GivesWayToOneThatAnswers) {
  Running running;
  boost::asio::io_context io;
  SocketListener second(io, [](Visitor) { return nullptr; });
  const auto refused = second.listen(running.socket);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kConflict);
  EXPECT_NE(refused.error().message.find("already running"), std::string::npos);
  auto client = running.connect();
  EXPECT_TRUE(client.request(protocol::Hold{true})) << "the first one is not disturbed";
}

TEST(SecondInstance, GivesWayToOneWithoutALock) {
  TemporaryFolder folder;
  const auto path = folder.path / "socket";
  boost::asio::io_context io;
  boost::asio::local::stream_protocol::acceptor other(io, path.string());
  SocketListener second(io, [](Visitor) { return nullptr; });
  const auto refused = second.listen(path);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kConflict);
}

std::filesystem::perms mode_of(const std::filesystem::path& path) {
  return std::filesystem::status(path).permissions();
}

TEST(SocketPlace, FoldersThatWeMakeAreOpenToTheUserAlone) {
  TemporaryFolder folder;
  boost::asio::io_context io;
  SocketListener listener(io, [](Visitor) { return nullptr; });
  ASSERT_TRUE(listener.listen(folder.path / "one" / "two" / "socket"));
  for (const char* made : {"one", "one/two"})
    EXPECT_EQ(mode_of(folder.path / made), std::filesystem::perms::owner_all) << made;
  EXPECT_EQ(mode_of(folder.path / "one/two/socket"),
            std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
}

TEST(SocketPlace, AFolderThatWasThereKeepsItsMode) {
  using std::filesystem::perms;
  const perms sticky = perms::all | perms::sticky_bit;
  for (const perms mode :
       {perms::owner_all | perms::group_read | perms::group_exec | perms::others_read | perms::others_exec,
        sticky}) {
    TemporaryFolder folder;
    const auto shared = folder.path / "shared";
    std::filesystem::create_directory(shared);
    std::filesystem::permissions(shared, mode);
    boost::asio::io_context io;
    SocketListener listener(io, [](Visitor) { return nullptr; });
    EXPECT_TRUE(listener.listen(shared / "socket"));
    EXPECT_EQ(mode_of(shared), mode);
    EXPECT_EQ(mode_of(shared / "socket"), perms::owner_read | perms::owner_write);
  }
}

TEST(SocketPlace, AFolderInWhichOthersCouldPutTheirOwnSocketIsRefusedAndLeftAsItIs) {
  TemporaryFolder folder;
  const auto shared = folder.path / "shared";
  std::filesystem::create_directory(shared);
  std::filesystem::permissions(shared, std::filesystem::perms::all);
  boost::asio::io_context io;
  SocketListener listener(io, [](Visitor) { return nullptr; });
  const auto refused = listener.listen(shared / "socket");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, ErrorCode::kConflict);
  EXPECT_NE(refused.error().message.find("Others may write in the folder " + shared.string()),
            std::string::npos)
      << refused.error().message;
  EXPECT_EQ(mode_of(shared), std::filesystem::perms::all);
  EXPECT_TRUE(std::filesystem::is_empty(shared));
}

TEST(SocketPlace, AFileInTheWayIsSaid) {
  TemporaryFolder folder;
  std::ofstream(folder.path / "file") << "mine";
  boost::asio::io_context io;
  SocketListener listener(io, [](Visitor) { return nullptr; });
  const auto refused = listener.listen(folder.path / "file" / "socket");
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("is not a folder"), std::string::npos) << refused.error().message;
}

TEST(StaleSocket, IsCleanedUp) {
  TemporaryFolder folder;
  const auto path = folder.path / "run" / "socket";
  std::filesystem::create_directory(path.parent_path());
  boost::asio::io_context io;
  { boost::asio::local::stream_protocol::acceptor killed(io, path.string()); }  // its file stays behind
  ASSERT_TRUE(std::filesystem::exists(path));
  SocketListener listener(io, [](Visitor) { return nullptr; });
  EXPECT_TRUE(listener.listen(path));
}

TEST(StaleSocket, AnotherKindOfFileIsLeftAlone) {
  TemporaryFolder folder;
  const auto path = folder.path / "socket";
  std::ofstream(path) << "mine";
  boost::asio::io_context io;
  SocketListener listener(io, [](Visitor) { return nullptr; });
  const auto refused = listener.listen(path);
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("is not a socket"), std::string::npos);
  EXPECT_TRUE(std::filesystem::exists(path));
}

TEST(ServiceManager, IsToldByADatagram) {
  for (const bool abstract : {false, true}) {
    TemporaryFolder folder;
    const std::string name =
        abstract ? "@undersong-test-" + std::to_string(::getpid()) : (folder.path / "notify").string();
    const int descriptor = ::socket(AF_UNIX, SOCK_DGRAM, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, name.data(), name.size());
    if (abstract) address.sun_path[0] = '\0';
    ASSERT_EQ(::bind(descriptor, reinterpret_cast<sockaddr*>(&address),
                     static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + name.size())),
              0);
    ::setenv("NOTIFY_SOCKET", name.c_str(), 1);
    EXPECT_TRUE(notify_service_manager("READY=1"));
    char bytes[256];
    ASSERT_EQ(::recv(descriptor, bytes, sizeof bytes, MSG_DONTWAIT), 7);
    EXPECT_EQ(std::string(bytes, 7), "READY=1");
    EXPECT_TRUE(notify_reloading());
    const ssize_t n = ::recv(descriptor, bytes, sizeof bytes, MSG_DONTWAIT);
    ASSERT_GT(n, 0);
    EXPECT_EQ(std::string(bytes, static_cast<std::size_t>(n)).rfind("RELOADING=1\nMONOTONIC_USEC=", 0), 0u);
    ::close(descriptor);
    ::unsetenv("NOTIFY_SOCKET");
    EXPECT_FALSE(notify_service_manager("READY=1"));
  }
}

TEST(Socket, AHandlerThatThrowsIsAnErrorAndTheNextRequestIsAnswered) {
  Running running;
  auto client = running.connect();
  const auto memory = client.request(protocol::SetSettings{.hear_output = SilentOutput::kNoMemory});
  ASSERT_FALSE(memory);
  EXPECT_EQ(memory.error().sentence,
            "There was not enough memory while settings.set was answered; everything else goes on.");
  const auto fault = client.request(protocol::SetSettings{.hear_output = SilentOutput::kFault});
  ASSERT_FALSE(fault);
  EXPECT_NE(fault.error().sentence.find("internal error"), std::string::npos) << fault.error().sentence;
  EXPECT_TRUE(client.request(protocol::SetSettings{.hear_output = "another output"}));
}

std::string batch_of(const std::string& method, const std::string& params, int calls) {
  std::string out;
  for (int i = 0; i < calls; ++i)
    out += (i ? "," : "[") + std::string(R"({"jsonrpc":"2.0","id":)") + std::to_string(i) + R"(,"method":")" +
           method + R"(","params":)" + params + "}";
  return out + "]\n";
}

TEST(Socket, ABatchIsAnsweredWholeThoughOnlySomeOfItIsUnderWayAtATime) {
  Running running;
  running.keep(demo_take());
  RawClient client(running.socket);
  client.line();
  client.send(batch_of("take.get", R"({"take":1})", 200) +
              R"({"jsonrpc":"2.0","id":"next","method":"hold","params":{"on":true}})"
              "\n");
  // `hold` is answered at once, the batch when its last call is answered.
  auto answers = protocol::parse(client.line()), next = protocol::parse(client.line());
  ASSERT_TRUE(answers && next);
  if (!answers->is_array()) std::swap(answers, next);
  ASSERT_TRUE(answers->is_array());
  ASSERT_EQ(answers->as_array().size(), 200u);
  int refused = 0;
  std::set<std::int64_t> ids;
  for (const auto& answer : answers->as_array()) {
    ids.insert(answer.at("id").as_int64());
    if (const auto* error = answer.as_object().if_contains("error")) {
      EXPECT_EQ(error->at("code"), -32004);
      ++refused;
    }
  }
  EXPECT_EQ(ids.size(), 200u);
  EXPECT_LT(refused, 200) << "what fits is answered";
  EXPECT_EQ(next->at("id"), "next");
  running.on_server([&] { EXPECT_TRUE(running.stage->performance().still()); });
}

TEST(Socket, OneClientThatAsksForEverythingTakesABoundedShareAndOthersAreServed) {
  Running running;
  running.keep(some_notes(2000));
  std::vector<std::unique_ptr<RawClient>> greedy;
  for (int c = 0; c < 6; ++c) {
    greedy.push_back(std::make_unique<RawClient>(running.socket));
    greedy.back()->line();
  }
  std::vector<std::thread> senders;
  for (auto& client : greedy)
    senders.emplace_back([&] {
      for (int i = 0; i < 8; ++i) client->send(batch_of("take.events", R"({"limit":2000})", 256));
    });
  auto other = running.connect();
  std::size_t most_calls = 0, most_bytes = 0;
  for (int i = 0; i < 200; ++i) {
    const auto asked = other.request(protocol::ListTakes{});
    EXPECT_TRUE(asked) << asked.error().sentence;
    running.on_server([&] {
      most_calls = std::max(most_calls, running.server->load().calls);
      most_bytes = std::max(most_bytes, running.server->load().bytes);
    });
  }
  EXPECT_GT(most_calls, 8u) << "they did ask";
  EXPECT_LE(most_calls, Session::kMostCallsOfAll + 7);
  EXPECT_LE(most_bytes, Session::kMostUnreadBytesOfAll + 7 * Session::kMostReplyBytes);
  // In the end every batch is answered. Each of its calls has a result, or an error that says why not.
  for (auto& client : greedy) {
    int results = 0, refused = 0;
    for (int i = 0; i < 8; ++i) {
      const auto answers = protocol::parse(client->line());
      ASSERT_TRUE(answers && answers->is_array());
      for (const auto& answer : answers->as_array()) {
        const auto* error = answer.as_object().if_contains("error");
        if (error) {
          EXPECT_EQ(error->at("code"), -32004);
        }
        ++(error ? refused : results);
      }
    }
    EXPECT_EQ(results + refused, 8 * 256);
    EXPECT_GE(results, 8);
    EXPECT_GT(refused, 256);
  }
  for (auto& sender : senders) sender.join();
  greedy.clear();
  const auto end = std::chrono::steady_clock::now() + 30s;
  for (bool empty = false; !empty && std::chrono::steady_clock::now() < end;)
    running.on_server([&] {
      empty = running.server->load().calls == 0 && running.server->load().bytes == 0 &&
              running.server->clients() == 1;
    });
  running.on_server([&] {
    EXPECT_EQ(running.server->load().calls, 0u);
    EXPECT_EQ(running.server->load().bytes, 0u);
  });
}

}  // namespace
}  // namespace undersong::server
