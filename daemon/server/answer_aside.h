// Answers that are long: made, and written as text, on another thread than `io`.
//
//   answer_aside<protocol::TakeNotes>(session.room().fetcher, wish.take, to.reply,
//                                     [](const takes::Store::Midi& take) -> Result<protocol::TakeNotes> { ...
//                                     });
//
// Threads: called on io; `make` runs aside. Errors: those of `make`, of the store, and of base/aside.h.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <utility>

#include "daemon/server/rpc.h"
#include "daemon/song/studies.h"
#include "daemon/takes/fetcher.h"
#include "protocol/json.h"

namespace undersong::server {

// A text that is made aside as a reply.
inline takes::Store::Answer<std::string> as_text(Reply reply) {
  return [reply = std::move(reply)](Result<std::string> text) {
    if (!text) return reply.error(text.error());
    reply.result(std::move(*text));
  };
}

template <class T>
Result<std::string> text_of(const Result<T>& made) {
  if (!made) return made.error();
  return protocol::to_json(*made);
}

// Of what is at hand. `while_what` goes on "while ...".
template <class T, class Make>
void answer_aside(const Aside& aside, std::string while_what, Reply reply, Make make) {
  aside.answer<std::string>(std::move(while_what), as_text(std::move(reply)),
                            [make = std::move(make)] { return text_of<T>(make()); });
}
// Of a kept take: make(take).
template <class T, class Make>
void answer_aside(takes::Fetcher& fetcher, std::optional<takes::TakeId> take, Reply reply, Make make) {
  fetcher.with_take<std::string>(
      take, as_text(std::move(reply)),
      [make = std::move(make)](const takes::Store::Midi& midi) { return text_of<T>(make(midi)); });
}
// Of its study: make(take, study).
template <class T, class Make>
void answer_aside(song::Studies& studies, std::optional<takes::TakeId> take, Reply reply, Make make) {
  studies.with_study<std::string>(
      take, as_text(std::move(reply)),
      [make = std::move(make)](const takes::Store::Midi& midi, const song::TakeStudy& study) {
        return text_of<T>(make(midi, study));
      });
}

}  // namespace undersong::server
