// answer_aside: makes a long answer, and writes it as JSON text, on another thread than `io`.
//
//   answer_aside<protocol::TakeNotes>(session.room().fetcher, wish.take, to.reply,
//                                     [](const takes::Store::Midi& take) -> Result<protocol::TakeNotes> { ...
//                                     });
//
// Threads: call on the io thread. `make` runs on the thread behind the Aside, the Fetcher (`answers`) or the
// Studies (`aside`). The reply is given on the io thread.
// Errors: those of `make`, of the store, and of base/aside.h.
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

// Passes a text that was made on another thread on to the reply.
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

// The answer needs no take: make(). `while_what` completes the phrase "while ...".
template <class T, class Make>
void answer_aside(const Aside& aside, std::string while_what, Reply reply, Make make) {
  aside.answer<std::string>(std::move(while_what), as_text(std::move(reply)),
                            [make = std::move(make)] { return text_of<T>(make()); });
}
// The answer is about a kept take, or about the newest: make(take).
template <class T, class Make>
void answer_aside(takes::Fetcher& fetcher, std::optional<takes::TakeId> take, Reply reply, Make make) {
  fetcher.with_take<std::string>(
      take, as_text(std::move(reply)),
      [make = std::move(make)](const takes::Store::Midi& midi) { return text_of<T>(make(midi)); });
}
// The answer needs the study of the take: make(take, study).
template <class T, class Make>
void answer_aside(song::Studies& studies, std::optional<takes::TakeId> take, Reply reply, Make make) {
  studies.with_study<std::string>(
      take, as_text(std::move(reply)),
      [make = std::move(make)](const takes::Store::Midi& midi, const song::TakeStudy& study) {
        return text_of<T>(make(midi, study));
      });
}

// An answer that was kept with the study of the take (song/describer.h); without one, `study` works it out.
inline void answer_kept(takes::Store& store, std::optional<takes::TakeId> take, std::string name, Reply reply,
                        std::function<void()> study) {
  store.kept_answer(
      take, std::move(name),
      [reply = std::move(reply), study = std::move(study)](Result<std::optional<std::string>> kept) {
        if (!kept) return reply.error(kept.error());
        if (!*kept) return study();
        reply.result(std::move(**kept));
      });
}

}  // namespace undersong::server
