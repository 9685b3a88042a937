#include "daemon/takes/listen_again.h"

#include <algorithm>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::takes {
namespace {

listen::Settings names_only() {
  listen::Settings out;
  out.names_only = true;
  return out;
}

}  // namespace

ListenAgain::ListenAgain(const Summary& take, std::vector<midi::Event> events)
    : events_(std::move(events)), analysis_(names_only()) {
  heard_.take = take.take;
  heard_.end = std::max(take.last_at, events_.empty() ? take.last_at : events_.back().at);
  meetings_.begin_take(take.at);
}

void ListenAgain::hear(const listen::Analysis& analysis) {
  const auto& moment = analysis.moment();
  for (const auto& met : meetings_.hear(analysis)) {
    const Entry entry = meeting(met);
    heard_.meetings.push_back({entry.at, std::get<MeetingFacts>(entry.facts)});
  }
  if (analysis.findings().harmony)
    heard_.chords.push_back({moment.harmony->since, harmony::harte(moment.harmony->reading.chord,
                                                                   moment.harmony->reading.root_name)});
  if (analysis.findings().key) heard_.keys.push_back({moment.at, harmony::harte(moment.key->key)});
}

bool ListenAgain::step(std::size_t events) {
  const auto each = [this](const listen::Analysis& analysis) { hear(analysis); };
  for (; events > 0 && next_ < events_.size(); --events) listen::drive(analysis_, events_[next_++], each);
  if (next_ < events_.size()) return true;
  if (!events_.empty()) {
    listen::drive(analysis_, heard_.end, each);
    for (const auto& met : meetings_.end_take(heard_.end)) {
      const Entry entry = meeting(met);
      heard_.meetings.push_back({entry.at, std::get<MeetingFacts>(entry.facts)});
    }
  }
  events_.clear();
  next_ = 0;
  return false;
}

}  // namespace undersong::takes
