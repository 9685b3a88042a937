#include "daemon/song/song_score.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/song/sounding_song.h"

namespace undersong::song {
namespace {

// By layer: melody, chords, bass, pad. Common practice, no source.
constexpr std::array kLayerLoudness{1.0, 0.8, 0.9, 0.55};

double loudness_of(const SoundingNote& note) {
  return note.velocity.value() * kLayerLoudness[static_cast<std::size_t>(note.layer)];
}

// Of 1 where the song is soft enough.
double softened(const std::vector<SoundingNote>& notes, Velocity velocity) {
  double sum = 0;
  for (const SoundingNote& note : notes) sum += loudness_of(note);
  return std::min(1.0, velocity.value() * static_cast<double>(notes.size()) / std::max(1.0, sum));
}

struct Struck {
  Micros at{}, end{};
  double loudness = 0;
};

// From the first turn of the section to the end of the last one that follows it without another between.
Result<void> find_span(const SongSpan& span, SongScore& out) {
  if (!span.section) return {};
  const auto begins = std::find_if(out.turns.begin(), out.turns.end(),
                                   [&](const SectionTurn& turn) { return turn.section == *span.section; });
  if (begins == out.turns.end())
    return not_found(fmt::format("Section {} is not played in this song.", *span.section));
  out.from = begins->at;
  if (!span.only) return {};
  const auto ends = std::find_if(begins, out.turns.end(),
                                 [&](const SectionTurn& turn) { return turn.section != *span.section; });
  if (ends != out.turns.end()) out.to = ends->at;
  return {};
}

}  // namespace

Result<SongScore> song_score(const Form& form, const SongSpan& span, Velocity velocity) {
  const auto song = sounding_song(form);
  if (!song) return song.error();
  SongScore out;
  out.title = form.title;
  out.length = out.to = song->length;
  for (const SoundingTurn& turn : song->turns)
    out.turns.push_back({form.parts[turn.part].section, turn.time, turn.at});
  if (const auto found = find_span(span, out); !found) return found.error();
  if (out.from >= out.to) return invalid_input("The song has no notes to play.");

  const double softer = softened(song->notes, velocity);
  midi::Score score;
  score.length = out.to - out.from;
  std::array<std::optional<Struck>, 128> down{};
  const auto write = [&](int key, const Struck& struck) {
    const int loud = std::clamp(static_cast<int>(std::lround(struck.loudness * softer)), 1, 127);
    score.events.push_back(midi::note_on(struck.at - out.from, 0, Pitch(key), Velocity(loud)));
    score.events.push_back(midi::note_off(
        std::max(struck.at + Micros(1), std::min(struck.end, out.to)) - out.from, 0, Pitch(key)));
  };
  for (const SoundingNote& note : song->notes) {
    if (note.at < out.from || note.at >= out.to) continue;
    const int key = note.pitch.value();
    auto& here = down[static_cast<std::size_t>(key)];
    Struck struck{note.at, note.at + note.length, loudness_of(note)};
    if (here && here->end > note.at) {
      struck.end = std::max(struck.end, here->end);
      if (here->at == note.at) struck.loudness = std::max(struck.loudness, here->loudness);
      here->end = note.at;
    }
    if (here && here->at < note.at) write(key, *here);
    here = struck;
  }
  for (std::size_t key = 0; key < down.size(); ++key)
    if (down[key]) write(static_cast<int>(key), *down[key]);
  // Of what happens at one time, keys are released before they are struck.
  std::stable_sort(score.events.begin(), score.events.end(), [](const midi::Event& a, const midi::Event& b) {
    return a.at != b.at ? a.at < b.at : a.kind() == midi::kNoteOff && b.kind() != midi::kNoteOff;
  });
  out.score = std::make_shared<const midi::Score>(std::move(score));
  return out;
}

}  // namespace undersong::song
