#include "daemon/server/song_wire.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/server/music_wire.h"
#include "daemon/song/signs.h"

namespace undersong::server {
namespace {

static_assert(static_cast<int>(protocol::RootsMove::kSemitones) ==
              static_cast<int>(song::RootMotion::kSemitones));
static_assert(static_cast<int>(protocol::SectionRole::kOutro) == static_cast<int>(song::SketchKind::kOutro));
static_assert(static_cast<int>(protocol::SongFeel::kSwing) == static_cast<int>(song::Feel::kSwing));
static_assert(static_cast<int>(protocol::NoteRole::kAvoid) == static_cast<int>(harmony::Role::kAvoid));

double rounded(double value) {
  return std::round(value * 1e4) / 1e4;
}

protocol::LoopProposal proposal_of(const song::Proposal& made) {
  protocol::LoopProposal out;
  for (const auto& chord : made.chords) {
    protocol::ProposedChord to;
    put_chord(to, chord.chord, chord.root);
    to.kept = chord.kept;
    to.changed = chord.changed;
    to.change = text(chord.change);
    to.reached_by = text(chord.reached);
    for (const auto& note : chord.melody)
      to.melody.push_back({harmony::text(note.name), harmony::text(note.degree),
                           static_cast<protocol::NoteRole>(note.role), rounded(note.length), note.is_long});
    to.dark_bright = rounded(static_cast<double>(chord.dark_bright));
    to.resolved_tense = rounded(static_cast<double>(chord.resolved_tense));
    to.colour = colour_words(chord.dark_bright, chord.resolved_tense);
    to.outside = chord.outside;
    for (const Pitch key : chord.voicing.left) to.left.emplace_back(key.value());
    for (const Pitch key : chord.voicing.right) to.right.emplace_back(key.value());
    out.chords.push_back(std::move(to));
  }
  out.score = rounded(made.score);
  out.dark_bright = rounded(static_cast<double>(made.dark_bright));
  out.resolved_tense = rounded(static_cast<double>(made.resolved_tense));
  out.colour = colour_words(made.dark_bright, made.resolved_tense);
  out.changed = made.changed;
  out.hands_move = static_cast<std::uint64_t>(made.hands_move);
  out.reason = made.reason;
  if (made.pedal) out.pedal.emplace(made.pedal->value());
  return out;
}

protocol::FoundLoop found_loop(const takes::Loop& loop, const takes::Sections& sections,
                               const takes::Summary& take) {
  protocol::FoundLoop out;
  out.confidence = rounded(loop.confidence);
  for (const auto& chord : loop.chords) {
    protocol::LoopChord& made = out.chords.emplace_back();
    put_chord(made, chord.chord, chord.root);
    if (chord.beats > 0) made.beats = chord.beats;
    made.length_us = chord.length.count();
  }
  for (std::size_t i = 0; i < loop.passes.size(); ++i) {
    const auto& pass = loop.passes[i];
    out.passes.push_back({(take.at + pass.begin).count(), (pass.end - pass.begin).count(),
                          sections.sections[sections.of_pass[i]].label, pass.variant, pass.cut,
                          pass.transposed, describe_difference(loop, pass)});
  }
  for (const auto& section : sections.sections) {
    const Micros begin = loop.passes[section.first].begin,
                 end = loop.passes[section.first + section.count - 1].end;
    out.sections.push_back({section.label, std::string(text(section.kind)), section.first, section.count,
                            (take.at + begin).count(), (end - begin).count(), section.reason});
  }
  return out;
}

constexpr std::array<bool song::Layers::*, 4> kLayers{&song::Layers::melody, &song::Layers::chords,
                                                      &song::Layers::bass, &song::Layers::pad};
std::vector<protocol::SongLayer> layers_of(const song::Layers& layers) {
  std::vector<protocol::SongLayer> out;
  for (std::size_t i = 0; i < kLayers.size(); ++i)
    if (layers.*kLayers[i]) out.push_back(static_cast<protocol::SongLayer>(i));
  return out;
}

protocol::TimeSignature signature_of(const song::Meter& meter) {
  const harmony::TimeSignature written = meter.signature();
  protocol::TimeSignature out;
  out.upper = written.upper;
  out.lower = written.lower;
  return out;
}

constexpr std::array<std::string_view, 6> kDynamics{"pp", "p", "mp", "mf", "f", "ff"};

}  // namespace

protocol::TakeLoop loop_of(const song::TakeStudy& found, const takes::Summary& take) {
  protocol::TakeLoop out;
  out.take = take.take;
  if (found.bars.pulse) {
    out.tempo = rounded(60 / found.bars.seconds_a_beat);
    out.meter = static_cast<std::uint32_t>(found.bars.meter);
    out.signature = signature_of(found.bars.written());
  }
  out.loops.push_back(found_loop(*found.loop, found.sections, take));
  for (const auto& other : found.others) out.loops.push_back(found_loop(other.loop, other.sections, take));
  const protocol::FoundLoop& first = out.loops.front();
  out.confidence = first.confidence;
  out.chords = first.chords;
  out.passes = first.passes;
  out.sections = first.sections;
  return out;
}

protocol::Reharmonised reharmonised_of(const song::Reharmonisation& made, takes::TakeId take) {
  protocol::Reharmonised out;
  out.take = take;
  if (made.key) out.key = harmony::harte(*made.key);
  out.section = made.melody.section;
  out.passes = made.melody.passes;
  out.free = made.free;
  out.apart = made.apart;
  out.exact = made.exact;
  out.played = proposal_of(made.played);
  for (const auto& proposal : made.proposals) out.proposals.push_back(proposal_of(proposal));
  return out;
}

Result<song::ReharmoniseWish> wish_of(const protocol::Reharmonise& wish) {
  song::ReharmoniseWish out;
  const auto number = [](const std::optional<protocol::Wish>& value) {
    return value ? static_cast<float>(value->value) : 0.0f;
  };
  out.wishes = {number(wish.brighter), number(wish.tenser), number(wish.surprising)};
  if (wish.roots) out.roots = static_cast<song::RootMotion>(*wish.roots);
  if (wish.pedal) {
    out.pedal = song::parse_pedal(*wish.pedal);
    if (!out.pedal)
      return invalid_input("params.pedal is \"" + *wish.pedal + "\"; it is a note name such as Bb, or any.");
  }
  if (wish.keep)
    for (const auto place : *wish.keep) out.keep.push_back(static_cast<std::size_t>(place.value - 1));
  out.section = wish.section.value_or("");
  if (wish.count) out.count = static_cast<std::size_t>(wish.count->value);
  return out;
}

protocol::SongSketch sketch_of(const song::Sketch& sketch) {
  protocol::SongSketch out;
  out.title = sketch.title;
  out.tempo = sketch.tempo;
  if (sketch.feel != song::Feel::kStraight) out.feel = static_cast<protocol::SongFeel>(sketch.feel);
  if (sketch.count_in != 0) out.count_in = sketch.count_in;
  for (const auto& section : sketch.sections) {
    protocol::SketchSection to;
    to.name = section.name;
    to.kind = static_cast<protocol::SectionRole>(section.kind);
    if (section.source.take != 0) to.take = static_cast<std::uint64_t>(section.source.take);
    if (!section.source.file.empty()) to.source = section.source.file;
    if (!section.label.empty()) to.label = section.label;
    if (!section.passes.empty()) to.passes.emplace(section.passes.begin(), section.passes.end());
    if (section.span) to.span = {section.span->first, section.span->second};
    if (section.repeats) to.repeats = *section.repeats;
    if (!(section.layers == song::Layers{})) to.layers = layers_of(section.layers);
    if (section.proposal) to.reharmonise = *section.proposal;
    if (!section.chords.empty()) to.chords = section.chords;
    if (section.transpose != 0) to.transpose = section.transpose;
    if (section.key) to.key = harmony::text(*section.key);
    if (!section.chord_line.empty()) to.chord_line = section.chord_line;
    if (section.tune && section.tune->take != 0)
      to.tune_take = static_cast<std::uint64_t>(section.tune->take);
    if (section.tune && !section.tune->file.empty()) to.tune_source = section.tune->file;
    to.tempo = section.tempo;
    if (section.meter) to.meter = *section.meter;
    if (section.feel) to.feel = static_cast<protocol::SongFeel>(*section.feel);
    for (std::size_t i = 0; i < kDynamics.size(); ++i)
      if (section.dynamic == kDynamics[i]) to.dynamics = static_cast<protocol::SongDynamic>(i);
    if (!section.lyrics.empty()) to.lyrics = section.lyrics;
    if (const auto sign = song::begins_text(section.signs); !sign.empty()) to.begins = sign;
    if (const auto sign = song::ends_text(section.signs); !sign.empty()) to.ends = sign;
    if (section.ritardando) to.ritardando = true;
    if (section.fermata) to.fermata = true;
    out.sections.push_back(std::move(to));
  }
  return out;
}

Result<song::Sketch> sketch_of(const protocol::SongSketch& sketch) {
  song::Sketch out;
  out.title = sketch.title;
  out.tempo = sketch.tempo;
  if (sketch.feel) out.feel = static_cast<song::Feel>(*sketch.feel);
  if (sketch.count_in) out.count_in = static_cast<int>(sketch.count_in->value);
  const auto wrong = [&](const std::string& problem) {
    const std::size_t place = out.sections.size();
    return invalid_input(fmt::format("section {} ({}) {}", place + 1, sketch.sections[place].name, problem));
  };
  for (const auto& section : sketch.sections) {
    song::SketchSection to;
    to.name = section.name;
    to.kind = static_cast<song::SketchKind>(section.kind);
    to.source = {section.source.value_or(""),
                 static_cast<std::int64_t>(std::min<std::uint64_t>(section.take.value_or(0), INT64_MAX))};
    to.label = section.label.value_or("");
    if (section.passes)
      for (const auto pass : *section.passes) to.passes.push_back(static_cast<int>(pass.value));
    if (section.span && section.span->size() == 2) to.span = {(*section.span)[0], (*section.span)[1]};
    if (section.repeats) to.repeats = static_cast<int>(section.repeats->value);
    if (section.layers) {
      to.layers = {false, false, false, false};
      for (const auto layer : *section.layers) to.layers.*kLayers[static_cast<std::size_t>(layer)] = true;
    }
    if (section.reharmonise) to.proposal = static_cast<int>(section.reharmonise->value);
    to.chords = section.chords.value_or(std::vector<std::string>{});
    if (section.transpose) to.transpose = static_cast<int>(section.transpose->value);
    if (section.key && !(to.key = harmony::parse_key(*section.key)))
      return wrong(fmt::format("has a key that is not known: {}", *section.key));
    to.chord_line = section.chord_line.value_or("");
    if (!to.chords.empty() && !to.chord_line.empty())
      return wrong("has both chords and chord_line; use one of them");
    if (section.tune_take || section.tune_source)
      to.tune = song::SketchSource{section.tune_source.value_or(""),
                                   section.tune_source ? 0
                                                       : static_cast<std::int64_t>(std::min<std::uint64_t>(
                                                             *section.tune_take, INT64_MAX))};
    to.tempo = section.tempo;
    if (section.meter) to.meter = static_cast<int>(section.meter->value);
    if (section.feel) to.feel = static_cast<song::Feel>(*section.feel);
    if (section.dynamics) to.dynamic = kDynamics[static_cast<std::size_t>(*section.dynamics)];
    to.lyrics = section.lyrics.value_or(std::vector<std::string>{});
    if (section.begins && !song::set_begins(to.signs, *section.begins))
      return wrong("begins with an unknown sign; they are " + song::known_begins());
    if (section.ends && !song::set_ends(to.signs, *section.ends))
      return wrong("ends with an unknown sign; they are " + song::known_ends());
    to.ritardando = section.ritardando.value_or(false);
    to.fermata = section.fermata.value_or(false);
    out.sections.push_back(std::move(to));
  }
  return out;
}

protocol::GrownSketch grown_of(const song::SketchGrowth& grown, const song::Sketch& sketch) {
  protocol::GrownSketch out;
  out.section = grown.from + 1;
  out.from = sketch.sections[grown.from].name;
  out.key = harmony::harte(grown.key);
  for (const auto& chord : grown.chords) out.chords.push_back(chord_parts(chord.chord, chord.root));
  out.exact = grown.growth.exact;
  song::Sketch all;
  all.sections = grown.sections;
  const auto sections = sketch_of(all).sections;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    const song::GrownSection& made = grown.growth.sections[i];
    protocol::GrownSection to;
    to.section = sections[i];
    to.key = harmony::harte(made.key);
    for (const auto& chord : made.chords) to.chords.push_back(chord_parts(chord.chord, chord.root));
    if (made.pedal) to.pedal = made.pedal->value();
    to.reason = made.reason;
    out.proposals.push_back(std::move(to));
  }
  return out;
}

protocol::SketchOutline outline_of(const song::Form& form) {
  protocol::SketchOutline out;
  out.title = form.title;
  if (form.key) out.key = harmony::harte(*form.key);
  out.meter = static_cast<std::uint32_t>(form.meter.beats);
  out.signature = signature_of(form.meter);
  out.tempo = rounded(form.tempo);
  double now = 0;
  for (const song::Part& part : form.parts) {
    protocol::OutlinedPart to;
    to.name = part.name;
    if (part.own_key && part.own_key->key) to.key = harmony::harte(*part.own_key->key);
    to.at = now;
    for (int time = 1; time <= part.times; ++time) to.beats += song::length_at(part, time).beats();
    now += to.beats;
    to.times = static_cast<std::uint32_t>(part.times);
    to.layers = layers_of(part.layers);
    to.section = static_cast<std::uint64_t>(part.section);
    for (const auto& chord : part.chords) to.chords.push_back(chord_parts(chord.chord, chord.root));
    out.parts.push_back(std::move(to));
  }
  return out;
}

protocol::SongSound sound_of(const song::SoundingSong& song) {
  protocol::SongSound out;
  out.length_us = song.length.count();
  for (const song::SoundingTurn& turn : song.turns)
    out.turns.push_back({turn.part, static_cast<std::uint64_t>(turn.time), turn.at.count()});
  for (const song::SoundingNote& note : song.notes)
    out.notes.push_back({note.at.count(), note.length.count(), note.pitch.value(), note.velocity.value(),
                         static_cast<protocol::SongLayer>(note.layer)});
  return out;
}

}  // namespace undersong::server
