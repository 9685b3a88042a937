// Requests about what is made from takes: loops, other chords, parts, sketches of songs.
#include "daemon/server/answer_aside.h"
#include "daemon/server/digest_wire.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"
#include "daemon/server/songs.h"

namespace undersong::server {

void answer(Session& session, const protocol::GetLoop& wish, To<protocol::TakeLoop> to) {
  auto& room = session.room();
  answer_kept(room.store, wish.take, kKeptLoop, to.reply,
              [&room, wish, to] { room.songs.loop(wish, as_text(to.reply)); });
}
void answer(Session& session, const protocol::Reharmonise& wish, To<protocol::Reharmonised> to) {
  session.room().songs.reharmonise(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::HandOverTake& wish, To<protocol::HandedOver> to) {
  session.room().songs.hand_over(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::ProposeSketch& wish, To<protocol::SongSketch> to) {
  session.room().songs.propose(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::PutSketch& wish, To<protocol::KeptSketch> to) {
  session.room().songs.put(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::GetKeptSketch& wish, To<protocol::KeptSketch> to) {
  session.room().songs.get(wish.name, as_text(to.reply));
}
void answer(Session& session, const protocol::ListSketches&, To<protocol::SketchList> to) {
  session.room().songs.list(as_text(to.reply));
}
void answer(Session& session, const protocol::OutlineSketch& wish, To<protocol::SketchOutline> to) {
  session.room().songs.outline(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::HandOverSketch& wish, To<protocol::HandedOver> to) {
  session.room().songs.hand_over_sketch(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::GrowSketch& wish, To<protocol::GrownSketch> to) {
  session.room().songs.grow(wish, as_text(to.reply));
}
void answer(Session& session, const protocol::DeleteSketch& wish, To<protocol::SketchName> to) {
  session.room().songs.remove(wish.name, as_text(to.reply));
}

}  // namespace undersong::server
