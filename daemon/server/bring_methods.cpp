// The request take.bring: a MIDI file that a client sends in pieces becomes a take.
//
// In four steps: the file is read on the thread "aside"; the store is asked whether its notes are there
// already, which is much quicker than the rest; the file is analysed on "aside"; the store writes it.
#include <functional>
#include <memory>
#include <utility>

#include "daemon/live/stage.h"
#include "daemon/midi/smf.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"
#include "daemon/song/studies.h"
#include "daemon/takes/bring.h"
#include "daemon/takes/bring_date.h"
#include "protocol/base64.h"

namespace undersong::server {
namespace {

struct Bringing {
  std::string title;
  std::uint64_t size = 0;
  std::int64_t utc_ms = 0;
  std::vector<midi::Event> events;
  std::vector<takes::FindNote> notes;
};
using Shared = std::shared_ptr<Bringing>;

// Without folders and its ending.
std::string title_of(const std::string& file) {
  const std::string name = file.substr(file.find_last_of("/\\") + 1);
  const auto dot = name.rfind('.');
  return dot == std::string::npos || dot == 0 ? name : name.substr(0, dot);
}

Result<Shared> read(const Shared& bringing, const std::vector<std::uint8_t>& bytes) {
  const auto smf = midi::read_smf(bytes);
  if (!smf) return smf.error();
  auto events = takes::events_to_bring(*smf);
  if (!events) return events.error();
  bringing->events = std::move(*events);
  bringing->notes = takes::notes_to_bring(bringing->events);
  return bringing;
}

// Takes of older versions must be recognised too.
void when_prepared(const Room& room, const std::function<void(Result<void>)>& then) {
  constexpr std::size_t kAtOnce = 5;
  room.store.make_find_prints(kAtOnce, [&room, then](Result<std::uint64_t> left) {
    if (!left) return then(left.error());
    if (*left > 0) return when_prepared(room, then);
    then({});
  });
}

void keep(const Room& room, const Shared& bringing, const To<protocol::BroughtTake>& to) {
  const auto finish = [to, size = bringing->size, utc_ms = bringing->utc_ms](Result<takes::Brought> brought) {
    if (!brought) return to(brought.error());
    to(protocol::BroughtTake{size, brought->take, utc_ms, brought->known});
  };
  room.studies.fetcher().aside().answer<std::shared_ptr<takes::BroughtTake>>(
      "a file was analysed",
      [&store = room.store, finish](Result<std::shared_ptr<takes::BroughtTake>> take) {
        if (!take) return finish(take.error());
        store.bring(std::move(**take), finish);
      },
      [bringing]() -> Result<std::shared_ptr<takes::BroughtTake>> {
        return std::make_shared<takes::BroughtTake>(
            takes::bring(bringing->events, bringing->title, bringing->utc_ms));
      });
}

}  // namespace

void answer(Session& session, const protocol::BringTake& wish, To<protocol::BroughtTake> to) {
  const auto piece = protocol::from_base64(wish.base64);
  if (!piece) return to(invalid_input("params.base64 is not base64 text."));
  Upload& upload = session.upload();
  const auto complete = upload.add({wish.file, wish.size, wish.offset}, *piece);
  if (!complete) return to(complete.error());
  if (!*complete) return to(protocol::BroughtTake{upload.received(), {}, {}, false});

  const auto bringing = std::make_shared<Bringing>();
  bringing->title = title_of(wish.file);
  bringing->size = wish.size;
  const std::int64_t now = session.room().stage.utc_ms();
  bringing->utc_ms = takes::date_brought(bringing->title, wish.changed_utc_ms.value_or(now), now);
  const Room& room = session.room();
  room.studies.fetcher().aside().answer<Shared>(
      "a file was read",
      [&room, to](Result<Shared> read) {
        if (!read) return to(read.error());
        when_prepared(room, [&room, bringing = *read, to](Result<void> prepared) {
          if (!prepared) return to(prepared.error());
          room.store.known(bringing->notes,
                           [&room, bringing, to](Result<std::optional<takes::TakeId>> known) {
                             if (!known) return to(known.error());
                             if (!*known) return keep(room, bringing, to);
                             to(protocol::BroughtTake{bringing->size, **known, bringing->utc_ms, true});
                           });
        });
      },
      [bringing, bytes = upload.take()] { return read(bringing, bytes); });
}

}  // namespace undersong::server
