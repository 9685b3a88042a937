#include "daemon/live/chord_output.h"

#include <algorithm>
#include <utility>

namespace undersong::live {
namespace {

constexpr int kLowestBass = 36;  // C2

std::vector<Pitch> voiced(const harmony::Chord& chord, const listen::Moment& moment,
                          const harmony::Hands& hands, harmony::Style style) {
  std::vector<Pitch> melody;
  for (const auto& note : moment.melody) melody.push_back(note.pitch);
  const int root = chord.root.value();
  if (melody.empty()) melody.emplace_back(60 + root + (root < 5 ? 12 : 0));
  auto made = harmony::voice(chord, melody, hands, style);
  if (!made) made = harmony::voice(chord, melody, hands);
  if (!made) return {};  // it does not lie under these hands
  std::vector<Pitch> notes(made->left.begin(), made->left.end());
  notes.insert(notes.end(), made->right.begin(), made->right.end());
  std::sort(notes.begin(), notes.end());
  notes.erase(std::unique(notes.begin(), notes.end()), notes.end());
  return notes;
}

}  // namespace

ChordOutput::ChordOutput(const ChordOutputOptions& options, Send send)
    : options_(options), send_(std::move(send)) {}

void ChordOutput::follow(const listen::Moment& moment, const harmony::Hands& hands, harmony::Style style,
                         Micros now) {
  if (options_.carries == Carries::kNothing) return;
  std::optional<harmony::Chord> sounds;
  if (moment.harmony && moment.harmony->sounding) sounds = moment.harmony->reading.chord;
  if (sounds == chord_) return;
  std::vector<Pitch> notes;
  if (sounds && options_.carries == Carries::kBass) notes.emplace_back(kLowestBass + sounds->bass.value());
  if (sounds && options_.carries == Carries::kVoicing) notes = voiced(*sounds, moment, hands, style);
  if (hold(notes, now)) chord_ = sounds;
}

bool ChordOutput::hold(const std::vector<Pitch>& notes, Micros now) {
  const auto among = [](const std::vector<Pitch>& all, Pitch pitch) {
    return std::find(all.begin(), all.end(), pitch) != all.end();
  };
  std::vector<Pitch> still;
  for (const Pitch pitch : held_) {
    if (among(notes, pitch)) {
      still.push_back(pitch);
    } else {
      send_(midi::note_off(now, options_.channel, pitch));  // what is not connected sounds no longer
    }
  }
  held_ = std::move(still);
  bool sent = true;
  for (const Pitch pitch : notes) {
    if (among(held_, pitch)) continue;
    if (send_(midi::note_on(now, options_.channel, pitch, options_.velocity)))
      held_.push_back(pitch);
    else
      sent = false;
  }
  std::sort(held_.begin(), held_.end());
  return sent;
}

}  // namespace undersong::live
