#include "daemon/takes/replay.h"

#include <algorithm>
#include <array>
#include <bitset>
#include <cmath>
#include <map>

namespace undersong::takes {
namespace {

constexpr std::uint8_t kBankHigh = 0, kVolume = 7, kBankLow = 32, kModes = 120;

bool is_strike(const midi::Event& e) {
  return e.size == 3 && e.kind() == midi::kNoteOn && e.bytes[2] > 0;
}

bool belongs(const midi::Event& e) {
  if (e.size < 2 || e.status() < 0x80 || e.status() >= 0xF0) return false;
  if (e.kind() == 0xC0) return false;
  return e.kind() != midi::kControlChange ||
         (e.bytes[1] != kBankHigh && e.bytes[1] != kVolume && e.bytes[1] != kBankLow);
}

// Messages of which only the newest matters at the beginning of a span.
bool lasts(const midi::Event& e) {
  return (e.kind() == midi::kControlChange && e.bytes[1] < kModes) || e.kind() == 0xE0 || e.kind() == 0xD0;
}

}  // namespace

midi::Score replay(const std::vector<midi::Event>& events, Micros from, Micros to, Velocity mean, bool held) {
  double sum = 0, count = 0;
  for (const midi::Event& e : events)
    if (is_strike(e)) sum += e.bytes[2], ++count;
  const double scale = count > 0 ? std::min(1.0, mean.value() / (sum / count)) : 1.0;
  midi::Score score;
  score.length = std::max(to - from, Micros(0));
  std::map<std::pair<std::uint8_t, std::uint8_t>, midi::Event> before;  // by status and controller
  bool begun = false;
  std::array<std::bitset<128>, 16> struck{};  // struck within the span; others get no note-off here
  // By channel and key; false: only the pedal holds it.
  std::map<std::pair<std::uint8_t, std::uint8_t>, std::pair<midi::Event, bool>> sounding;
  std::array<bool, 16> pedal{};
  const auto follow = [&](const midi::Event& e) {
    const std::pair key(e.channel(), e.bytes[1]);
    if (is_strike(e)) {
      sounding[key] = {e, true};
    } else if (e.kind() == midi::kNoteOn || e.kind() == midi::kNoteOff) {
      if (!pedal[e.channel()])
        sounding.erase(key);
      else if (const auto known = sounding.find(key); known != sounding.end())
        known->second.second = false;
    } else if (e.kind() == midi::kControlChange && e.size == 3 && e.bytes[1] == 64) {
      pedal[e.channel()] = e.bytes[2] >= 64;
      if (!pedal[e.channel()])
        std::erase_if(sounding, [&](const auto& each) {
          return each.first.first == e.channel() && !each.second.second;
        });
    }
  };
  const auto softened = [&](midi::Event e) {
    e.bytes[2] = static_cast<std::uint8_t>(std::max(1L, std::lround(e.bytes[2] * scale)));
    return e;
  };
  const auto begin = [&] {
    for (auto& [key, e] : before) {
      e.at = Micros(0);
      score.events.push_back(e);
    }
    for (const auto& [key, note] : sounding) {
      if (!held) break;
      midi::Event e = softened(note.first);
      e.at = Micros(0);
      score.events.push_back(e);
      if (note.second) {
        struck[e.channel()].set(e.bytes[1] & 0x7F);
      } else {
        e.bytes[2] = 0;
        score.events.push_back(e);
      }
    }
    begun = true;
  };
  for (midi::Event e : events) {
    if (!belongs(e) || e.at >= to) continue;
    if (e.at < from) {
      follow(e);
      if (lasts(e)) before[{e.status(), e.kind() == midi::kControlChange ? e.bytes[1] : std::uint8_t{0}}] = e;
      continue;
    }
    if (!begun) begin();
    e.at -= from;
    if (is_strike(e)) {
      struck[e.channel()].set(e.bytes[1] & 0x7F);
      e = softened(e);
    } else if ((e.kind() == midi::kNoteOn || e.kind() == midi::kNoteOff) &&
               !struck[e.channel()][e.bytes[1] & 0x7F]) {
      continue;
    }
    score.events.push_back(e);
  }
  if (!begun) begin();
  // Received events are in order, but a file from another program may not be.
  std::stable_sort(score.events.begin(), score.events.end(),
                   [](const midi::Event& a, const midi::Event& b) { return a.at < b.at; });
  return score;
}

}  // namespace undersong::takes
