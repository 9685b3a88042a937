#include "daemon/song/form_midi.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <optional>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/chart.h"
#include "daemon/song/comping.h"
#include "daemon/song/lead_sheet.h"

namespace undersong::song {
namespace {

constexpr std::uint16_t kPerQuarter = 960;
constexpr std::int64_t kFine = kPerQuarter / 480;  // file ticks per written tick
constexpr std::uint8_t kVibraphone = 11, kElectricPiano = 4, kAcousticBass = 32, kStrings = 48;
constexpr Velocity kChordsSoft{52}, kBassSoft{60};
constexpr int kLowestBass = 28;  // E1

midi::Tick file_tick(Ticks at) {
  return static_cast<midi::Tick>(at.count() * kFine);
}

// A chord of the whole song with all repeats written out, and the layers that play it.
struct SoundingChord {
  WrittenChord chord;
  Layers layers;
};

midi::SmfTrack new_track(std::string name, std::uint8_t channel, std::uint8_t program) {
  midi::SmfTrack track;
  track.name = std::move(name);
  track.events.push_back({0, {}, {static_cast<std::uint8_t>(0xC0 | channel), program, 0}, 2});
  return track;
}
void add_note(midi::SmfTrack& track, std::uint8_t channel, Ticks from, Ticks to, Pitch pitch,
              Velocity velocity) {
  const midi::Event on = midi::note_on({}, channel, pitch, Velocity(std::max(1, velocity.value()))),
                    off = midi::note_off({}, channel, pitch);
  track.events.push_back({file_tick(from), {}, on.bytes, on.size});
  track.events.push_back({std::max(file_tick(to), file_tick(from) + 1), {}, off.bytes, off.size});
}
// At the same tick, notes end before others begin.
void finish(midi::Smf& file, midi::SmfTrack track) {
  std::stable_sort(
      track.events.begin(), track.events.end(), [](const midi::SmfEvent& a, const midi::SmfEvent& b) {
        const auto rank = [](const midi::SmfEvent& e) {
          return (e.bytes[0] & 0xF0) == midi::kNoteOn ? 2 : (e.bytes[0] & 0xF0) == midi::kNoteOff ? 1 : 0;
        };
        return a.tick != b.tick ? a.tick < b.tick : rank(a) < rank(b);
      });
  file.tracks.push_back(std::move(track));
}

}  // namespace

Result<std::vector<std::uint8_t>> form_midi(const Form& form, const StringParts& strings) {
  midi::Smf file;
  file.division.ticks_per_quarter = kPerQuarter;
  file.tempos.push_back({0,
                         {},
                         static_cast<std::uint32_t>(std::clamp<std::int64_t>(
                             std::llround(60e6 / std::max(1., form.tempo)), 1, 0xFF'FFFF))});
  int meter_before = 0;
  std::vector<SoundingChord> changes;
  midi::SmfTrack melody = new_track("melody", 0, kVibraphone);
  Ticks now;
  std::optional<WrittenKey> key_before;
  for (const Part& part : form.parts) {
    if (const WrittenKey here = key_of(form, part); here != key_before) {
      key_before = here;
      file.key_signatures.push_back({file_tick(now),
                                     {},
                                     static_cast<std::int8_t>(here.signature),
                                     here.key && here.key->mode == harmony::Mode::kMinor});
    }
    if (const int meter = meter_of(form, part); meter != meter_before) {
      meter_before = meter;
      file.time_signatures.push_back({file_tick(now), {}, static_cast<std::uint8_t>(meter), 4, 24, 8});
    }
    if (!part.name.empty())
      file.markers.push_back(
          {file_tick(now),
           {},
           midi::SmfText::Kind::kMarker,
           0,
           part.times > 1 ? fmt::format("{}, {} times", part.name, part.times) : part.name});
    for (int time = 1; time <= part.times; ++time) {
      for (WrittenChord chord : chords_at(part, time)) {
        chord.at += now;
        if (chord.length > Ticks(0)) changes.push_back({chord, part.layers});
      }
      for (const WrittenNote& note : melody_at(part, time))
        if (part.layers.melody)
          add_note(melody, 0, now + note.at, now + note.at + note.length, note.pitch, note.velocity);
      now += length_at(part, time);
    }
  }
  file.tracks.push_back({form.title, {}, file_tick(now)});
  finish(file, std::move(melody));

  std::vector<harmony::Chord> chords;
  for (const SoundingChord& change : changes) chords.push_back(change.chord.chord);
  midi::SmfTrack comping = new_track("chords", 1, kElectricPiano),
                 bass = new_track("bass roots", 2, kAcousticBass);
  const auto keys = close_chords(chords);
  for (std::size_t i = 0; i < changes.size(); ++i) {
    const WrittenChord& chord = changes[i].chord;
    file.texts.push_back(
        {file_tick(chord.at), {}, midi::SmfText::Kind::kText, 2, harmony::symbol(chord.chord, chord.root)});
    if (changes[i].layers.chords)
      for (const Pitch key : keys[i])
        add_note(comping, 1, chord.at, chord.at + chord.length, key, kChordsSoft);
    if (changes[i].layers.bass)
      add_note(bass, 2, chord.at, chord.at + chord.length,
               Pitch(kLowestBass + ascending(PitchClass(kLowestBass), chord.chord.bass)), kBassSoft);
  }
  finish(file, std::move(comping));
  finish(file, std::move(bass));
  for (std::size_t voice = harmony::kStrings; voice-- > 0;) {
    const auto channel = static_cast<std::uint8_t>(3 + (harmony::kStrings - 1 - voice));
    midi::SmfTrack track = new_track(fmt::format("string pad, {}", kStringNames[voice]), channel, kStrings);
    Ticks begin;
    for (const Part& part : strings.voices[voice].parts)
      for (int time = 1; time <= part.times; ++time) {
        for (const WrittenNote& note : melody_at(part, time))
          add_note(track, channel, begin + note.at, begin + note.at + note.length, note.pitch, note.velocity);
        begin += length_at(part, time);
      }
    finish(file, std::move(track));
  }
  return midi::write_smf(file);
}

Result<Folder> hand_over_form(const Form& form, harmony::PadStyle style) {
  Folder out;
  out.form = form;
  auto band = band_files(form, style);
  auto midi = form_midi(form, band.strings);
  if (!midi) return midi.error();
  const auto bytes = [](const std::string& text) {
    return std::vector<std::uint8_t>(text.begin(), text.end());
  };
  out.files.push_back({"song.mid", std::move(*midi)});
  out.files.push_back({"lead_sheet.musicxml", bytes(lead_sheet(form))});
  out.files.push_back({"chart.txt", bytes(chart(form))});
  std::move(band.files.begin(), band.files.end(), std::back_inserter(out.files));
  return out;
}

}  // namespace undersong::song
