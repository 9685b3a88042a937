// Requests about the player's own harmony: get, erase.
#include <utility>

#include "daemon/harmony/alternatives.h"
#include "daemon/live/stage.h"
#include "daemon/server/handlers.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/session.h"

namespace undersong::server {
namespace {

constexpr harmony::Key kShownIn{PitchClass(0), harmony::Mode::kMajor};

// A chord of the table, as in C major or A minor.
protocol::Chord shown(std::uint8_t chord) {
  const harmony::Chord made = harmony::plainest(chord);
  return chord_parts(made, harmony::root_name_in(made, kShownIn));
}

protocol::OwnIdiom idiom_of(const takes::OwnIdiom& own) {
  protocol::OwnIdiom out;
  out.takes = own.takes;
  if (own.since_utc_ms) out.since_utc_ms = *own.since_utc_ms;
  if (own.erased_utc_ms) out.erased_utc_ms = *own.erased_utc_ms;
  const auto show = [](const std::vector<harmony::PlayerCounts::Habit>& habits,
                       std::vector<protocol::Habit>& to) {
    for (const auto& each : habits) {
      protocol::Habit habit;
      habit.chord = shown(each.chord);
      if (each.last != harmony::PlayedChord::kNoChord) habit.after = shown(each.last);
      habit.share = each.share;
      to.push_back(std::move(habit));
    }
  };
  show(own.chords, out.chords);
  show(own.steps, out.steps);
  return out;
}

}  // namespace

void answer(Session& session, const protocol::GetIdiom&, To<protocol::OwnIdiom> to) {
  to(idiom_of(session.room().stage.own().now()));
}

void answer(Session& session, const protocol::EraseIdiom&, To<protocol::OwnIdiom> to) {
  auto& stage = session.room().stage;
  stage.own().erase(stage.utc_ms(), [to](Result<takes::OwnIdiom> left) {
    if (!left) return to(left.error());
    to(idiom_of(*left));
  });
}

}  // namespace undersong::server
