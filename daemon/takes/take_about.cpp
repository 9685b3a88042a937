#include "daemon/takes/take_about.h"

#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <map>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/named_loops.h"

namespace undersong::takes {
namespace {

namespace json = boost::json;

constexpr std::size_t kShortestKnown = 3;  // chords; two to and fro are in every second take
constexpr std::uint32_t kCameBack = 4;  // times that a chord stood under a note, so that one came back to it
constexpr FindTime kLongestSung = 400;  // hundredths that a melody note lasts at most

// Root and family as one number; 0 if it is not a chord.
std::uint16_t chord_number(const std::string& harte) {
  const auto parsed = harmony::parse_harte(harte);
  if (!parsed) return 0;
  return static_cast<std::uint16_t>(1 + parsed->chord.root.value() * 16 +
                                    static_cast<int>(harmony::row(parsed->chord.quality).family));
}

bool within_loops(std::span<const AboutLoop> loops, Micros at) {
  return std::any_of(loops.begin(), loops.end(), [at](const AboutLoop& loop) {
    return std::any_of(loop.passes.begin(), loop.passes.end(), [at](const AboutPass& pass) {
      return pass.from <= at && at < pass.from + pass.length;
    });
  });
}

std::optional<std::vector<std::string>> texts(const json::value* value) {
  if (!value || !value->is_array()) return std::nullopt;
  std::vector<std::string> out;
  for (const json::value& each : value->get_array()) {
    if (!each.is_string()) return std::nullopt;
    out.emplace_back(each.get_string());
  }
  return out;
}

std::int64_t integer(const json::object& object, const char* name, std::int64_t otherwise = 0) {
  const json::value* value = object.if_contains(name);
  return value && value->is_int64() ? value->get_int64() : otherwise;
}

json::array array_of(const std::vector<std::string>& texts) {
  json::array out;
  for (const std::string& text : texts) out.emplace_back(text);
  return out;
}

}  // namespace

TakeAbout about_from_names(std::span<const Statement> statements, std::span<const KeptMeeting> meetings,
                           Micros begin) {
  TakeAbout out;
  std::vector<std::uint16_t> chords;
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < statements.size() && chords.size() < kMostNamedChords; ++i) {
    const std::uint16_t chord = chord_number(statements[i].harte);
    if (chord == 0 || (!chords.empty() && chords.back() == chord)) continue;
    chords.push_back(chord);
    places.push_back(i);
  }
  const auto names_of = [&](const ContentFound& found) {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < found.length; ++i) names.push_back(statements[places[found.begin + i]].harte);
    return names;
  };
  const auto all = named_loops(chords);
  const ContentFound first = all.empty() ? take_content(chords) : all.front();
  out.content.chords = names_of(first);
  out.content.times = first.times;
  for (const ContentFound& found : all) {
    AboutLoop loop{names_of(found), {}};
    const Micros end = statements.back().at + statements.back().length;
    for (const std::size_t round : found.rounds) {
      const Micros from = statements[places[round]].at;
      const std::size_t next = round + found.length;
      const Micros to = next < places.size() ? statements[places[next]].at : end;
      loop.passes.push_back({from - begin, to - from, 0, false});
    }
    out.loops.push_back(std::move(loop));
  }
  out.content.circled = circled(out.loops);
  out.content.returns = returns(meetings, out.loops, begin);
  return out;
}

std::vector<std::uint8_t> melody_picture(std::span<const FindNote> melody, Micros length) {
  std::vector<std::uint8_t> out(kPictureSpans, 0);
  const double span = static_cast<double>(std::max<std::int64_t>(1, length.count())) / 10'000 / kPictureSpans;
  std::array<double, 128> sounds{};
  std::size_t first = 0;
  for (std::size_t i = 0; i < kPictureSpans; ++i) {
    const double from = static_cast<double>(i) * span, to = from + span;
    sounds.fill(0);
    const auto until = [&](std::size_t k) {
      const FindTime next = k + 1 < melody.size() ? melody[k + 1].at : kLongestFind;
      return static_cast<double>(std::min(next, melody[k].at + kLongestSung));
    };
    while (first < melody.size() && until(first) <= from) ++first;
    for (std::size_t k = first; k < melody.size() && melody[k].at < to; ++k)
      sounds[melody[k].key & 127] +=
          std::max(0., std::min(to, until(k)) - std::max(from, static_cast<double>(melody[k].at)));
    const auto longest = std::max_element(sounds.begin(), sounds.end());
    if (*longest > 0) out[i] = static_cast<std::uint8_t>(longest - sounds.begin());
  }
  return out;
}

std::vector<AboutLoop> with_others(std::vector<AboutLoop> loops, const std::vector<AboutLoop>& others) {
  constexpr std::size_t kFewestTimes = 3;
  const std::vector<AboutLoop> studied = loops;
  for (AboutLoop other : others) {
    std::erase_if(other.passes,
                  [&](const AboutPass& pass) { return within_loops(studied, pass.from + pass.length / 2); });
    if (other.passes.size() >= kFewestTimes) loops.push_back(std::move(other));
  }
  return loops;
}

Micros circled(std::span<const AboutLoop> loops) {
  std::vector<std::pair<Micros, Micros>> all;
  for (const AboutLoop& loop : loops)
    for (const AboutPass& pass : loop.passes) all.emplace_back(pass.from, pass.from + pass.length);
  std::sort(all.begin(), all.end());
  Micros out{}, until = all.empty() ? Micros{} : all.front().first;
  for (const auto& [from, to] : all) {
    if (to <= until) continue;
    out += to - std::max(from, until);
    until = to;
  }
  return out;
}

std::uint32_t returns(std::span<const KeptMeeting> meetings, std::span<const AboutLoop> loops, Micros begin) {
  std::map<std::pair<int, std::uint16_t>, std::uint32_t> times;
  std::map<std::pair<int, std::uint16_t>, std::uint32_t> last;
  for (const KeptMeeting& met : meetings) {
    if (within_loops(loops, met.at - begin)) continue;
    const std::pair key{met.facts.pitch.pitch_class().value(), chord_number(met.facts.harte)};
    if (std::exchange(last[key], met.facts.time) != met.facts.time) ++times[key];
  }
  return static_cast<std::uint32_t>(
      std::count_if(times.begin(), times.end(), [](const auto& each) { return each.second >= kCameBack; }));
}

LoopKey loop_key(std::span<const std::string> chords) {
  std::vector<std::pair<int, int>> steps;  // semitones to the next root, and the family
  std::vector<int> roots;
  for (const std::string& harte : chords) {
    const auto parsed = harmony::parse_harte(harte);
    if (!parsed) return {};
    roots.push_back(parsed->chord.root.value());
    steps.emplace_back(0, static_cast<int>(harmony::row(parsed->chord.quality).family));
  }
  if (roots.size() < kShortestKnown) return {};
  for (std::size_t i = 0; i < roots.size(); ++i)
    steps[i].first = (roots[(i + 1) % roots.size()] - roots[i] + 12) % 12;
  auto turned = steps, best = steps;
  std::size_t first = 0;
  for (std::size_t i = 1; i < steps.size(); ++i) {
    std::rotate(turned.begin(), turned.begin() + 1, turned.end());
    if (turned < best) best = turned, first = i;
  }
  std::uint64_t hash = 1469598103934665603u;  // FNV-1a
  for (const auto& [step, family] : best)
    hash = (hash ^ static_cast<std::uint64_t>(step * 16 + family)) * 1099511628211u;
  return {static_cast<std::int64_t>(hash == 0 ? 1 : hash), roots[first]};
}

int nearest_shift(int from, int to) {
  const int up = ((to - from) % 12 + 12) % 12;
  return up > 6 ? up - 12 : up;
}

std::string packed_name(const TakeAbout& about) {
  const TakeContent& content = about.content;
  json::object out{{"chords", array_of(content.chords)},
                   {"times", content.times},
                   {"circled_us", content.circled.count()},
                   {"returns", content.returns}};
  if (content.tempo) out["tempo"] = *content.tempo;
  return json::serialize(out);
}

std::string packed_picture(const TakeAbout& about) {
  json::array loops;
  for (const AboutLoop& loop : about.loops) {
    json::array passes;
    for (const AboutPass& pass : loop.passes)
      passes.push_back(
          json::array{pass.from.count(), pass.length.count(), pass.transposed, pass.variant ? 1 : 0});
    loops.push_back(json::object{{"chords", array_of(loop.chords)}, {"passes", std::move(passes)}});
  }
  return json::serialize(json::object{{"meter", about.meter},
                                      {"melody", json::array(about.melody.begin(), about.melody.end())},
                                      {"loops", std::move(loops)}});
}

bool unpack_name(const std::string& text, TakeAbout& about) {
  boost::system::error_code wrong;
  const json::value tree = json::parse(text, wrong);
  const json::object* object = wrong ? nullptr : tree.if_object();
  if (!object) return false;
  auto chords = texts(object->if_contains("chords"));
  if (!chords) return false;
  TakeContent& content = about.content;
  content.chords = std::move(*chords);
  content.times = static_cast<int>(std::clamp<std::int64_t>(integer(*object, "times", 1), 1, 1'000'000));
  content.circled = Micros(std::max<std::int64_t>(0, integer(*object, "circled_us")));
  content.returns =
      static_cast<std::uint32_t>(std::clamp<std::int64_t>(integer(*object, "returns"), 0, 1'000'000));
  content.tempo.reset();
  if (const auto* tempo = object->if_contains("tempo"); tempo && tempo->is_number())
    content.tempo = std::clamp(tempo->to_number<double>(), 1., 1000.);
  return true;
}

bool unpack_picture(const std::string& text, TakeAbout& about) {
  boost::system::error_code wrong;
  const json::value tree = json::parse(text, wrong);
  const json::object* object = wrong ? nullptr : tree.if_object();
  if (!object) return false;
  const auto* melody = object->if_contains("melody");
  const auto* loops = object->if_contains("loops");
  if (!melody || !melody->is_array() || !loops || !loops->is_array()) return false;
  about.meter = static_cast<int>(std::clamp<std::int64_t>(integer(*object, "meter", 4), 1, 16));
  about.melody.clear();
  for (const json::value& each : melody->get_array())
    about.melody.push_back(static_cast<std::uint8_t>(each.is_int64() ? each.get_int64() & 127 : 0));
  about.loops.clear();
  for (const json::value& each : loops->get_array()) {
    const json::object* loop = each.if_object();
    auto chords = loop ? texts(loop->if_contains("chords")) : std::nullopt;
    const auto* passes = loop ? loop->if_contains("passes") : nullptr;
    if (!chords || !passes || !passes->is_array()) return false;
    AboutLoop& out = about.loops.emplace_back(AboutLoop{std::move(*chords), {}});
    for (const json::value& pass : passes->get_array()) {
      const json::array* four = pass.if_array();
      if (!four || four->size() != 4) return false;
      const auto number = [&](std::size_t i) { return (*four)[i].is_int64() ? (*four)[i].get_int64() : 0; };
      out.passes.push_back({Micros(number(0)), Micros(number(1)),
                            static_cast<int>(std::clamp<std::int64_t>(number(2), -6, 6)), number(3) != 0});
    }
  }
  return true;
}

}  // namespace undersong::takes
