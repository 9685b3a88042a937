#include "daemon/song/sounding_song.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/road.h"
#include "daemon/song/string_parts.h"

namespace undersong::song {
namespace {

// The channels of form_midi.h; all others are strings.
Layer layer_of(int channel) {
  constexpr std::array kByChannel{Layer::kMelody, Layer::kChords, Layer::kBass};
  return channel < static_cast<int>(kByChannel.size()) ? kByChannel[static_cast<std::size_t>(channel)]
                                                       : Layer::kPad;
}

}  // namespace

Result<SoundingSong> sounding_song(const Form& form) {
  Form from_the_first_beat = form;
  from_the_first_beat.count_in = 0;
  const auto bytes = form_midi(from_the_first_beat, string_parts(form, {}));
  if (!bytes) return bytes.error();
  const auto file = midi::read_smf(*bytes);
  if (!file) return file.error();

  SoundingSong out;
  const auto turns = road(form);
  const auto steps = tempo_steps(form, turns);
  const auto time_at = [&](Ticks at) { return Micros(std::llround(seconds_until(steps, at) * 1e6)); };
  for (const Turn& turn : turns) out.turns.push_back({turn.part, turn.time, time_at(turn.at)});
  if (!turns.empty())
    out.length = time_at(turns.back().at + length_at(form.parts[turns.back().part], turns.back().time));

  // What sounds now: for each channel and key, the index of its note.
  constexpr std::size_t kNone = static_cast<std::size_t>(-1), kChannels = 16, kKeys = 128;
  std::vector<std::size_t> down(kChannels * kKeys, kNone);
  for (const midi::Event& event : midi::merged_events(*file)) {
    const auto kind = event.kind();
    if (kind != midi::kNoteOn && kind != midi::kNoteOff) continue;
    auto& here = down[static_cast<std::size_t>(event.channel()) * kKeys + event.bytes[1]];
    if (here != kNone) out.notes[here].length = event.at - out.notes[here].at;
    here = kNone;
    if (kind != midi::kNoteOn || event.bytes[2] == 0) continue;
    here = out.notes.size();
    out.notes.push_back(
        {event.at, {}, Pitch(event.bytes[1]), Velocity(event.bytes[2]), layer_of(event.channel())});
  }
  return out;
}

}  // namespace undersong::song
