#include "daemon/server/playing_wire.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "protocol/messages.h"

namespace undersong::server {
namespace {

constexpr std::size_t kMostGivenNotes = 16;

// The keys in ascending order without duplicates. Error unless there are 1 to kMostGivenNotes notes.
Result<std::vector<Pitch>> keys_of(const std::vector<protocol::PitchNumber>& notes,
                                   const std::string& where) {
  if (notes.empty() || notes.size() > kMostGivenNotes)
    return invalid_input(
        fmt::format("{} holds {} notes; give 1 to {}.", where, notes.size(), kMostGivenNotes));
  std::vector<Pitch> out;
  for (const auto& note : notes) out.emplace_back(static_cast<int>(note.value));
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

std::optional<Velocity> velocity_of(const std::optional<protocol::Whole<1, 127>>& velocity) {
  if (!velocity) return std::nullopt;
  return Velocity(static_cast<int>(velocity->value));
}

Result<std::vector<takes::GivenChord>> given_chords_of(const std::vector<protocol::GivenChord>& chords) {
  if (chords.empty())
    return invalid_input("params.chords is empty: give one for each chord of the loop, or leave it out.");
  std::vector<takes::GivenChord> out;
  for (std::size_t i = 0; i < chords.size(); ++i) {
    const auto chord = harmony::parse_harte(chords[i].harte);
    if (!chord)
      return invalid_input(
          fmt::format("params.chords[{}].harte: \"{}\" is no chord in Harte syntax.", i, chords[i].harte));
    std::vector<Pitch> notes;
    if (chords[i].notes) {
      auto keys = keys_of(*chords[i].notes, fmt::format("params.chords[{}].notes", i));
      if (!keys) return keys.error();
      notes = std::move(*keys);
    }
    out.push_back({chord->chord, chord->root, std::move(notes)});
  }
  return out;
}

}  // namespace

Result<live::HearWish> hear_wish_of(const protocol::Hear& wish) {
  live::HearWish out;
  out.list = wish.list;
  if (wish.notes) {
    auto keys = keys_of(*wish.notes, "params.notes");
    if (!keys) return keys.error();
    out.notes = std::move(*keys);
    if (wish.place || wish.voicing)
      return invalid_input(fmt::format("params.notes say what is played; leave params.{} out.",
                                       wish.place ? "place" : "voicing"));
  }
  if (wish.harte) {
    const auto chord = harmony::parse_harte(*wish.harte);
    if (!chord) return invalid_input(fmt::format("\"{}\" is no chord in Harte syntax.", *wish.harte));
    out.chord = live::NamedChord{chord->chord, chord->root};
  }
  if (wish.place) out.place = static_cast<std::size_t>(wish.place->value);
  if (wish.voicing) out.voicing = static_cast<harmony::Style>(*wish.voicing);
  return out;
}

protocol::Heard heard_of(const std::optional<live::NamedChord>& heard) {
  protocol::Heard out;
  if (heard) out.harte.emplace(harmony::harte(heard->chord, heard->root));
  return out;
}

live::PlayWish play_wish_of(const protocol::PlayTake& wish) {
  live::PlayWish out;
  out.take = wish.take;
  if (wish.from_us) out.span.from = Micros(*wish.from_us);
  if (wish.to_us) out.span.to = Micros(*wish.to_us);
  out.span.held = wish.held.value_or(false);
  out.velocity = velocity_of(wish.velocity);
  return out;
}

Result<live::AlongWish> along_wish_of(const protocol::PlayAlong& wish) {
  live::AlongWish out;
  out.take = wish.take;
  out.listen = wish.listen.value_or(false);
  takes::AlongWish& how = out.how;
  if (wish.tempo) how.tempo = *wish.tempo;
  if (wish.count_in) how.count_in = static_cast<int>(wish.count_in->value);
  if (wish.rounds) how.rounds = static_cast<int>(wish.rounds->value);
  if (wish.layers) {
    if (wish.layers->empty())
      return invalid_input("params.layers is empty: name one or more of bass, chords and melody.");
    how.bass = how.chords = how.melody = false;
    for (const auto layer : *wish.layers)
      (layer == protocol::Layer::kBass     ? how.bass
       : layer == protocol::Layer::kChords ? how.chords
                                           : how.melody) = true;
  }
  if (wish.chords) {
    auto given = given_chords_of(*wish.chords);
    if (!given) return given.error();
    how.given = std::move(*given);
  }
  if (!how.bass && !how.chords &&
      std::all_of(how.given.begin(), how.given.end(), [](const auto& chord) { return chord.notes.empty(); }))
    return invalid_input(
        "params.layers is the melody alone, but no notes are given: name bass or chords, or give notes.");
  if (const auto velocity = velocity_of(wish.velocity)) {
    how.velocity = *velocity;
    out.own_velocity = true;
  }
  return out;
}

protocol::Playing playing_of(const live::Playing& playing) {
  protocol::Playing out{playing.take,       playing.since.count(), playing.from.count(),
                        playing.to.count(), std::nullopt,          std::nullopt};
  if (playing.song) {
    protocol::PlayingSong& song = out.song.emplace();
    song.title = playing.song->title;
    song.length_us = playing.song->length.count();
    for (const auto& turn : playing.song->turns)
      song.turns.push_back(
          {static_cast<std::uint64_t>(turn.section), static_cast<std::uint64_t>(turn.time), turn.at.count()});
  }
  if (!playing.along) return out;
  const auto& along = *playing.along;
  protocol::PlayingAlong& made = out.along.emplace();
  made.tempo = along.tempo;
  made.meter = along.meter;
  made.count_in_us = along.count_in.count();
  made.cycle_us = along.cycle.count();
  for (const auto& chord : along.chords) made.chords.push_back({chord.at.count(), chord.harte});
  if (along.rounds > 0) made.rounds = static_cast<std::uint32_t>(along.rounds);
  made.given = along.given;
  made.listen = along.listen;
  if (along.by_client) made.by_client = true;
  return out;
}

std::vector<protocol::SoundingNote> sounding_notes(const midi::Score& score) {
  std::vector<protocol::SoundingNote> out;
  for (auto on = score.events.begin(); on != score.events.end(); ++on) {
    if (on->kind() != midi::kNoteOn) continue;
    const auto off = std::find_if(on, score.events.end(), [&](const midi::Event& event) {
      return event.kind() == midi::kNoteOff && event.bytes[1] == on->bytes[1] &&
             event.channel() == on->channel();
    });
    const Micros end = off == score.events.end() ? score.length : off->at;
    out.push_back({on->at.count(), (end - on->at).count(), on->bytes[1], on->bytes[2]});
  }
  return out;
}

std::vector<live::ClientNote> notes_of(const std::vector<protocol::PlayedNote>& notes) {
  std::vector<live::ClientNote> out;
  for (const auto& note : notes)
    out.push_back({Pitch(static_cast<int>(note.pitch.value)), Velocity(static_cast<int>(note.velocity.value)),
                   note.on});
  return out;
}

}  // namespace undersong::server
