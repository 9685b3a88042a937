// Requests that read kept takes.
#include <chrono>
#include <memory>
#include <utility>

#include "daemon/live/stage.h"
#include "daemon/server/answer_aside.h"
#include "daemon/server/digest_wire.h"
#include "daemon/server/find_wire.h"
#include "daemon/server/handlers.h"
#include "daemon/server/moment_wire.h"
#include "daemon/server/session.h"
#include "daemon/server/take_wire.h"
#include "daemon/server/wire.h"
#include "daemon/takes/question.h"

namespace undersong::server {
namespace {

// Makes the reply from an answer of the store, on the thread `answers`: make(found).
template <class T, class Found, class Make>
takes::Store::Answer<Found> aside_from_store(Session& session, const char* while_what, To<T> to, Make make) {
  return [&aside = session.room().fetcher.aside(), while_what, to, make](Result<Found> found) {
    if (!found) return to(found.error());
    const auto kept = std::make_shared<const Found>(std::move(*found));
    answer_aside<T>(aside, while_what, to.reply, [kept, make]() -> Result<T> { return make(*kept); });
  };
}

}  // namespace

void answer(Session& session, const protocol::ListTakes& wish, To<protocol::TakeList> to) {
  session.room().store.list(search_of(wish),
                            aside_from_store<protocol::TakeList, takes::Found>(
                                session, "takes were listed", to, [](const takes::Found& found) {
                                  protocol::TakeList list;
                                  list.more = found.more;
                                  for (const auto& take : found.takes) list.takes.push_back(summary_of(take));
                                  return list;
                                }));
}

void answer(Session& session, const protocol::GetTake& wish, To<protocol::TakeDetail> to) {
  session.room().store.detail(wish.take, aside_from_store<protocol::TakeDetail, takes::Detail>(
                                             session, "a take was shown", to, detail_of));
}

void answer(Session& session, const protocol::FindMoments& wish, To<protocol::FoundMoments> to) {
  const auto utc_ms = std::chrono::duration_cast<std::chrono::milliseconds>(
                          std::chrono::system_clock::now().time_since_epoch())
                          .count();
  auto search = search_of(wish, utc_ms);
  if (!search) return to(search.error());
  const std::string understood = takes::in_words(search->question);
  session.room().store.find(std::move(*search), aside_from_store<protocol::FoundMoments, takes::FoundMoments>(
                                                    session, "a question was answered", to,
                                                    [understood](const takes::FoundMoments& found) {
                                                      return found_of(found, understood);
                                                    }));
}

void answer(Session& session, const protocol::FindPlayed& wish, To<protocol::FoundTakes> to) {
  auto& room = session.room();
  const auto look = [&room, to](Result<takes::FindQuery> query) {
    if (!query) return to(query.error());
    const auto notes = query->print.notes.size();
    room.store.find_places(std::move(*query), [to, notes](Result<takes::FoundPlaces> found) {
      if (!found) return to(found.error());
      to(found_takes_of(*found, notes));
    });
  };
  if (wish.notes)
    return room.fetcher.aside().answer<takes::FindQuery>("what was played was listened to", look,
                                                         [notes = *wish.notes] { return query_of(notes); });
  room.fetcher.with_take<takes::FindQuery>(
      wish.take, look, [wish](const takes::Store::Midi& take) { return query_of(wish, take); });
}

void answer(Session& session, const protocol::GetMeetings& wish, To<protocol::TakeMeetings> to) {
  session.room().store.meetings(
      wish.take,
      aside_from_store<protocol::TakeMeetings, takes::TakeMeetings>(
          session, "a take was shown", to, [](const takes::TakeMeetings& met) { return meetings_of(met); }));
}

void answer(Session& session, const protocol::GetSimilar& wish, To<protocol::SimilarTakes> to) {
  session.room().store.similar(wish.take, aside_from_store<protocol::SimilarTakes, takes::SimilarTakes>(
                                              session, "similar takes were looked for", to, similar_of));
}

void answer(Session& session, const protocol::GetPicture& wish, To<protocol::TakePicture> to) {
  session.room().store.about(wish.take, aside_from_store<protocol::TakePicture, takes::AboutTake>(
                                            session, "a take was pictured", to, picture_of));
}

void answer(Session& session, const protocol::GetDigest& wish, To<protocol::Digest> to) {
  session.room().store.digest(search_of(wish), aside_from_store<protocol::Digest, takes::FoundDigest>(
                                                   session, "an evening was looked through", to, digest_of));
}

void answer(Session& session, const protocol::GetEvents& wish, To<protocol::TakeLines> to) {
  const std::size_t limit = wish.limit ? static_cast<std::size_t>(wish.limit->value) : 500;
  const takes::LineNumber from = wish.from.value_or(1);
  session.room().store.lines(
      wish.take, from, limit + 1, wish.kinds ? kinds_of(*wish.kinds) : std::vector<takes::LineKind>(),
      [&aside = session.room().fetcher.aside(), to, limit, from](Result<std::vector<takes::Line>> lines) {
        if (!lines) return to(lines.error());
        const auto kept = std::make_shared<std::vector<takes::Line>>(std::move(*lines));
        aside.answer<std::string>("lines were shown", as_text(to.reply), [kept, limit, from] {
          return Result<std::string>(lines_text(std::move(*kept), limit, from));
        });
      });
}

void answer(Session& session, const protocol::GetNotes& wish, To<protocol::TakeNotes> to) {
  answer_aside<protocol::TakeNotes>(
      session.room().fetcher, wish.take, to.reply,
      [](const takes::Store::Midi& take) -> Result<protocol::TakeNotes> { return notes_of(take); });
}

void answer(Session& session, const protocol::GetThumbnail& wish, To<protocol::TakeThumbnail> to) {
  const std::size_t spans = wish.spans ? static_cast<std::size_t>(wish.spans->value) : 96;
  answer_aside<protocol::TakeThumbnail>(
      session.room().fetcher, wish.take, to.reply,
      [spans](const takes::Store::Midi& take) -> Result<protocol::TakeThumbnail> {
        return thumbnail_of(take, spans);
      });
}

void answer(Session& session, const protocol::GetPasses& wish, To<protocol::TakePasses> to) {
  constexpr std::size_t kMostPasses = 20'000;  // days of playing along
  auto& room = session.room();
  room.store.midi(wish.take, [to, &room](Result<takes::Store::Midi> found) {
    if (!found) return to(found.error());
    const auto take = std::make_shared<const takes::Store::Midi>(std::move(*found));
    room.store.lines(take->detail.summary.take, 1, kMostPasses,
                     {takes::LineKind::kAlong, takes::LineKind::kPass},
                     [to, &room, take](Result<std::vector<takes::Line>> lines) {
                       if (!lines) return to(lines.error());
                       const auto kept = std::make_shared<const std::vector<takes::Line>>(std::move(*lines));
                       answer_aside<protocol::TakePasses>(room.fetcher.aside(), "passes were shown", to.reply,
                                                          [take, kept] { return passes_of(*take, *kept); });
                     });
  });
}

void answer(Session& session, const protocol::ExportTake& wish, To<protocol::ExportedTake> to) {
  answer_aside<protocol::ExportedTake>(session.room().fetcher, wish.take, to.reply, export_of);
}

}  // namespace undersong::server
