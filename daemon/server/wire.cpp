#include "daemon/server/wire.h"

#include <algorithm>
#include <boost/json.hpp>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/server/message_text.h"
#include "daemon/server/music_wire.h"
#include "protocol/json.h"
#include "protocol/messages.h"

namespace undersong::server {
namespace {

using protocol::append_int;

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
    case LineKind::kHeard: return "heard";
    case LineKind::kUnmark: return "unmark";
    case LineKind::kVerdict: return "verdict";
  }
  return "mark";
}

// A member of a stored key; "" if it is missing.
std::string member(const std::string& data, std::string_view name) {
  const auto tree = protocol::parse(data);
  if (!tree || !tree->is_object()) return {};
  const auto* value = tree->get_object().if_contains(name);
  return value != nullptr && value->is_string() ? std::string(value->get_string()) : std::string();
}

}  // namespace

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
    case LineKind::kChord: out.append(R"(,"chord":)").append(logged_chord(line.data)); break;
    case LineKind::kTried: out.append(R"(,"tried":)").append(logged_trial(line.data)); break;
    case LineKind::kMeeting: out.append(R"(,"meeting":)").append(logged_meeting(line.data)); break;
    case LineKind::kKey:
    case LineKind::kMelody:
    case LineKind::kOffered:
    case LineKind::kBeat:
    case LineKind::kAlong:
    case LineKind::kPass:
    case LineKind::kLost:
    case LineKind::kVerdict:
      // The data are the JSON object of that name (log_line.h).
      out.append(",\"").append(word(line.kind)).append("\":").append(line.data);
      break;
    case LineKind::kMark:
    case LineKind::kHeard:
    case LineKind::kRename:
    case LineKind::kAnnotate:
    case LineKind::kCorrection:
    case LineKind::kUnmark:
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

protocol::TakeContent content_of(const takes::TakeContent& content) {
  protocol::TakeContent out;
  for (const auto& harte : content.chords) put_chord(out.chords.emplace_back(), harte);
  out.times = static_cast<std::uint64_t>(content.times);
  out.tempo = content.tempo;
  out.circled_us = content.circled.count();
  out.returns = content.returns;
  if (content.again) {
    auto& again = out.again.emplace();
    again.take = content.again->take;
    again.begin_utc_ms = content.again->begin_utc_ms;
    again.shift = content.again->shift;
  }
  return out;
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
  if (s.content) out.content = content_of(*s.content);
  out.deleted = s.deleted;
  out.first_line = s.first_line;
  out.last_line = s.last_line;
  return out;
}

protocol::TakeDetail detail_of(const takes::Detail& d) {
  protocol::TakeDetail out;
  out.summary = summary_of(d.summary);
  for (const auto& line : d.chords) out.chords.push_back(take_chord(line.at.count(), line.data));
  for (const auto& line : d.keys)
    out.keys.push_back({line.at.count(), member(line.data, "harte"),
                        line.data.find(R"("pinned":true)") != std::string::npos});
  for (const auto& line : d.marks) out.marks.push_back({line.at.count(), line.data, line.number});
  for (const auto& part : d.kept) out.kept.push_back({part.from.count(), part.length.count()});
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
  out.division = beat.feel.division;
  out.signature = signature_of(beat.meter, beat.feel, 60. / std::max(1, beat.tempo));
  out.swing = static_cast<double>(beat.feel.swing);
  return out;
}

protocol::TimeSignature signature_of(int meter, const harmony::FeelNow& feel, double seconds_a_beat) {
  const auto written = harmony::time_signature(meter, feel.division, seconds_a_beat);
  protocol::TimeSignature out;
  out.upper = written.upper;
  out.lower = written.lower;
  return out;
}

}  // namespace undersong::server
