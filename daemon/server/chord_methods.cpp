// Requests about chords: how to spell, voice and write them.
#include <fmt/format.h>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/live/stage.h"
#include "daemon/server/handlers.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/session.h"

namespace undersong::server {

void answer(Session& session, const protocol::VoiceChord& wish, To<protocol::ChordVoicings> to) {
  const auto chord = harmony::parse_harte(wish.harte);
  if (!chord)
    return to(invalid_input(fmt::format("params.harte is not a chord in Harte syntax: {}.", wish.harte)));
  protocol::ChordVoicings out;
  for (const auto& made : session.room().stage.performance().voicings(chord->chord)) {
    protocol::StyledVoicing voicing;
    voicing.style = static_cast<protocol::VoicingStyle>(made.style);
    for (const Pitch note : made.voicing.left) voicing.left.emplace_back(note.value());
    for (const Pitch note : made.voicing.right) voicing.right.emplace_back(note.value());
    voicing.hands_move = made.voicing.hands_move;
    out.voicings.push_back(std::move(voicing));
  }
  to(out);
}

void answer(Session&, const protocol::SpellPitches& wish, To<protocol::SpelledPitches> to) {
  const auto parsed = harmony::parse_harte(wish.harte);
  if (!parsed) return to(invalid_input("params.harte is not a chord in Harte syntax: " + wish.harte + "."));
  protocol::SpelledPitches out;
  for (const auto& number : wish.pitches) {
    const Pitch pitch(static_cast<int>(number.value));
    out.names.push_back(
        harmony::text(harmony::name_in(parsed->chord, parsed->root, pitch.pitch_class()), pitch));
  }
  to(out);
}

void answer(Session&, const protocol::GetChordParts& wish, To<protocol::ChordParts> to) {
  protocol::ChordParts out;
  for (const auto& name : wish.names) {
    auto chord = chord_named(name);
    out.chords.push_back(chord ? protocol::Nullable<protocol::Chord>(std::move(*chord))
                               : protocol::Nullable<protocol::Chord>());
  }
  to(out);
}

}  // namespace undersong::server
