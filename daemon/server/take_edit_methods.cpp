// Requests that write to the log of takes: mark, unmark, judge, end, rename, annotate, correct a chord,
// delete, restore.
#include <algorithm>
#include <string>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/live/stage.h"
#include "daemon/server/digest_wire.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"
#include "daemon/takes/take_times.h"

namespace undersong::server {
namespace {

// Answers with the number of the line that was written.
takes::Store::Answer<takes::LineNumber> kept(To<protocol::Kept> to) {
  return [to](Result<takes::LineNumber> number) {
    if (!number) return to(number.error());
    to(protocol::Kept{*number});
  };
}

void edit(Session& session, takes::LineKind kind, takes::TakeId take, std::string text,
          To<protocol::Kept> to) {
  auto& room = session.room();
  room.store.edit(kind, take, room.stage.performance().now(), std::move(text), kept(to));
}

}  // namespace

void answer(Session& session, const protocol::MarkTake& wish, To<protocol::Kept> to) {
  auto& performance = session.room().stage.performance();
  performance.mark(performance.now(), wish.text.value_or(""), kept(to));
}

void answer(Session& session, const protocol::UnmarkTake& wish, To<protocol::Kept> to) {
  if (!wish.take != !wish.line)
    return to(invalid_input("params.take and params.line belong together: give both or neither."));
  if (!wish.take) return session.room().stage.performance().undo_mark(kept(to));
  edit(session, takes::LineKind::kUnmark, *wish.take, std::to_string(*wish.line), to);
}

void answer(Session& session, const protocol::JudgeMoment& wish, To<protocol::Kept> to) {
  const auto said = judgement_of(wish);
  if (!said) return to(said.error());
  edit(session, takes::LineKind::kVerdict, wish.take, takes::text(*said), to);
}

void answer(Session& session, const protocol::EndTake&, To<protocol::Kept> to) {
  auto& performance = session.room().stage.performance();
  performance.end_take(performance.now(), takes::EndReason::kRequest, kept(to));
}

void answer(Session& session, const protocol::RenameTake& wish, To<protocol::Kept> to) {
  edit(session, takes::LineKind::kRename, wish.take, wish.title, to);
}

void answer(Session& session, const protocol::AnnotateTake& wish, To<protocol::Kept> to) {
  edit(session, takes::LineKind::kAnnotate, wish.take, wish.text, to);
}

void answer(Session& session, const protocol::DeleteTake& wish, To<protocol::Kept> to) {
  edit(session, takes::LineKind::kDelete, wish.take, "", to);
}

void answer(Session& session, const protocol::RestoreTake& wish, To<protocol::Kept> to) {
  edit(session, takes::LineKind::kRestore, wish.take, "", to);
}

void answer(Session& session, const protocol::CorrectTake& wish, To<protocol::Kept> to) {
  if (wish.harte != "N" && !harmony::parse_harte(wish.harte))
    return to(invalid_input("params.harte is not a chord in Harte syntax: " + wish.harte + "."));
  auto& store = session.room().store;
  const Micros time = session.room().stage.performance().now();
  store.detail(wish.take, [to, wish, time, &store](Result<takes::Detail> detail) {
    if (!detail) return to(detail.error());
    auto summary = detail->summary;
    if (!summary.ended) summary.last_at = std::max(summary.last_at, time);  // it is still being played
    if (const auto wrong = takes::outside(summary, Micros(wish.at), "params.at")) return to(*wrong);
    store.edit(takes::LineKind::kCorrection, wish.take, Micros(wish.at), wish.harte, kept(to));
  });
}

}  // namespace undersong::server
