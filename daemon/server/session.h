// One client, whatever it is connected by: its requests, what it subscribed to, and what waits to be sent to
// it.
//
// Bounds: of each state one unread message; of the log a position and at most kReplayLines lines from the
// store. Of calls kMostCalls are unanswered at a time, each of a batch counted, and kMostCallsOfAll of all
// clients together, though every client may have one; the next is begun, and the next message read, when
// there is room. Nothing is begun for a client that has kMostReplyBytes to read; the rest of a batch whose
// answers have grown beyond that is refused. Answers that come all the same are kept up to kMostUnreadBytes,
// and kMostUnreadBytesOfAll of all clients together, and are errors beyond. Threads: the io thread. Errors:
// to the client, as JSON-RPC says.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "daemon/live/client_keys.h"
#include "daemon/server/places.h"
#include "daemon/server/publisher.h"
#include "daemon/takes/store.h"
#include "protocol/rpc_code.h"

namespace undersong::live {
class Stage;
}
namespace undersong::song {
class Studies;
}
namespace undersong::takes {
class Fetcher;
}

namespace undersong::server {

using live::ClientId;

// The way to a client. It and its session hold each other from `start` to `closed`: a client that is read no
// further for a while has no operation under way that would keep it.
class Transport {
 public:
  virtual ~Transport() = default;
  // True: sent. False: under way, `Session::written` follows; no other write until then.
  virtual bool write(const Buffer& message) = 0;
  // The session wants to read again.
  virtual void resume() = 0;
  virtual void close() = 0;
};

class Songs;
class Incoming;

// What all clients together have under way. Outlives the room: answers may come late.
struct Load {
  std::size_t calls = 0;  // begun and unanswered
  std::size_t bytes = 0;  // of replies that were not sent yet
};

// What all sessions share.
struct Room {
  live::Stage& stage;
  takes::Store& store;
  takes::Fetcher& fetcher; // for what takes milliseconds
  song::Studies& studies;  // for what takes a second
  Songs& songs;
  Publisher& publisher;
  std::function<Buffer()> newest_moment, newest_status;
  std::function<void()> publish_status;
  std::function<void(std::function<void()>)> post;  // runs work soon on the io thread
  std::string program_version;
  Places places;
  std::string token;  // "" when none is configured
  std::shared_ptr<Load> load = std::make_shared<Load>();
};

class Session : public std::enable_shared_from_this<Session> {
 public:
  static constexpr std::size_t kMostCalls = 32;
  static constexpr std::size_t kMostCallsOfAll = 128;
  static constexpr std::size_t kMostReplyBytes = 1u << 20;
  static constexpr std::size_t kMostUnreadBytes = 16u << 20;
  static constexpr std::size_t kMostUnreadBytesOfAll = 64u << 20;
  static constexpr std::size_t kReplayLines = 128;

  // `trusted`: no token is asked for.
  Session(ClientId id, Room& room, bool trusted)
      : id_(id), room_(room), load_(room.load), trusted_(trusted) {}
  ~Session() { load_->bytes -= unread(); }

  // Greets.
  void start(std::shared_ptr<Transport> transport);
  // One message. REQUIRES: wants_more().
  void received(std::string_view message);
  // Whether another message may be read. After false, Transport::resume is called when it may.
  bool wants_more();
  void written();
  void closed();
  // Ends the connection from our side.
  void close();
  // Says one error outside any request, then closes.
  void refuse(protocol::RpcCode code, std::string_view sentence);

  bool wants_moments() const { return moments_; }
  void offer_moment(const Buffer& message);
  void offer_status(const Buffer& message);
  void log_grew();

  // For methods.
  ClientId id() const { return id_; }
  Room& room() { return room_; }
  bool trusted() const { return trusted_; }
  // False when the token is wrong.
  bool show_token(const std::optional<std::string>& token);
  struct Topics {
    bool moment = false, status = false, log = false;
  };
  void subscribe(Topics more, std::optional<takes::LineNumber> log_from);
  void unsubscribe(Topics fewer);
  Topics topics() const { return {moments_, statuses_, log_}; }
  // The line that is sent next, or would be.
  takes::LineNumber log_next() const;

 private:
  bool may_begin() const {
    return transport_ != nullptr && reply_bytes_ < kMostReplyBytes &&
           (calls_ == 0 || (calls_ < kMostCalls && load_->calls < kMostCallsOfAll));
  }
  bool has_room() const { return !pending_ && may_begin(); }
  std::size_t unread() const { return reply_bytes_ + gathered_; }
  bool fits(std::size_t bytes) const;
  void keep_reply(Buffer reply);
  void go_on();
  void pump();
  Buffer next();
  Buffer next_line();
  void fetch();

  const ClientId id_;
  Room& room_;
  const std::shared_ptr<Load> load_;
  bool trusted_;
  std::shared_ptr<Transport> transport_;
  bool writing_ = false, pumping_ = false, going_on_ = false, paused_ = false, again_ = false,
       closing_ = false, gone_ = false;

  std::deque<Buffer> replies_;
  std::size_t reply_bytes_ = 0;        // of replies_
  std::size_t gathered_ = 0;           // of batches that are not answered to the end
  std::size_t calls_ = 0;              // begun and unanswered
  std::shared_ptr<Incoming> pending_;  // the message that has calls to begin
  bool moments_ = false, statuses_ = false, log_ = false;
  Buffer moment_, status_;                                   // unread
  bool line_next_ = false;                                   // state and log take turns
  takes::LineNumber log_next_ = 0;                           // to be sent next
  std::deque<std::pair<takes::LineNumber, Buffer>> replay_;  // lines from log_next_ on
  bool fetching_ = false;
};

// Compares without telling by its duration how much was right.
bool same_token(std::string_view a, std::string_view b);

}  // namespace undersong::server
