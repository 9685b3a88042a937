// Converts chords, their colour and the names of notes to the protocol. This is the only place that does so,
// except for the moment, which wire.cpp writes by hand for speed; a test compares its chords with these.
//
// Units: colour as in daemon/harmony/colour_words.h.
// Threads: pure functions; call them from any thread.
// Errors: none. A stored line that cannot be read is sent as it was stored.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::Chord chord_parts(const harmony::Chord& chord, harmony::NoteName root);
// Fills the chord part of a message that is a chord with more members.
void put_chord(protocol::Chord& to, const harmony::Chord& chord, harmony::NoteName root);
// Fills in a chord that is known only by its Harte text. If the text is not a chord, only `harte` is filled.
void put_chord(protocol::Chord& to, const std::string& harte);
// Reads a chord name in Harte syntax or as a symbol; nullopt if it is not a chord.
std::optional<protocol::Chord> chord_named(std::string_view name);

// One word for each of the two numbers.
std::vector<std::string> colour_words(float dark_bright, float resolved_tense);

// The data of a line of kind chord, tried or meeting, as the JSON object that is sent. Older versions stored
// only a symbol and the Harte text; newer lines store the parts of the chord as well. These functions derive
// all parts from the Harte text, so old and new lines look the same to clients.
std::string logged_chord(std::string_view data);
std::string logged_trial(std::string_view data);
std::string logged_meeting(std::string_view data);
// Reads the data of a chord line.
protocol::TakeChord take_chord(std::int64_t at, std::string_view data);

}  // namespace undersong::server
