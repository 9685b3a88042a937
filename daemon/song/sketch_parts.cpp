#include "daemon/song/sketch_parts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>

#include "daemon/song/bass_line.h"
#include "daemon/song/chord_line.h"

namespace undersong::song {

// What a section says beside its notes.
void mark(const SketchSection& section, Feel feel, std::vector<Part>& parts) {
  for (Part& part : parts) {
    part.own_tempo = section.tempo;
    const bool quarters = !part.own_meter || part.own_meter->value == BeatValue::kQuarter;
    if (!part.free && quarters) part.feel = feel;
  }
  Signs &first = parts[parts.front().pickup && parts.size() > 1 ? 1 : 0].signs, &last = parts.back().signs;
  first.segno = section.signs.segno;
  first.coda = section.signs.coda;
  last.fine = section.signs.fine;
  last.to_coda = section.signs.to_coda;
  last.jump = section.signs.jump;
  last.until = section.signs.until;
  parts.back().ritardando = section.ritardando;
  parts.back().fermata = section.fermata;
}

// A melody of another length: it is repeated, and cut at the end.
std::vector<WrittenNote> fitted(const std::vector<WrittenNote>& notes, Ticks length, Ticks wanted) {
  std::vector<WrittenNote> out;
  for (Ticks begin; begin < wanted && length > Ticks(0); begin += length)
    for (WrittenNote note : notes) {
      note.at += begin;
      if (note.at >= wanted) break;
      note.length = std::min(note.length, wanted - note.at);
      out.push_back(std::move(note));
    }
  return out;
}

// With a fermata, the last note lasts to the end if it begins in the last bar.
void hold_last(Part& part, Ticks bar) {
  std::vector<WrittenNote>* notes = &part.melody;
  for (Ending& ending : part.endings)
    if (ending.times.back() == part.times) notes = &ending.melody;
  const Ticks end = length_at(part, part.times);
  if (notes->empty() || notes->back().at + bar < end) return;
  notes->back().length = end - notes->back().at;
}

// Chords with a rhythm and a length of their own.
Result<void> lay_chords(const SketchSection& section, const TakeStudy& from, std::vector<Part>& parts) {
  if (parts.size() > 1)
    return invalid_input(
        fmt::format("what it draws on has {} stretches that differ, but a line of chords needs one; use a "
                    "label or one pass",
                    parts.size()));
  Part& part = parts.front();
  if (part.free)
    return invalid_input(
        "its take has no pulse, so chords cannot have a rhythm of their own; list them instead");
  auto line = read_chord_line(section.chord_line, section.meter.value_or(from.bars.meter));
  if (!line) return line.error();
  part.melody = fitted(part.melody, part.length, line->length);
  part.chords = std::move(line->chords);
  part.length = line->length;
  part.endings.clear();
  part.bass = {};  // what was played belongs to the old chords
  return {};
}

void bar_anew(Part& part, Ticks bar) {
  if (part.free) return;
  if (!part.endings.empty()) {
    auto chords = chords_at(part, 1);
    auto melody = melody_at(part, 1);
    auto bass = bass_at(part, 1);
    part.length = length_at(part, 1);
    part.endings.clear();
    part.chords = std::move(chords), part.melody = std::move(melody), part.bass = std::move(bass);
  }
  if (!part.bass.slashes.empty()) part.bass = {};
  const Ticks missing((bar.count() - part.length.count() % bar.count()) % bar.count());
  if (!part.chords.empty()) part.chords.back().length += missing;
  part.length += missing;
}

// Sets how often a part is played. Endings keep their times; further repeats go through the same cycle of
// endings again.
void repeat(Part& part, int times) {
  const int once = part.times;
  part.times = times;
  for (Ending& ending : part.endings) {
    std::vector<int> all;
    for (int time = 1; time <= times; ++time)
      if (std::find(ending.times.begin(), ending.times.end(), (time - 1) % once + 1) != ending.times.end())
        all.push_back(time);
    ending.times = std::move(all);
  }
  std::erase_if(part.endings, [](const Ending& ending) { return ending.times.empty(); });
}

Result<void> transpose_part(Part& part, int by) {
  const auto move_chords = [&](std::vector<WrittenChord>& chords) {
    for (WrittenChord& chord : chords) {
      chord.chord.root = transpose(chord.chord.root, by);
      chord.chord.bass = transpose(chord.chord.bass, by);
      chord.root = harmony::spell_within(chord.chord.root, -5);
    }
  };
  bool fits = true;
  const auto move_notes = [&](std::vector<WrittenNote>& notes) {
    for (WrittenNote& note : notes) {
      const int key = note.pitch.value() + by;
      fits = fits && key >= 0 && key <= 127;
      note.pitch = Pitch(key);
    }
  };
  const auto move_bass = [&](BassLine& bass) {
    for (WrittenNote& note : bass.notes) note.pitch = within_bass_range(note.pitch.value() + by);
  };
  move_chords(part.chords);
  move_notes(part.melody);
  move_bass(part.bass);
  for (Ending& ending : part.endings)
    move_chords(ending.chords), move_notes(ending.melody), move_bass(ending.bass);
  if (!fits)
    return invalid_input(fmt::format("transposed {} semitones {}, its melody leaves the range of MIDI notes",
                                     std::abs(by), by > 0 ? "up" : "down"));
  return {};
}

}  // namespace undersong::song
