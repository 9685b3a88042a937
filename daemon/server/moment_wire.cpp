#include "daemon/server/moment_wire.h"

#include <algorithm>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::server {
namespace {

std::string symbol_of(const std::string& harte, harmony::SymbolStyle style) {
  const auto parsed = harmony::parse_harte(harte);
  return parsed ? harmony::symbol(parsed->chord, parsed->root, style) : harte;
}

}  // namespace

protocol::FoundMoments found_of(const takes::FoundMoments& found, const std::string& understood,
                                harmony::SymbolStyle style) {
  protocol::FoundMoments out;
  out.understood = understood;
  out.unheard = found.unheard;
  if (found.next) out.next = std::to_string(found.next->take) + ":" + std::to_string(found.next->left);
  for (const auto& near : found.near) out.near.push_back({near.words, near.moments});
  for (const auto& moment : found.moments) {
    protocol::FoundMoment made;
    made.take = moment.take;
    made.title = moment.title;
    made.begin_utc_ms = moment.begin_utc_ms;
    made.at = moment.at.count();
    made.from_us = std::max<std::int64_t>(0, (moment.at - moment.take_at).count());
    made.length_us = moment.length.count();
    for (const auto& harte : moment.harte) made.chords.push_back({symbol_of(harte, style), harte});
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

protocol::TakeMeetings meetings_of(const takes::TakeMeetings& met, harmony::SymbolStyle style) {
  protocol::TakeMeetings out;
  out.take = met.take;
  out.heard = met.heard;
  for (const auto& statement : met.statements)
    out.statements.push_back(
        {statement.at.count(), statement.length.count(), symbol_of(statement.harte, style), statement.harte});
  for (const auto& each : met.meetings) {
    const auto parsed = harmony::parse_harte(each.facts.harte);
    protocol::LoggedMeeting made;
    made.pitch = each.facts.pitch.value();
    made.name = each.facts.name;
    made.degree = each.facts.degree;
    made.symbol = symbol_of(each.facts.harte, style);
    made.harte = each.facts.harte;
    if (parsed) {
      made.root = parsed->chord.root.value();
      made.bass = parsed->chord.bass.value();
      made.family = static_cast<protocol::Family>(harmony::row(parsed->chord.quality).family);
    }
    made.length_us = each.facts.length.count();
    made.time = each.facts.time;
    if (!each.facts.key.empty()) made.key = each.facts.key;
    out.at.push_back(each.at.count());
    out.meetings.push_back(std::move(made));
  }
  return out;
}

}  // namespace undersong::server
