#include "daemon/server/moment_wire.h"

#include <algorithm>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/wire.h"

namespace undersong::server {

protocol::FoundMoments found_of(const takes::FoundMoments& found, const std::string& understood) {
  protocol::FoundMoments out;
  out.understood = understood;
  out.unheard = found.unheard;
  if (found.next) out.next = std::to_string(found.next->take) + ":" + std::to_string(found.next->left);
  for (const auto& near : found.near) out.near.push_back({near.words, near.moments});
  for (const auto& moment : found.moments) {
    protocol::FoundMoment made;
    made.take = moment.take;
    made.title = moment.title;
    if (moment.content) made.content = content_of(*moment.content);
    made.begin_utc_ms = moment.begin_utc_ms;
    made.at = moment.at.count();
    made.from_us = std::max<std::int64_t>(0, (moment.at - moment.take_at).count());
    made.length_us = moment.length.count();
    for (const auto& harte : moment.harte) put_chord(made.chords.emplace_back(), harte);
    if (moment.note) {
      made.pitch.emplace(moment.note->facts.pitch.value());
      made.name = moment.note->facts.name;
      made.degree = moment.note->facts.degree;
    }
    if (!moment.key.empty()) made.key = moment.key;
    made.time = moment.time;
    made.times = moment.times;
    out.moments.push_back(std::move(made));
  }
  return out;
}

protocol::TakeMeetings meetings_of(const takes::TakeMeetings& met) {
  protocol::TakeMeetings out;
  out.take = met.take;
  out.heard = met.heard;
  for (const auto& statement : met.statements) {
    protocol::TakeStatement& made = out.statements.emplace_back();
    put_chord(made, statement.harte);
    made.at = statement.at.count();
    made.length_us = statement.length.count();
  }
  for (const auto& each : met.meetings) {
    const auto parsed = harmony::parse_harte(each.facts.harte);
    protocol::LoggedMeeting made;
    made.pitch = each.facts.pitch.value();
    made.name = each.facts.name;
    made.degree = each.facts.degree;
    put_chord(made, each.facts.harte);
    if (parsed) made.family = static_cast<protocol::Family>(harmony::row(parsed->chord.quality).family);
    made.length_us = each.facts.length.count();
    made.time = each.facts.time;
    if (!each.facts.key.empty()) made.key = each.facts.key;
    out.at.push_back(each.at.count());
    out.meetings.push_back(std::move(made));
  }
  return out;
}

}  // namespace undersong::server
