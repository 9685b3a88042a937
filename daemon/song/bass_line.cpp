#include "daemon/song/bass_line.h"

#include <algorithm>

#include "daemon/song/melody_line.h"

namespace undersong::song {
namespace {

constexpr Micros kTogether{60'000};
constexpr Pitch kRegister{48};  // C3: what is lower belongs to the bass, whatever sounds with it
constexpr int kChordAbove = 3, kBrokenAbove = 7;  // semitones over the bass note

// How many notes are struck with this one.
std::size_t struck_together(const std::vector<takes::PlayedNote>& notes, const takes::PlayedNote& note) {
  const auto before = [](const takes::PlayedNote& n, Micros t) { return n.at < t; };
  const auto from = std::lower_bound(notes.begin(), notes.end(), note.at - kTogether, before),
             to = std::lower_bound(notes.begin(), notes.end(), note.at + kTogether, before);
  return static_cast<std::size_t>(to - from);
}

}  // namespace

Pitch within_bass_range(int key) {
  while (key < kLowestBass) key += 12;
  while (key > kHighestBass) key -= 12;
  return Pitch(key);
}

std::vector<takes::PlayedNote> bass_line(const takes::HeardTake& take) {
  std::vector<takes::PlayedNote> out;
  const takes::PlayedNote* held = nullptr;  // the lowest bass note under this harmony
  std::size_t span = 0;
  for (const takes::HeardNote& heard : take.bass) {
    auto note = std::lower_bound(take.notes.begin(), take.notes.end(), heard.at,
                                 [](const takes::PlayedNote& n, Micros t) { return n.at < t; });
    while (note != take.notes.end() && note->at == heard.at && note->pitch != heard.pitch) ++note;
    if (note == take.notes.end() || note->at != heard.at) continue;
    const std::size_t before = span;
    while (span + 1 < take.spans.size() && take.spans[span].end <= note->at + kTogether) ++span;
    if (span != before) held = nullptr;
    if (held && note->pitch > held->pitch && note->pitch >= kRegister) {
      const int above = note->pitch.value() - held->pitch.value();
      const bool sounds = pedal_until(take.pedal, held->at + held->length) > note->at;
      if ((above >= kChordAbove && struck_together(take.notes, *note) >= 3) ||
          (above >= kBrokenAbove && sounds))
        continue;
    }
    if (!out.empty() && note->at <= out.back().at) continue;
    if (!held || note->pitch <= held->pitch) held = &*note;
    out.push_back(*note);
  }
  as_one_voice(out, take.pedal);
  for (takes::PlayedNote& note : out) note.pitch = within_bass_range(note.pitch.value());
  return out;
}

}  // namespace undersong::song
