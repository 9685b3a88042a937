#include "daemon/song/form_midi.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <optional>
#include <span>
#include <string_view>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/bass_voice.h"
#include "daemon/song/chart.h"
#include "daemon/song/comping.h"
#include "daemon/song/feel.h"
#include "daemon/song/lead_sheet.h"
#include "daemon/song/part_tracks.h"
#include "daemon/song/road.h"

namespace undersong::song {
namespace {

constexpr std::uint16_t kPerQuarter = 960;
constexpr std::int64_t kFine = kPerQuarter / 480;  // file ticks per tick on paper
constexpr std::uint8_t kWoodBlock = 115, kCountInChannel = 8;
constexpr int kHighClick = 84, kLowClick = 77, kSoftestClick = 36, kLoudestClick = 64;

// Where the beats of the song lie in the file, which counts quarter notes.
class FileTime {
 public:
  FileTime(const Form& form, const std::vector<Turn>& turns, Ticks lead) {
    std::int64_t now = 0;
    Ticks at;
    const auto add = [&](Ticks length, BeatValue value) {
      stretches_.push_back({at, now, value});
      at += length;
      now += written(length, value) * kFine;
    };
    if (!form.parts.empty()) add(lead, meter_of(form, form.parts.front()).value);
    for (const Turn& turn : turns)
      add(length_at(form.parts[turn.part], turn.time), meter_of(form, form.parts[turn.part]).value);
    if (stretches_.empty()) stretches_.push_back({Ticks(0), 0, form.meter.value});
  }
  midi::Tick operator()(Ticks at) const {
    const Stretch& here = stretch(at);
    return static_cast<midi::Tick>(here.file + written(at - here.at, here.value) * kFine);
  }
  // Of a tempo that holds from there, in beats a minute.
  std::uint32_t micros_a_quarter(Ticks at, double tempo) const {
    const BeatValue value = stretch(at).value;
    return static_cast<std::uint32_t>(std::llround(60e6 * static_cast<double>(quarters_under(value)) /
                                                   (tempo * static_cast<double>(quarters_over(value)))));
  }

 private:
  struct Stretch {
    Ticks at;
    std::int64_t file;
    BeatValue value;
  };
  const Stretch& stretch(Ticks at) const {
    const auto after = std::upper_bound(stretches_.begin(), stretches_.end(), at,
                                        [](Ticks t, const Stretch& each) { return t < each.at; });
    return after == stretches_.begin() ? *after : *(after - 1);
  }
  std::vector<Stretch> stretches_;
};

// `begin`: where the part begins that the note counts from.
void add_note(midi::SmfTrack& track, const FileTime& time, std::uint8_t channel, Ticks begin,
              const WrittenNote& note, Feel feel) {
  const Ticks from = begin + swung(note.at, feel), to = begin + swung(note.at + note.length, feel);
  const midi::Event on = midi::note_on({}, channel, note.pitch, Velocity(std::max(1, note.velocity.value()))),
                    off = midi::note_off({}, channel, note.pitch);
  track.events.push_back({time(from), {}, on.bytes, on.size});
  track.events.push_back({std::max(time(to), time(from) + 1), {}, off.bytes, off.size});
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

// How loud the dynamics are, and the loudness to which those of the accompaniment belong.
constexpr std::array<std::pair<std::string_view, double>, 6> kLoudness{
    {{"pp", 36}, {"p", 48}, {"mp", 60}, {"mf", 74}, {"f", 90}, {"ff", 108}}};
constexpr double kUsualLoudness = 74;

std::optional<double> loudness_of(const Part& part) {
  for (const auto& [dynamic, loudness] : kLoudness)
    if (part.dynamic == dynamic) return loudness;
  return std::nullopt;
}
Velocity scaled(Velocity velocity, double by) {
  return Velocity(std::clamp(static_cast<int>(std::lround(velocity.value() * by)), 1, 127));
}
// What brings a line of a part to its dynamic, with its accents kept.
double scale_of_line(const Part& part, std::span<const WrittenNote> line) {
  const auto loudness = loudness_of(part);
  if (!loudness || line.empty()) return 1;
  double sum = 0;
  for (const WrittenNote& note : line) sum += note.velocity.value();
  return *loudness * static_cast<double>(line.size()) / std::max(1., sum);
}
double scale_of_others(const Part& part) {
  return loudness_of(part).value_or(kUsualLoudness) / kUsualLoudness;
}

midi::SmfTimeSignature midi_signature(midi::Tick at, const Meter& meter, Ticks length) {
  const harmony::TimeSignature signature = meter.signature(length);
  const auto clocks = static_cast<std::uint8_t>(written(kBeat, meter.value) / 20);  // of 24 a quarter note
  return {at,     {}, static_cast<std::uint8_t>(signature.upper), static_cast<std::uint8_t>(signature.lower),
          clocks, 8};
}

// Markers, time signatures and key signatures.
void add_signs(midi::Smf& file, const FileTime& time, const Form& form, const std::vector<Turn>& turns,
               Ticks lead) {
  std::optional<Meter> meter_before;
  std::optional<WrittenKey> key_before;
  std::size_t part_before = form.parts.size();
  for (const Turn& turn : turns) {
    const Part& part = form.parts[turn.part];
    const midi::Tick at = turn.at == Ticks(0) ? 0 : time(lead + turn.at);  // the count-in has them, too
    if (const WrittenKey here = key_of(form, part); here != key_before) {
      key_before = here;
      file.key_signatures.push_back({at,
                                     {},
                                     static_cast<std::int8_t>(here.signature),
                                     here.key && here.key->mode == harmony::Mode::kMinor});
    }
    if (const Meter meter = meter_of(form, part); meter != meter_before) {
      const bool alone = part.pickup && lead == Ticks(0);  // else it fills the last bar of the count-in
      if (!alone) meter_before = meter;
      file.time_signatures.push_back(midi_signature(at, meter, alone ? part.length : meter.bar()));
    }
    const bool again = turn.part == part_before && turn.time > 1;
    part_before = turn.part;
    if (part.name.empty() || again) continue;
    const int times = part.times - turn.time + 1;
    file.markers.push_back({time(lead + turn.at),
                            {},
                            midi::SmfText::Kind::kMarker,
                            0,
                            times > 1 ? fmt::format("{}, {} times", part.name, times) : part.name});
  }
}

midi::SmfTrack melody_track(midi::Smf& file, const FileTime& time, const Form& form,
                            const std::vector<Turn>& turns, Ticks lead) {
  midi::SmfTrack out = new_track("melody", 0, kVibraphone);
  for (const Turn& turn : turns) {
    const Part& part = form.parts[turn.part];
    if (!part.layers.melody) continue;
    const auto tune = melody_at(part, turn.time);
    const double scale = scale_of_line(part, tune);
    for (WrittenNote note : tune) {
      for (const Syllable& syllable : note.words)
        if (syllable.verse == turn.time && !syllable.text.empty())
          file.texts.push_back({time(lead + turn.at + swung(note.at, part.feel)),
                                {},
                                midi::SmfText::Kind::kLyric,
                                1,
                                syllable.text});
      note.velocity = scaled(note.velocity, scale);
      add_note(out, time, 0, lead + turn.at, note, part.feel);
    }
  }
  return out;
}

void add_chords_and_bass(midi::Smf& file, const FileTime& time, const Form& form,
                         const std::vector<Turn>& turns, Ticks lead) {
  struct SoundingChord {
    WrittenChord chord;
    const Part* part;
    Ticks begin;  // of the part
  };
  std::vector<SoundingChord> changes;
  std::vector<harmony::Chord> chords;
  for (const Turn& turn : turns)
    for (const WrittenChord& chord : chords_at(form.parts[turn.part], turn.time)) {
      if (chord.length <= Ticks(0)) continue;
      changes.push_back({chord, &form.parts[turn.part], lead + turn.at});
      chords.push_back(chord.chord);
    }
  const auto keys = close_chords(chords);
  midi::SmfTrack comping = new_track("chords", 1, kElectricPiano), bass = new_track("bass", 2, kAcousticBass);
  for (std::size_t i = 0; i < changes.size(); ++i) {
    const auto& [chord, part, begin] = changes[i];
    const double scale = scale_of_others(*part);
    file.texts.push_back({time(begin + swung(chord.at, part->feel)),
                          {},
                          midi::SmfText::Kind::kText,
                          2,
                          harmony::symbol(chord.chord, chord.root)});
    WrittenNote note;
    note.at = chord.at;
    note.length = chord.length;
    note.velocity = scaled(kChordsSoft, scale);
    if (part->layers.chords)
      for (const Pitch key : keys[i]) {
        note.pitch = key;
        add_note(comping, time, 1, begin, note, part->feel);
      }
  }
  for (const Turn& turn : turns) {
    const Part& part = form.parts[turn.part];
    if (!part.layers.bass) continue;
    const auto line =
        bass_voice(chords_at(part, turn.time), bass_at(part, turn.time), meter_of(form, part), false);
    const double scale = scale_of_line(part, line);
    for (WrittenNote note : line) {
      note.velocity = scaled(note.velocity, scale);
      add_note(bass, time, 2, lead + turn.at, note, part.feel);
    }
  }
  finish(file, std::move(comping));
  finish(file, std::move(bass));
}

// A click on every beat of the count-in, a little louder each time; the first of a bar is higher.
midi::SmfTrack count_in_track(const FileTime& time, const Form& form, Ticks lead) {
  midi::SmfTrack out = new_track("count-in", kCountInChannel, kWoodBlock);
  const int beats = static_cast<int>((lead.count() + 479) / 480),
            meter = meter_of(form, form.parts.front()).beats;
  for (int beat = 0; beat < beats; ++beat) {
    WrittenNote click;
    click.pitch = Pitch(beat % meter == 0 ? kHighClick : kLowClick);
    click.at = beat * kBeat;
    click.length = Ticks(120);
    click.velocity =
        Velocity(kSoftestClick + (kLoudestClick - kSoftestClick) * beat / std::max(1, beats - 1));
    add_note(out, time, kCountInChannel, Ticks(0), click, Feel::kStraight);
  }
  return out;
}

}  // namespace

Result<std::vector<std::uint8_t>> form_midi(const Form& form, const StringParts& strings) {
  const auto turns = road(form);
  // A pickup comes in before the last bar of the count-in is over.
  Ticks lead;
  if (!form.parts.empty() && form.count_in > 0) {
    lead = form.count_in * meter_of(form, form.parts.front()).bar();
    if (form.parts.front().pickup) lead -= form.parts.front().length;
  }
  const FileTime time(form, turns, lead);
  midi::Smf file;
  file.division.ticks_per_quarter = kPerQuarter;
  for (const TempoStep& step : tempo_steps(form, turns))
    file.tempos.push_back({step.at == Ticks(0) ? 0 : time(lead + step.at),
                           {},
                           time.micros_a_quarter(lead + step.at, step.tempo)});
  if (file.tempos.empty()) file.tempos.push_back({0, {}, time.micros_a_quarter(Ticks(0), form.tempo)});
  const Ticks end =
      turns.empty() ? lead
                    : lead + turns.back().at + length_at(form.parts[turns.back().part], turns.back().time);
  file.tracks.push_back({form.title, {}, time(end)});
  add_signs(file, time, form, turns, lead);
  finish(file, melody_track(file, time, form, turns, lead));
  add_chords_and_bass(file, time, form, turns, lead);
  for (std::size_t voice = harmony::kStrings; voice-- > 0;) {
    const auto channel = static_cast<std::uint8_t>(3 + (harmony::kStrings - 1 - voice));
    midi::SmfTrack track =
        new_track(fmt::format("string pad, {}", kStringNames[voice]), channel, kStringEnsemble);
    for (const Turn& turn : turns) {
      const Part& part = strings.voices[voice].parts[turn.part];
      for (WrittenNote note : melody_at(part, turn.time)) {
        add_note(track, time, channel, lead + turn.at, note, form.parts[turn.part].feel);
        for (const WrittenPitch& upper : note.above) {
          note.pitch = upper.pitch;
          add_note(track, time, channel, lead + turn.at, note, form.parts[turn.part].feel);
        }
      }
    }
    finish(file, std::move(track));
  }
  if (lead > Ticks(0)) finish(file, count_in_track(time, form, lead));
  return midi::write_smf(file);
}

Result<Folder> hand_over_form(const Form& form, const StringsWish& wish) {
  Folder out;
  out.form = form;
  auto band = band_files(form, wish);
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
