// Session: one client, connected in any way: its requests, its subscriptions, and the messages that wait to
// be sent to it.
//
// Bounds, so that a slow or greedy client harms nobody:
// - State: one unread message of each kind.
// - Log: a position, and at most kReplayLines lines read from the store.
// - Calls: at most kMostCalls are unanswered at a time, counting each call of a batch, and at most
//   kMostCallsOfAll for all clients together; but every client may always have one. The next call is begun,
//   and the next message is read, when there is room.
// - Answers: while a client has kMostReplyBytes to read, no call is begun for it. If the answers to a batch
//   grow to kMostReplyBytes, the rest of the batch is refused. Answers to calls under way are kept up to
//   kMostUnreadBytes, and up to kMostUnreadBytesOfAll for all clients together; beyond that the client gets
//   an error instead. A client that has nothing to read may get one answer of any length.
// - A file that it sends: upload.h.
// The bounds are common practice, no source.
//
// Threads: the io thread.
// Errors: sent to the client as JSON-RPC errors.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/live/client_keys.h"
#include "daemon/server/places.h"
#include "daemon/server/publisher.h"
#include "daemon/server/upload.h"
#include "daemon/server/visitor.h"
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

// The connection to a client. The transport and its session hold references to each other from `start` to
// `closed`, because a transport that pauses reading has no operation under way that would keep it alive. The
// session calls these functions on the io thread.
class Transport {
 public:
  virtual ~Transport() = default;
  // True: the message was sent. False: it is being sent; the transport then calls Session::written, or
  // Session::closed if sending failed. There is no other write until then.
  virtual bool write(const Buffer& message) = 0;
  // There is room for messages again: the transport continues to read.
  virtual void resume() = 0;
  virtual void close() = 0;
};

class Songs;
class Pairing;
class Incoming;

// What all clients together have under way. Shared, because answers may come after the Room is gone.
struct Load {
  std::size_t calls = 0;  // begun and not answered
  std::size_t bytes = 0;  // of answers that were not sent yet
  Upload::Held uploaded = std::make_shared<std::uint64_t>(0);
};

// What all sessions share.
struct Room {
  live::Stage& stage;
  takes::Store& store;
  takes::Fetcher& fetcher;  // for work of milliseconds
  song::Studies& studies;   // for work of about a second
  Songs& songs;
  Pairing& pairing;
  Publisher& publisher;
  // Called on the io thread; the messages about the current state.
  std::function<Buffer()> newest_moment, newest_status;
  // Called on the io thread after a request changed the status.
  std::function<void()> publish_status;
  // Called on the io thread; runs the work there soon, not during the call.
  std::function<void(std::function<void()>)> post;
  std::string program_version;
  Places places;
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

  Session(ClientId id, Room& room, Visitor visitor)
      : id_(id), room_(room), load_(room.load), visitor_(std::move(visitor)) {}
  ~Session() { load_->bytes -= unread(); }

  // Sends the greeting.
  void start(std::shared_ptr<Transport> transport);
  // The transport received one message. REQUIRES: wants_more().
  void received(std::string_view message);
  // Whether the transport may read another message. After false, the session calls Transport::resume when
  // there is room again.
  bool wants_more();
  // The transport has sent the message of its last write.
  void written();
  // The transport has lost the connection.
  void closed();
  // Closes the connection from our side.
  void close();
  // Sends an error that belongs to no request, then closes the connection.
  void refuse(protocol::RpcCode code, std::string_view sentence);

  bool wants_moments() const { return moments_; }
  void offer_moment(const Buffer& message);
  void offer_status(const Buffer& message);
  void log_grew();

  // For the functions that answer requests (handlers.h).
  ClientId id() const { return id_; }
  Room& room() { return room_; }
  bool trusted() const { return visitor_.trusted; }
  const Visitor& visitor() const { return visitor_; }
  // Checks the token, unless the client is trusted already.
  Shown show_token(const std::optional<std::string>& token);
  struct Topics {
    bool moment = false, status = false, log = false;
  };
  void subscribe(Topics more, std::optional<takes::LineNumber> log_from);
  void unsubscribe(Topics fewer);
  Topics topics() const { return {moments_, statuses_, log_}; }
  // The file that the client is sending.
  Upload& upload() { return upload_; }
  // The number of the next line to send. Without a subscription to the log: the next new line.
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
  Visitor visitor_;
  std::shared_ptr<Transport> transport_;
  bool writing_ = false, pumping_ = false, going_on_ = false, paused_ = false, again_ = false,
       closing_ = false, gone_ = false;

  std::deque<Buffer> replies_;
  std::size_t reply_bytes_ = 0;        // of replies_
  std::size_t gathered_ = 0;           // bytes of answers in batches that are not complete
  std::size_t calls_ = 0;              // begun and not answered
  std::shared_ptr<Incoming> pending_;  // the message that still has calls to begin
  bool moments_ = false, statuses_ = false, log_ = false;
  Buffer moment_, status_;                                   // unread
  bool line_next_ = false;                                   // state and log take turns
  takes::LineNumber log_next_ = 0;                           // the next line to send
  std::deque<std::pair<takes::LineNumber, Buffer>> replay_;  // lines from log_next_ on
  bool fetching_ = false;
  Upload upload_{load_->uploaded};
};

}  // namespace undersong::server
