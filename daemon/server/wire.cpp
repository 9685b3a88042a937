#include "daemon/server/wire.h"

#include <algorithm>
#include <boost/json.hpp>
#include <cmath>
#include <cstdlib>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/words.h"
#include "protocol/json.h"
#include "protocol/messages.h"

namespace undersong::server {
namespace {

using harmony::TextWriter;
using protocol::append_int;
using protocol::append_short;

constexpr std::string_view kMomentHead = R"({"jsonrpc":"2.0","method":"moment","params":)";
constexpr std::string_view kStatusHead = R"({"jsonrpc":"2.0","method":"status","params":)";
constexpr std::string_view kLogHead = R"({"jsonrpc":"2.0","method":"log","params":)";
constexpr std::string_view kTail = "}\n";

void append_bool(std::string& out, bool b) {
  out.append(b ? "true" : "false");
}

// Symbols, Harte forms, names and degrees hold no character that JSON would escape.
void append_names(std::string& out, const harmony::Chord& chord, harmony::NoteName root,
                  harmony::SymbolStyle style) {
  out.append(R"("symbol":")");
  harmony::append_symbol(out, chord, root, style);
  out.append(R"(","harte":")");
  harmony::append_harte(out, chord, root);
  out.append(R"(","root":)");
  append_int(out, chord.root.value());
  out.append(R"(,"root_name":")");
  harmony::append_text(out, root);
  out += '"';
}

void append_reading(std::string& out, const listen::Reading& reading, harmony::SymbolStyle style) {
  append_names(out, reading.chord, reading.root_name, style);
  out.append(R"(,"quality":")").append(harmony::row(reading.chord.quality).harte).append(R"(","bass":)");
  append_int(out, reading.chord.bass.value());
  out.append(R"(,"confidence":)");
  append_short(out, std::clamp(static_cast<double>(reading.confidence), 0.0, 1.0));
}

void append_colour(std::string& out, float dark_bright, float resolved_tense) {
  out.append(R"(,"dark_bright":)");
  append_short(out, std::clamp(static_cast<double>(dark_bright), -1.0, 1.0));
  out.append(R"(,"resolved_tense":)");
  append_short(out, std::clamp(static_cast<double>(resolved_tense), 0.0, 1.0));
}

void write_hand(TextWriter& out, const harmony::Hand& hand) {
  out.put('[');
  for (std::size_t i = 0; i < hand.size(); ++i) {
    if (i != 0) out.put(',');
    out.put(harmony::whole_word(hand[i].value()));
  }
  out.put(']');
}

// Three decimals, as append_short.
void write_short(TextWriter& out, float number, float least, float most) {
  const int thousandths = static_cast<int>(std::lround(
      std::clamp(static_cast<double>(number), static_cast<double>(least), static_cast<double>(most)) * 1000));
  if (thousandths < 0) out.put('-');
  out.put(harmony::thousandths_word(std::abs(thousandths)));
}

constexpr std::size_t kLongestAlternative = harmony::kLongestReason + 384;

void write_alternative(TextWriter& out, const harmony::Alternative& alternative,
                       const harmony::MelodyPitches& melody, const harmony::MelodyNames& names,
                       const std::optional<harmony::Chord>& previous, harmony::SymbolStyle style) {
  const harmony::QualityWords& quality = harmony::words(alternative.chord.quality);
  const harmony::Word& root = harmony::word(alternative.root_name);
  out.put(R"({"symbol":")");
  out.put(root);
  out.put(style == harmony::SymbolStyle::kLetters ? quality.letters : quality.signs);
  out.put(R"(","harte":")");
  out.put(root);
  out.put(':');
  out.put(quality.harte);
  out.put(R"(","root":)");
  out.put(harmony::whole_word(alternative.chord.root.value()));
  out.put(R"(,"root_name":")");
  out.put(root);
  out.put(R"(","degrees":[)");
  for (std::size_t i = 0; i < alternative.degrees.size(); ++i) {
    if (i != 0) out.put(',');
    out.put('"');
    out.put(harmony::word(alternative.degrees[i]));
    out.put('"');
  }
  out.put(R"(],"dark_bright":)");
  write_short(out, alternative.dark_bright, -1, 1);
  out.put(R"(,"resolved_tense":)");
  write_short(out, alternative.resolved_tense, 0, 1);
  out.put(R"(,"familiar":)");
  write_short(out, alternative.familiar, 0, 1);
  out.put(R"(,"hands_move":)");
  out.put(harmony::whole_word(alternative.voicing.hands_move));
  out.put(R"(,"left":)");
  write_hand(out, alternative.voicing.left);
  out.put(R"(,"right":)");
  write_hand(out, alternative.voicing.right);
  out.put(R"(,"reason":")");
  harmony::write_reason(out, alternative, melody, names, previous);
  static constexpr harmony::Word kTried(R"(","tried":true})"), kNotTried(R"(","tried":false})");
  out.put(alternative.tried ? kTried : kNotTried);
}

void bring_up_to_date(ListText& list, const listen::Moment& moment, harmony::SymbolStyle style) {
  std::optional<harmony::Chord> previous;
  if (moment.harmony) previous = moment.harmony->reading.chord;
  if (list.number == moment.alternatives_number && list.number > 0 && list.previous == previous &&
      list.names == moment.under_names && list.style == style)
    return;
  list.number = moment.alternatives_number;
  list.previous = previous;
  list.names = moment.under_names;
  list.style = style;
  list.text.resize(kLongestAlternative * harmony::kMaxAlternatives + TextWriter::kSlack);
  TextWriter out(list.text.data());
  for (std::size_t i = 0; i < moment.alternatives.size(); ++i) {
    if (i != 0) out.put(',');
    write_alternative(out, moment.alternatives[i], moment.under, moment.under_names, previous, style);
  }
  list.size = static_cast<std::size_t>(out.at() - list.text.data());
}

void append_moment(std::string& out, const listen::Moment& moment, harmony::SymbolStyle style,
                   const ListText& list) {
  out.append(R"({"number":)");
  append_int(out, static_cast<std::int64_t>(moment.number));
  out.append(R"(,"at":)");
  append_int(out, moment.at.count());
  out.append(R"(,"chord":)");
  if (moment.harmony) {
    out += '{';
    append_reading(out, moment.harmony->reading, style);
    out.append(R"(,"since":)");
    append_int(out, moment.harmony->since.count());
    out.append(R"(,"sounding":)");
    append_bool(out, moment.harmony->sounding);
    const auto& reading = moment.harmony->reading;
    const harmony::Colour colour = harmony::colour(
        reading.chord, reading.root_name, moment.key ? std::optional(moment.key->key) : std::nullopt);
    append_colour(out, colour.dark_bright, colour.resolved_tense);
    out += '}';
  } else {
    out.append("null");
  }
  out.append(R"(,"readings":[)");
  for (std::size_t i = 0; i < moment.readings.size(); ++i) {
    out.append(i == 0 ? "{" : ",{");
    append_reading(out, moment.readings[i], style);
    out += '}';
  }
  out.append(R"(],"key":)");
  if (moment.key) {
    out.append(R"({"name":")")
        .append(harmony::text(moment.key->key))
        .append(R"(","harte":")")
        .append(harmony::harte(moment.key->key));
    out.append(R"(","tonic":)");
    append_int(out, moment.key->key.tonic.value());
    out.append(moment.key->key.mode == harmony::Mode::kMajor ? R"(,"mode":"major","confidence":)"
                                                             : R"(,"mode":"minor","confidence":)");
    append_short(out, std::clamp(static_cast<double>(moment.key->confidence), 0.0, 1.0));
    out.append(R"(,"pinned":)");
    append_bool(out, moment.key->pinned);
    out += '}';
  } else {
    out.append("null");
  }
  out.append(R"(,"melody":[)");
  for (std::size_t i = 0; i < moment.melody.size(); ++i) {
    const listen::MelodyNote& note = moment.melody[i];
    out.append(i == 0 ? R"({"pitch":)" : R"(,{"pitch":)");
    append_int(out, note.pitch.value());
    out.append(R"(,"name":")").append(harmony::text(note.name, note.pitch)).append(R"(","degree":)");
    if (moment.harmony)
      out.append("\"").append(harmony::text(note.degree)).append("\"");
    else
      out.append("null");
    out.append(R"(,"since":)");
    append_int(out, note.since.count());
    out.append(R"(,"held":)");
    append_bool(out, note.held);
    out += '}';
  }
  out.append(R"(],"held":[)");
  for (std::size_t i = 0; i < moment.held.size(); ++i) {
    const listen::HeldNote& note = moment.held[i];
    out.append(i == 0 ? R"({"pitch":)" : R"(,{"pitch":)");
    append_int(out, note.pitch.value());
    out.append(R"(,"velocity":)");
    append_int(out, note.velocity.value());
    out.append(R"(,"key_down":)");
    append_bool(out, note.key_down);
    out.append(R"(,"since":)");
    append_int(out, note.since.count());
    out += '}';
  }
  out.append(R"(],"alternatives_number":)");
  append_int(out, moment.alternatives_number);
  out.append(R"(,"beat":)");
  if (moment.beat)
    protocol::append_json(out, beat_of(*moment.beat));
  else
    out.append("null");
  out.append(R"(,"still":)");
  append_bool(out, moment.still);
  out.append(R"(,"wishes":{"brighter":)");
  append_short(out, static_cast<double>(moment.wishes.brighter));
  out.append(R"(,"tenser":)");
  append_short(out, static_cast<double>(moment.wishes.tenser));
  out.append(R"(,"surprising":)");
  append_short(out, static_cast<double>(moment.wishes.surprising));
  out.append(R"(},"under":[)");
  for (std::size_t i = 0; i < moment.under.size(); ++i) {
    if (i != 0) out += ',';
    append_int(out, moment.under[i].value());
  }
  out.append(R"(],"alternatives":[)");
  out.append(list.written()).append("]}");
}

template <class Append>
Buffer message(std::string_view head, std::size_t room, Append append) {
  auto text = std::make_shared<std::string>();
  text->reserve(room);
  text->append(head);
  append(*text);
  text->append(kTail);
  return text;
}

std::string_view word(takes::LineKind kind) {
  using takes::LineKind;
  switch (kind) {
    case LineKind::kTakeBegin: return "take_begin";
    case LineKind::kMidi: return "midi";
    case LineKind::kChord: return "chord";
    case LineKind::kKey: return "key";
    case LineKind::kMelody: return "melody";
    case LineKind::kOffered: return "offered";
    case LineKind::kTried: return "tried";
    case LineKind::kMark: return "mark";
    case LineKind::kTakeEnd: return "take_end";
    case LineKind::kCorrection: return "correction";
    case LineKind::kRename: return "rename";
    case LineKind::kAnnotate: return "annotate";
    case LineKind::kDelete: return "delete";
    case LineKind::kRestore: return "restore";
    case LineKind::kBeat: return "beat";
    case LineKind::kAlong: return "along";
    case LineKind::kPass: return "pass";
    case LineKind::kEcho: return "echo";
    case LineKind::kLost: return "lost";
    case LineKind::kMeeting: return "meeting";
  }
  return "mark";
}

// A member of a stored chord, key or mark; "" if it isn't there.
std::string member(const std::string& data, std::string_view name) {
  const auto tree = protocol::parse(data);
  if (!tree || !tree->is_object()) return {};
  const auto* value = tree->get_object().if_contains(name);
  return value != nullptr && value->is_string() ? std::string(value->get_string()) : std::string();
}

}  // namespace

Buffer moment_message(const listen::Moment& moment, harmony::SymbolStyle style, ListText& list) {
  bring_up_to_date(list, moment, style);
  return message(kMomentHead, 3072 + list.size,
                 [&](std::string& out) { append_moment(out, moment, style, list); });
}

Buffer moment_message(const listen::Moment& moment, harmony::SymbolStyle style) {
  ListText list;
  return moment_message(moment, style, list);
}

Buffer status_message(const protocol::Status& status) {
  return message(kStatusHead, 1024, [&](std::string& out) { protocol::append_json(out, status); });
}

Buffer log_message(const takes::Line& line) {
  return message(kLogHead, 192 + line.data.size(), [&](std::string& out) { append_line(out, line); });
}

std::string_view params_of(const std::string& message) {
  for (const auto head : {kMomentHead, kStatusHead, kLogHead})
    if (message.starts_with(head))
      return std::string_view(message).substr(head.size(), message.size() - head.size() - kTail.size());
  return "null";
}

void append_line(std::string& out, const takes::Line& line) {
  using takes::LineKind;
  out.append(R"({"number":)");
  append_int(out, static_cast<std::int64_t>(line.number));
  if (line.take != 0) {
    out.append(R"(,"take":)");
    append_int(out, static_cast<std::int64_t>(line.take));
  }
  out.append(R"(,"at":)");
  append_int(out, line.at.count());
  out.append(R"(,"kind":")").append(word(line.kind)).append("\"");
  switch (line.kind) {
    case LineKind::kMidi:
    case LineKind::kEcho:
      if (const auto event = takes::midi_event(line)) {
        out.append(",\"").append(word(line.kind)).append(R"(":{"port":)");
        append_int(out, event->port);
        out.append(R"(,"bytes":[)");
        for (std::size_t i = 0; i < event->size; ++i) {
          if (i != 0) out += ',';
          append_int(out, event->bytes[i]);
        }
        out.append("]}");
      }
      break;
    case LineKind::kChord:
    case LineKind::kKey:
    case LineKind::kMelody:
    case LineKind::kOffered:
    case LineKind::kTried:
    case LineKind::kBeat:
    case LineKind::kAlong:
    case LineKind::kPass:
    case LineKind::kLost:
    case LineKind::kMeeting:
      // Stored as the JSON object of this name (log_line.h).
      out.append(",\"").append(word(line.kind)).append("\":").append(line.data);
      break;
    case LineKind::kMark:
    case LineKind::kRename:
    case LineKind::kAnnotate:
    case LineKind::kCorrection:
      out.append(R"(,"text":)");
      protocol::append_string(out, line.data);
      break;
    case LineKind::kTakeEnd:
      out.append(R"(,"reason":)");
      protocol::append_string(out, line.data);
      break;
    case LineKind::kTakeBegin:
      out.append(R"(,"begin_utc_ms":)");
      append_int(out, std::strtoll(line.data.c_str(), nullptr, 10));
      break;
    case LineKind::kDelete:
    case LineKind::kRestore: break;
  }
  out += '}';
}

protocol::TakeSummary summary_of(const takes::Summary& s) {
  protocol::TakeSummary out;
  out.take = s.take;
  out.begin_utc_ms = s.begin_utc_ms;
  out.at = s.at.count();
  out.length_us = std::max<std::int64_t>(0, (s.last_at - s.at).count());
  out.title = s.title;
  out.annotation = s.annotation;
  out.ended = s.ended;
  out.notes = s.notes;
  out.chords = s.chords;
  out.marks = s.marks;
  out.key = s.key;
  out.deleted = s.deleted;
  out.first_line = s.first_line;
  out.last_line = s.last_line;
  return out;
}

protocol::TakeDetail detail_of(const takes::Detail& d) {
  protocol::TakeDetail out;
  out.summary = summary_of(d.summary);
  for (const auto& line : d.chords)
    out.chords.push_back({line.at.count(), member(line.data, "symbol"), member(line.data, "harte")});
  for (const auto& line : d.keys)
    out.keys.push_back({line.at.count(), member(line.data, "harte"),
                        line.data.find(R"("pinned":true)") != std::string::npos});
  for (const auto& line : d.marks) out.marks.push_back({line.at.count(), line.data});
  return out;
}

protocol::BeatNow beat_of(const listen::BeatNow& beat) {
  protocol::BeatNow out;
  out.at = beat.at.count();
  out.tempo = std::clamp(beat.tempo, 1, 1000);
  out.confidence = std::round(static_cast<double>(beat.confidence) * 10) / 10;
  out.place = beat.place + 1;
  out.meter = beat.meter;
  out.source = static_cast<protocol::BeatSource>(beat.source);
  return out;
}

}  // namespace undersong::server
