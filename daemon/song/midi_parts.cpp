#include "daemon/song/midi_parts.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/bass_voice.h"
#include "daemon/song/comping.h"
#include "daemon/song/part_tracks.h"
#include "daemon/song/quantise.h"
#include "daemon/song/spell_form.h"
#include "daemon/song/string_parts.h"

namespace undersong::song {
namespace {

// Accurate to half a millisecond even if a beat lasts four seconds.
constexpr std::uint16_t kPlayedPerQuarter = 3840;

// Where the beats of the take lie in the file, which counts quarter notes.
class PlayedFileTime {
 public:
  explicit PlayedFileTime(const Bars& bars)
      : map_(bars.map),
        value_(bars.beat),
        a_beat_(kPlayedPerQuarter * quarters_over(value_) / quarters_under(value_)) {}
  midi::Tick operator()(double beats) const {
    return static_cast<midi::Tick>(
        std::max<std::int64_t>(0, std::llround(beats * static_cast<double>(a_beat_))));
  }
  midi::Tick operator()(Micros at) const { return (*this)(map_.beats_at(at)); }
  midi::Tick operator()(Ticks at) const {
    return static_cast<midi::Tick>(std::max<std::int64_t>(0, at.count() * a_beat_ / 480));
  }
  std::uint32_t micros_a_quarter(double micros_a_beat) const {
    return static_cast<std::uint32_t>(
        std::clamp<std::int64_t>(std::llround(micros_a_beat / quarters()), 1, 0xFF'FFFF));
  }
  double quarters() const { return static_cast<double>(a_beat_) / kPlayedPerQuarter; }

 private:
  const BeatMap& map_;
  BeatValue value_;
  std::int64_t a_beat_;  // file ticks
};

void add_played_note(midi::SmfTrack& track, std::uint8_t channel, midi::Tick from, midi::Tick to, Pitch pitch,
                     Velocity velocity) {
  const midi::Event on = midi::note_on({}, channel, pitch, Velocity(std::max(1, velocity.value()))),
                    off = midi::note_off({}, channel, pitch);
  track.events.push_back({from, {}, on.bytes, on.size});
  track.events.push_back({std::max(to, from + 1), {}, off.bytes, off.size});
}

// At the same tick, notes end before others begin.
void sort(midi::SmfTrack& track) {
  std::stable_sort(
      track.events.begin(), track.events.end(), [](const midi::SmfEvent& a, const midi::SmfEvent& b) {
        const auto rank = [](const midi::SmfEvent& e) {
          return (e.bytes[0] & 0xF0) == midi::kNoteOn ? 2 : (e.bytes[0] & 0xF0) == midi::kNoteOff ? 1 : 0;
        };
        return a.tick != b.tick ? a.tick < b.tick : rank(a) < rank(b);
      });
}

// Deals out channels that the player did not use, then used ones; never the drum channel.
class FreeChannels {
 public:
  explicit FreeChannels(const std::vector<midi::Event>& events) {
    std::array<bool, 16> used{};
    used[midi::kDrumChannel] = true;
    for (const midi::Event& event : events)
      if (event.status() < 0xF0) used[event.channel()] = true;
    for (const bool wanted : {false, true})
      for (std::uint8_t c = 0; c < 16; ++c)
        if (used[c] == wanted && c != midi::kDrumChannel) channels_.push_back(c);
  }
  std::uint8_t take() { return channels_[next_++ % channels_.size()]; }

 private:
  std::vector<std::uint8_t> channels_;
  std::size_t next_ = 0;
};

// Writes the tempo map. Rounding errors are carried over, so that they never add up.
void follow(midi::Smf& file, const PlayedFileTime& time, const BeatMap& map) {
  const auto& anchors = map.anchors();
  std::int64_t now = anchors.front().at.count();
  std::uint32_t before = 0;
  for (std::size_t i = 0; i + 1 < anchors.size(); ++i) {
    const double beats = (anchors[i + 1].tick - anchors[i].tick).beats();
    const std::uint32_t tempo =
        time.micros_a_quarter(static_cast<double>(anchors[i + 1].at.count() - now) / beats);
    if (tempo != before) file.tempos.push_back({time(anchors[i].tick), {}, tempo});
    before = tempo;
    now += std::llround(tempo * beats * time.quarters());
  }
}

// Where a key signature stands, from tick 0.
struct KeyFrom {
  Ticks at;
  WrittenKey key;
};

std::vector<KeyFrom> keys_along(const Form& form, const BeatMap& map) {
  std::vector<KeyFrom> out;
  for (const Part& part : form.parts) {
    const WrittenKey here = key_of(form, part);
    if (!out.empty() && out.back().key == here) continue;
    const auto beat = std::llround(map.beats_at(part.begin));
    out.push_back({out.empty() ? Ticks(0) : beat * kBeat, here});
  }
  return out;
}

WrittenKey key_at(const std::vector<KeyFrom>& keys, Ticks at) {
  WrittenKey out;
  for (const KeyFrom& key : keys)
    if (key.at <= at || &key == &keys.front()) out = key.key;
  return out;
}

void add_signatures(midi::Smf& file, const PlayedFileTime& time, const Heard& heard, const Form& form) {
  int before = 0;
  for (const Bar& bar : heard.bars.bars) {
    if (bar.beats != before) {
      const auto signature = Meter{bar.beats, heard.bars.beat}.signature();
      file.time_signatures.push_back({time(bar.at),
                                      {},
                                      static_cast<std::uint8_t>(signature.upper),
                                      static_cast<std::uint8_t>(signature.lower),
                                      static_cast<std::uint8_t>(std::lround(24 * time.quarters())),
                                      8});
    }
    before = bar.beats;
  }
  for (const auto& [at, key] : keys_along(form, heard.bars.map)) {
    const bool minor = key.key && key.key->mode == harmony::Mode::kMinor;
    file.key_signatures.push_back({time(at), {}, static_cast<std::int8_t>(key.signature), minor});
  }
}

void add_markers(midi::Smf& file, const PlayedFileTime& time, const Heard& heard, const Form& form,
                 const PartsOptions& options) {
  for (const Part& part : form.parts) {
    if (part.name.empty()) continue;
    const auto beat =
        part.free ? heard.bars.map.beats_at(part.begin) : std::round(heard.bars.map.beats_at(part.begin));
    std::string text = part.name;
    if (!part.label.empty()) text += fmt::format(", {}", takes::text(part.kind));
    if (part.times > 1) text += fmt::format(", {} times", part.times);
    file.markers.push_back({time(beat), {}, midi::SmfText::Kind::kMarker, 0, std::move(text)});
  }
  for (const auto& [at, text] : options.marks)
    file.markers.push_back({time(at), {}, midi::SmfText::Kind::kMarker, 0, text});
  std::stable_sort(file.markers.begin(), file.markers.end(),
                   [](const auto& a, const auto& b) { return a.tick < b.tick; });
}

void add_as_played(midi::Smf& file, const PlayedFileTime& time, const std::vector<midi::Event>& events) {
  std::map<midi::PortNumber, midi::SmfTrack> by_port;
  midi::Tick last = 0;  // ticks must not go backwards, even if times do
  for (const midi::Event& event : events) {
    if (event.status() < 0x80 || event.status() >= 0xF0) continue;
    last = std::max(last, time(event.at));
    by_port[event.port].events.push_back({last, {}, event.bytes, event.size});
  }
  for (auto& [port, track] : by_port) {
    track.name = file.tracks.size() == 1 ? "as played" : fmt::format("as played, input {}", port + 1);
    file.tracks.push_back(std::move(track));
  }
}

// Notes on the beats of the take, as they were played.
std::vector<WrittenNote> written_as_played(const std::vector<takes::PlayedNote>& notes, const BeatMap& map) {
  std::vector<WrittenNote> out;
  for (const takes::PlayedNote& note : notes) {
    const auto tick = [&](Micros at) { return Ticks(std::llround(480 * map.beats_at(at))); };
    WrittenNote written;
    written.pitch = note.pitch;
    written.at = tick(note.at);
    written.length = tick(note.at + note.length) - written.at;
    written.velocity = note.velocity;
    out.push_back(written);
  }
  return out;
}

std::vector<PlayedInBeats> in_beats(const std::vector<takes::PlayedNote>& notes, const BeatMap& map) {
  std::vector<PlayedInBeats> out;
  for (const takes::PlayedNote& note : notes)
    out.push_back({map.beats_at(note.at), map.beats_at(note.at + note.length), note.pitch, note.velocity});
  return out;
}

void add_melody(midi::Smf& file, const PlayedFileTime& time, const Heard& heard, std::uint8_t channel,
                bool quantised) {
  midi::SmfTrack track = new_track("melody", channel, kVibraphone);
  if (quantised) {
    const auto notes = in_beats(heard.melody, heard.bars.map);
    for (const WrittenNote& note :
         quantise(notes, heard.bars.end(), heard.bars.seconds_a_beat, heard.bars.beat))
      add_played_note(track, channel, time(note.at), time(note.at + note.length), note.pitch, note.velocity);
  } else {
    for (const takes::PlayedNote& note : heard.melody)
      add_played_note(track, channel, time(note.at), time(note.at + note.length), note.pitch, note.velocity);
  }
  sort(track);
  file.tracks.push_back(std::move(track));
}

void add_chords(midi::Smf& file, const PlayedFileTime& time, const std::vector<WrittenChord>& changes,
                const std::vector<harmony::Chord>& chords, std::uint8_t channel) {
  midi::SmfTrack track = new_track("chords", channel, kElectricPiano);
  const auto keys = close_chords(chords);
  for (std::size_t i = 0; i < changes.size(); ++i) {
    file.texts.push_back({time(changes[i].at),
                          {},
                          midi::SmfText::Kind::kText,
                          static_cast<std::uint16_t>(file.tracks.size()),
                          harmony::symbol(changes[i].chord, changes[i].root)});
    for (const Pitch key : keys[i])
      add_played_note(track, channel, time(changes[i].at), time(changes[i].at + changes[i].length), key,
                      kChordsSoft);
  }
  sort(track);
  file.tracks.push_back(std::move(track));
}

// The line that the left hand played, and the bass of each chord under which it played none.
void add_bass(midi::Smf& file, const PlayedFileTime& time, const Heard& heard,
              const std::vector<WrittenChord>& changes, std::uint8_t channel, bool quantised) {
  midi::SmfTrack track = new_track("bass", channel, kAcousticBass);
  BassLine line;
  if (heard.bass && quantised) {
    line.notes = quantise(in_beats(*heard.bass, heard.bars.map), heard.bars.end(), heard.bars.seconds_a_beat,
                          heard.bars.beat);
  } else if (heard.bass) {
    line.notes = written_as_played(*heard.bass, heard.bars.map);
  }
  for (const WrittenNote& note : bass_voice(changes, line, heard.bars.written(), false))
    add_played_note(track, channel, time(note.at), time(note.at + note.length), note.pitch, note.velocity);
  sort(track);
  file.tracks.push_back(std::move(track));
}

PadRow add_strings(midi::Smf& file, const PlayedFileTime& time, const Heard& heard,
                   const std::vector<WrittenChord>& changes, FreeChannels& channels,
                   const StringsWish& wish) {
  constexpr std::size_t kPhrase = 4;  // bars
  const auto tune = written_as_played(heard.melody, heard.bars.map);
  std::vector<PadStretch> stretches;
  const auto& bars = heard.bars.bars;
  for (std::size_t i = 0; i < bars.size(); i += kPhrase) {
    const Ticks from = i == 0 ? Ticks(0) : bars[i].at,
                to = i + kPhrase < bars.size() ? bars[i + kPhrase].at : heard.bars.end();
    if (to > from) stretches.push_back({changes, tune, from, to, to - from, heard.bars.written()});
  }
  PadRow row = pad_row(stretches, wish);
  for (std::size_t voice = harmony::kStrings; voice-- > 0;) {
    const std::uint8_t channel = channels.take();
    midi::SmfTrack track =
        new_track(fmt::format("string pad, {}", kStringNames[voice]), channel, kStringEnsemble);
    for (const PadVoices& stretch : row.stretches)
      for (const WrittenNote& note : stretch.notes[voice]) {
        const midi::Tick from = time(note.at), to = time(note.at + note.length);
        add_played_note(track, channel, from, to, note.pitch, note.velocity);
        for (const WrittenPitch& upper : note.above)
          add_played_note(track, channel, from, to, upper.pitch, note.velocity);
      }
    sort(track);
    file.tracks.push_back(std::move(track));
  }
  return row;
}

}  // namespace

std::vector<WrittenChord> changes_of(const Heard& heard, const Form& form) {
  const BeatMap& map = heard.bars.map;
  std::vector<WrittenChord> out;
  for (const takes::ChordSpan& span : heard.take.spans) {
    const auto place = [&](Micros t) {
      const double beat = std::max(0., map.beats_at(t));
      const bool exact = heard.bars.free[heard.bars.bar_at(Ticks(std::llround(480 * beat)))];
      return exact ? Ticks(std::llround(480 * beat)) : on_grid(beat, heard.bars.beat);
    };
    const Ticks at = place(span.begin), until = place(span.end);
    if (!out.empty() && out.back().at + out.back().length > at) out.back().length = at - out.back().at;
    if (!out.empty() && out.back().length <= Ticks(0)) out.pop_back();
    if (until > at) out.push_back({span.chord, span.root, at, until - at});
  }
  const auto keys = keys_along(form, map);
  for (std::size_t from = 0; from < out.size();) {
    const WrittenKey key = key_at(keys, out[from].at);
    std::vector<harmony::WrittenChord> row;
    std::vector<bool> free;
    for (std::size_t i = from; i < out.size() && key_at(keys, out[i].at) == key; ++i) {
      row.push_back({out[i].at.beats(), (out[i].at + out[i].length).beats(), out[i].chord});
      free.push_back(heard.bars.free[heard.bars.bar_at(out[i].at)]);
    }
    const auto roots = spell_changes(row, key.signature, free);
    for (const harmony::NoteName root : roots) out[from++].root = root;
  }
  return out;
}

Result<MidiParts> midi_parts(const std::vector<midi::Event>& events, const Heard& heard, const Form& form,
                             const PartsOptions& options) {
  midi::Smf file;
  const PlayedFileTime time(heard.bars);
  file.division.ticks_per_quarter = kPlayedPerQuarter;
  file.tracks.push_back({form.title, {}, time(heard.bars.end())});
  if (options.steady) {
    file.tempos.push_back({0, {}, time.micros_a_quarter(60e6 / form.tempo)});
  } else {
    follow(file, time, heard.bars.map);
  }
  add_signatures(file, time, heard, form);
  add_markers(file, time, heard, form, options);
  add_as_played(file, time, events);
  FreeChannels channels(events);
  add_melody(file, time, heard, channels.take(), options.steady && heard.bars.pulse);
  const auto changes = changes_of(heard, form);
  std::vector<harmony::Chord> chords;
  for (const WrittenChord& change : changes) chords.push_back(change.chord);
  add_chords(file, time, changes, chords, channels.take());
  add_bass(file, time, heard, changes, channels.take(), options.steady && heard.bars.pulse);
  const PadRow pad = add_strings(file, time, heard, changes, channels, options.strings);
  auto bytes = midi::write_smf(file);
  if (!bytes) return bytes.error();
  return MidiParts{std::move(*bytes), pad.motion, pad.parallels};
}

}  // namespace undersong::song
