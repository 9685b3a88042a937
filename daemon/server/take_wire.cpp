#include "daemon/server/take_wire.h"
#include "daemon/harmony/key.h"

#include <charconv>
#include <utility>

#include "daemon/server/wire.h"
#include "daemon/takes/along.h"
#include "daemon/takes/midi_export.h"
#include "daemon/takes/played_notes.h"
#include "protocol/base64.h"
#include "protocol/messages.h"

namespace undersong::server {
namespace {

std::optional<PitchClass> pitch_class(const std::optional<protocol::PitchClassNumber>& number) {
  if (!number) return std::nullopt;
  return PitchClass(static_cast<int>(number->value));
}

// Both lists of families are in the same order. A test compares the names.
static_assert(static_cast<int>(protocol::Family::kPower) == static_cast<int>(harmony::Family::kPower));

// The protocol lists the kinds in the order of the store's numbers, which begin at 1.
constexpr takes::LineKind stored_kind(protocol::LineKind kind) {
  return static_cast<takes::LineKind>(static_cast<int>(kind) + 1);
}
static_assert(stored_kind(protocol::LineKind::kTakeBegin) == takes::LineKind::kTakeBegin &&
              stored_kind(protocol::LineKind::kMelody) == takes::LineKind::kMelody &&
              stored_kind(protocol::LineKind::kRestore) == takes::LineKind::kRestore &&
              stored_kind(protocol::LineKind::kPass) == takes::LineKind::kPass &&
              stored_kind(protocol::LineKind::kLost) == takes::LineKind::kLost &&
              stored_kind(protocol::LineKind::kVerdict) == takes::kLastKind);

// Reads "12:4": four moments of take 12 are left.
std::optional<takes::MomentSearch::From> from_of(const std::string& text) {
  takes::MomentSearch::From from;
  const char* end = text.data() + text.size();
  const auto take = std::from_chars(text.data(), end, from.take);
  if (take.ec != std::errc() || take.ptr == end || *take.ptr != ':') return std::nullopt;
  const auto left = std::from_chars(take.ptr + 1, end, from.left);
  if (left.ec != std::errc() || left.ptr != end) return std::nullopt;
  return from;
}

}  // namespace

takes::Search search_of(const protocol::ListTakes& wish) {
  takes::Search search;
  if (wish.limit) search.limit = static_cast<std::size_t>(wish.limit->value);
  search.before = wish.before;
  search.harte = wish.harte;
  search.root = pitch_class(wish.root);
  if (wish.family) search.family = static_cast<harmony::Family>(*wish.family);
  if (wish.key) {  // as people write it, "F minor", or as it is kept
    const auto key = harmony::parse_key(*wish.key);
    search.key = key ? harmony::harte(*key) : *wish.key;
  }
  search.melody = pitch_class(wish.melody);
  search.melody_over = pitch_class(wish.melody_over);
  search.melody_degree = wish.melody_degree;
  search.from_utc_ms = wish.from_utc_ms;
  search.to_utc_ms = wish.to_utc_ms;
  search.deleted = wish.deleted.value_or(false);
  return search;
}

Result<takes::MomentSearch> search_of(const protocol::FindMoments& wish, std::int64_t utc_ms) {
  auto question = takes::read_question(wish.question, takes::day_at(utc_ms));
  if (!question) return question.error();
  takes::MomentSearch search;
  if (wish.limit) search.limit = static_cast<std::size_t>(wish.limit->value);
  if (wish.from) {
    search.from = from_of(*wish.from);
    if (!search.from)
      return invalid_input("params.from is not what a reply gave as next: \"" + *wish.from + "\".");
  }
  search.days_ms = takes::days_ms(*question);
  search.question = std::move(*question);
  return search;
}

std::vector<takes::LineKind> kinds_of(const std::vector<protocol::LineKind>& kinds) {
  std::vector<takes::LineKind> out;
  for (const protocol::LineKind kind : kinds) out.push_back(stored_kind(kind));
  return out;
}

std::string lines_text(std::vector<takes::Line> lines, std::size_t limit, takes::LineNumber from) {
  const bool more = lines.size() > limit;
  if (more) lines.resize(limit);
  std::string out = R"({"lines":[)";
  for (const takes::Line& line : lines) {
    if (&line != lines.data()) out += ',';
    append_line(out, line);
  }
  out += R"(],"next":)";
  protocol::append_json(out, lines.empty() ? from : lines.back().number + 1);
  out.append(R"(,"more":)").append(more ? "true}" : "false}");
  return out;
}

protocol::TakeNotes notes_of(const takes::Store::Midi& take) {
  const auto played = takes::played_notes(take.events);
  protocol::TakeNotes out;
  out.take = take.detail.summary.take;
  for (const auto& note : played.notes) {
    out.at.push_back(note.at.count());
    out.length_us.push_back(note.length.count());
    out.pitch.emplace_back(note.pitch.value());
    out.velocity.emplace_back(note.velocity.value());
  }
  for (const auto& move : played.pedal) out.pedal.push_back({move.at.count(), move.down});
  return out;
}

protocol::TakeThumbnail thumbnail_of(const takes::Store::Midi& take, std::size_t spans) {
  const auto& summary = take.detail.summary;
  protocol::TakeThumbnail out;
  out.take = summary.take;
  for (const auto& span :
       takes::thumbnail(take.events, summary.at, summary.last_at - summary.at, spans).spans) {
    out.notes.push_back(span.notes);
    out.lowest.emplace_back(span.notes == 0 ? 0 : span.lowest.value());
    out.highest.emplace_back(span.notes == 0 ? 0 : span.highest.value());
  }
  return out;
}

Result<protocol::ExportedTake> export_of(const takes::Store::Midi& take) {
  const auto bytes = takes::standard_midi_file(take);
  if (!bytes) return bytes.error();
  const auto number = take.detail.summary.take;
  return protocol::ExportedTake{number, "take-" + std::to_string(number) + ".mid", protocol::base64(*bytes)};
}

Result<protocol::TakePasses> passes_of(const takes::Store::Midi& take,
                                       const std::vector<takes::Line>& lines) {
  const auto number = take.detail.summary.take;
  const auto along = takes::read_along(lines);
  if (!along) return not_found("Take " + std::to_string(number) + " was not played along with a loop.");
  protocol::TakePasses out;
  out.take = number;
  out.along.take = along->of;
  out.along.tempo = along->tempo;
  out.along.meter = along->meter;
  out.along.cycle_us = along->cycle.count();
  for (const auto& chord : along->chords) out.along.chords.push_back({chord.at.count(), chord.harte});
  out.first_pass = static_cast<std::uint32_t>(along->first_pass);
  for (const Micros at : along->passes) out.pass_at.push_back(at.count());
  for (const auto& note : takes::place_notes(takes::played_notes(take.events).notes, *along)) {
    out.at.push_back(note.at.count());
    out.pitch.emplace_back(note.pitch.value());
    out.pass.push_back(static_cast<std::uint32_t>(note.pass));
    out.place_us.push_back(note.place.count());
    out.chord.push_back(note.chord);
  }
  return out;
}

}  // namespace undersong::server
