#include "daemon/takes/log_line.h"

#include <array>
#include <boost/json.hpp>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::takes {
namespace {

namespace json = boost::json;

double rounded(float share) {
  return std::round(static_cast<double>(share) * 1000) / 1000;
}

Entry entry(Micros at, LineKind kind, std::string data) {
  return {at, kind, std::move(data), {}};
}

// A chord as it is stored: its parts without a symbol, because its look is up to the reader.
json::object parts(const harmony::Chord& chord, harmony::NoteName root) {
  const harmony::QualityRow& row = harmony::row(chord.quality);
  json::object out{{"root", chord.root.value()},
                   {"root_name", harmony::text(root)},
                   {"quality", row.harte},
                   {"family", text(row.family)},
                   {"bass", chord.bass.value()}};
  if (chord.bass != chord.root) out["bass_name"] = harmony::text(harmony::bass_name(chord, root));
  out["harte"] = harmony::harte(chord, root);
  return out;
}

Entry received(LineKind kind, const midi::Event& event) {
  std::string data(1, static_cast<char>(event.port));
  for (std::size_t i = 0; i < event.size && i < event.bytes.size(); ++i)
    data += static_cast<char>(event.bytes[i]);
  return entry(event.at, kind, std::move(data));
}

}  // namespace

std::string_view text(EndReason reason) {
  switch (reason) {
    case EndReason::kSilence: return "silence";
    case EndReason::kRequest: return "request";
    case EndReason::kStop: return "stop";
    case EndReason::kInterrupted: return "interrupted";
  }
  return "interrupted";
}

std::string_view text(harmony::Family family) {
  using harmony::Family;
  switch (family) {
    case Family::kMajor: return "major";
    case Family::kMinor: return "minor";
    case Family::kDominant: return "dominant";
    case Family::kSuspended: return "suspended";
    case Family::kDiminished: return "diminished";
    case Family::kHalfDiminished: return "half_diminished";
    case Family::kAugmented: return "augmented";
    case Family::kPower: return "power";
  }
  return "major";
}

Entry take_begin(Micros at, std::int64_t utc_ms) {
  return entry(at, LineKind::kTakeBegin, std::to_string(utc_ms));
}
Entry take_end(Micros at, EndReason reason) {
  return entry(at, LineKind::kTakeEnd, std::string(text(reason)));
}
Entry mark(Micros at, std::string text) {
  return entry(at, LineKind::kMark, std::move(text));
}

Entry midi_received(const midi::Event& event) {
  return received(LineKind::kMidi, event);
}
Entry suspected_echo(const midi::Event& event) {
  return received(LineKind::kEcho, event);
}

std::optional<midi::Event> midi_event(const Line& line) {
  if ((line.kind != LineKind::kMidi && line.kind != LineKind::kEcho) || line.data.size() < 2 ||
      line.data.size() > 4)
    return std::nullopt;
  midi::Event event;
  event.at = line.at;
  event.port = static_cast<midi::PortNumber>(line.data[0]);
  event.size = static_cast<std::uint8_t>(line.data.size() - 1);
  for (std::size_t i = 0; i < event.size; ++i) event.bytes[i] = static_cast<std::uint8_t>(line.data[i + 1]);
  return event;
}

Entry events_lost(Micros at, midi::PortNumber port, const std::string& name, std::uint64_t events) {
  return entry(at, LineKind::kLost,
               json::serialize(json::object{{"port", port}, {"name", name}, {"events", events}}));
}

namespace {
constexpr std::array<std::string_view, 3> kVerdicts{"kept", "dismissed", "open"};
}  // namespace

std::string text(const Judgement& judgement) {
  return json::serialize(json::object{{"from_us", judgement.from.count()},
                                      {"length_us", judgement.length.count()},
                                      {"verdict", kVerdicts[static_cast<std::size_t>(judgement.verdict)]}});
}

std::optional<Judgement> judgement(const std::string& data) {
  boost::system::error_code wrong;
  const json::value tree = json::parse(data, wrong);
  const json::object* object = wrong ? nullptr : tree.if_object();
  if (!object) return std::nullopt;
  const auto* from = object->if_contains("from_us");
  const auto* length = object->if_contains("length_us");
  const auto* word = object->if_contains("verdict");
  if (!from || !from->is_int64() || !length || !length->is_int64() || !word || !word->is_string())
    return std::nullopt;
  for (std::size_t i = 0; i < kVerdicts.size(); ++i)
    if (word->get_string() == kVerdicts[i])
      return Judgement{Micros(from->get_int64()), Micros(length->get_int64()), static_cast<Verdict>(i)};
  return std::nullopt;
}

decltype(Entry::facts) facts_of(LineKind kind, const std::string& data) {
  using harmony::Family;
  if (kind != LineKind::kChord && kind != LineKind::kMelody && kind != LineKind::kKey &&
      kind != LineKind::kMeeting)
    return {};
  boost::system::error_code wrong;
  const json::value tree = json::parse(data, wrong);
  const json::object* object = wrong ? nullptr : tree.if_object();
  if (!object) return {};
  const auto number = [&](const char* name) {
    const json::value* value = object->if_contains(name);
    return value && value->is_int64() ? std::optional(value->get_int64()) : std::nullopt;
  };
  const auto word = [&](const char* name) {
    const json::value* value = object->if_contains(name);
    return value && value->is_string() ? std::string(value->get_string()) : std::string();
  };
  const auto pitch_class = [](std::int64_t n) { return PitchClass(static_cast<int>(((n % 12) + 12) % 12)); };
  if (kind == LineKind::kKey) return KeyFacts{word("harte")};
  if (kind == LineKind::kMelody) {
    const auto pitch = number("pitch");
    if (!pitch || *pitch < 0 || *pitch > 127) return {};
    MelodyFacts facts{Pitch(static_cast<int>(*pitch)), std::nullopt, word("degree")};
    if (const auto over = number("over")) facts.over = pitch_class(*over);
    return facts;
  }
  if (kind == LineKind::kMeeting) {
    const auto pitch = number("pitch"), length = number("length_us"), time = number("time");
    if (!pitch || *pitch < 0 || *pitch > 127 || !length || !time) return {};
    return MeetingFacts{
        Micros(*length), Pitch(static_cast<int>(*pitch)),  word("name"), word("degree"), word("harte"),
        word("key"),     static_cast<std::uint32_t>(*time)};
  }
  const auto root = number("root"), bass = number("bass");
  if (!root || !bass) return {};
  for (const Family family :
       {Family::kMajor, Family::kMinor, Family::kDominant, Family::kSuspended, Family::kDiminished,
        Family::kHalfDiminished, Family::kAugmented, Family::kPower})
    if (text(family) == word("family"))
      return ChordFacts{pitch_class(*root), pitch_class(*bass), family, word("harte")};
  return {};
}

std::optional<midi::PortNumber> lost_port(const Line& line) {
  if (line.kind != LineKind::kLost) return std::nullopt;
  boost::system::error_code wrong;
  const json::value data = json::parse(line.data, wrong);
  const json::object* object = wrong ? nullptr : data.if_object();
  const json::value* port = object ? object->if_contains("port") : nullptr;
  if (!port || !port->is_int64() || port->get_int64() < 0 || port->get_int64() >= midi::kNoPort)
    return std::nullopt;
  return static_cast<midi::PortNumber>(port->get_int64());
}

Entry chord_in_force(Micros since, const listen::Reading& reading) {
  const harmony::QualityRow& row = harmony::row(reading.chord.quality);
  std::string harte = harmony::harte(reading.chord, reading.root_name);
  json::object data = parts(reading.chord, reading.root_name);
  data["confidence"] = rounded(reading.confidence);  // last: see settled_chords
  return {since, LineKind::kChord, json::serialize(data),
          ChordFacts{reading.chord.root, reading.chord.bass, row.family, std::move(harte)}};
}

Entry key_heard(Micros at, const harmony::KeyReading& key) {
  std::string harte = harmony::harte(key.key);
  json::object data{{"harte", harte},
                    {"tonic", key.key.tonic.value()},
                    {"mode", key.key.mode == harmony::Mode::kMajor ? "major" : "minor"},
                    {"confidence", rounded(key.confidence)}};
  if (key.pinned) data["pinned"] = true;
  return {at, LineKind::kKey, json::serialize(data), KeyFacts{std::move(harte)}};
}

std::optional<harmony::Key> pinned_key(const Line& line) {
  boost::system::error_code wrong;
  const json::value data = json::parse(line.data, wrong);
  const json::object* object = wrong || line.kind != LineKind::kKey ? nullptr : data.if_object();
  const json::value* pinned = object ? object->if_contains("pinned") : nullptr;
  const json::value* key = object ? object->if_contains("harte") : nullptr;
  if (!pinned || !pinned->is_bool() || !pinned->get_bool() || !key || !key->is_string()) return std::nullopt;
  return harmony::parse_key(std::string_view(key->get_string()));
}

Entry meeting(const listen::Meeting& met) {
  MeetingFacts facts{met.length,
                     met.pitch,
                     harmony::text(met.name, met.pitch),
                     harmony::text(met.degree),
                     harmony::harte(met.chord.chord, met.chord.root_name),
                     met.key ? harmony::harte(*met.key) : std::string(),
                     met.time};
  json::object data = parts(met.chord.chord, met.chord.root_name);
  data["pitch"] = met.pitch.value();
  data["name"] = facts.name;
  data["degree"] = facts.degree;
  data["length_us"] = met.length.count();
  data["time"] = met.time;
  if (met.key) data["key"] = facts.key;
  return {met.at, LineKind::kMeeting, json::serialize(data), std::move(facts)};
}

Entry melody_note(const listen::MelodyNote& note, const std::optional<harmony::Chord>& over) {
  MelodyFacts facts{note.pitch, std::nullopt, {}};
  json::object data{{"pitch", note.pitch.value()}, {"name", harmony::text(note.name, note.pitch)}};
  if (over) {
    facts.over = over->root;
    facts.degree = harmony::text(note.degree);
    data["over"] = over->root.value();
    data["degree"] = facts.degree;
  }
  return {note.since, LineKind::kMelody, json::serialize(data), std::move(facts)};
}

Entry alternatives_offered(Micros at, std::uint32_t list, std::span<const listen::MelodyNote> melody,
                           const harmony::Alternatives& alternatives) {
  json::array pitches, names, chords;
  for (const auto& note : melody) {
    pitches.emplace_back(note.pitch.value());
    names.emplace_back(harmony::text(note.name, note.pitch));
  }
  for (const auto& alternative : alternatives)
    chords.emplace_back(harmony::harte(alternative.chord, alternative.root_name));
  return entry(at, LineKind::kOffered,
               json::serialize(json::object{{"list", list},
                                            {"melody", std::move(pitches)},
                                            {"names", std::move(names)},
                                            {"harte", std::move(chords)}}));
}

Entry alternative_tried(Micros at, std::uint32_t list, const harmony::Alternative& alternative,
                        std::size_t place) {
  json::object data = parts(alternative.chord, alternative.root_name);
  data["list"] = list;
  data["place"] = place;
  return entry(at, LineKind::kTried, json::serialize(data));
}

Entry chord_heard(Micros at, const harmony::Chord& chord, harmony::NoteName root) {
  return entry(at, LineKind::kHeard, harmony::harte(chord, root));
}

}  // namespace undersong::takes
