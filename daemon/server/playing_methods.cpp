// Requests for sound: suggestions, kept takes, songs, loops to play along with, and notes that a client
// plays.
#include "daemon/live/stage.h"
#include "daemon/server/handlers.h"
#include "daemon/server/playing_wire.h"
#include "daemon/server/session.h"
#include "daemon/server/songs.h"

namespace undersong::server {
namespace {

takes::Store::Answer<live::Playing> playing(To<protocol::Playing> to) {
  return [to](Result<live::Playing> began) {
    if (!began) return to(began.error());
    to(playing_of(*began));
  };
}

}  // namespace

void answer(Session& session, const protocol::Hear& wish, To<protocol::Heard> to) {
  auto& player = session.room().stage.player();
  if (wish.stop.value_or(false)) {
    player.stop_hearing();
    return to(protocol::Heard());
  }
  const auto what = hear_wish_of(wish);
  if (!what) return to(what.error());
  const auto heard = player.hear(*what);
  if (!heard) return to(heard.error());
  protocol::Heard told = heard_of(*heard);
  if (player.output().unheard()) told.unheard = true;
  to(std::move(told));
}

void answer(Session& session, const protocol::PlayTake& wish, To<protocol::Playing> to) {
  session.room().stage.player().play_take(play_wish_of(wish), playing(to));
}

void answer(Session& session, const protocol::PlaySketch& wish, To<protocol::Playing> to) {
  auto& room = session.room();
  const Velocity usual(room.stage.settings().now().hear_velocity);
  room.stage.player().play_song(
      [&room, wish, usual](live::Player::Answer<song::SongScore> answer) {
        room.songs.score(wish, usual, std::move(answer));
      },
      playing(to));
}

void answer(Session& session, const protocol::PlayAlong& wish, To<protocol::Playing> to) {
  auto along = along_wish_of(wish);
  if (!along) return to(along.error());
  if (!wish.by_client.value_or(false)) return session.room().stage.player().play_along(*along, playing(to));
  along->sounded_by = session.id();
  session.room().stage.player().play_along(*along, [to](Result<live::Playing> began) {
    if (!began) return to(began.error());
    auto out = playing_of(*began);
    out.along->notes = sounding_notes(*began->along->score);
    to(std::move(out));
  });
}

void answer(Session& session, const protocol::StopPlaying&, To<protocol::Stopped> to) {
  to(protocol::Stopped{session.room().stage.player().stop()});
}

void answer(Session& session, const protocol::Hold& wish, To<protocol::Holding> to) {
  to(protocol::Holding{session.room().stage.performance().hold(wish.on)});
  session.room().publish_status();
}

void answer(Session& session, const protocol::SendNotes& wish, To<protocol::Accepted> to) {
  const auto accepted = session.room().stage.client_keys().play(session.id(), notes_of(wish.notes));
  if (!accepted) return to(accepted.error());
  to(protocol::Accepted{*accepted});
}

}  // namespace undersong::server
