// Chords, their colour and the names of notes as the protocol has them: the one place where a chord of the
// core becomes one of the wire. The moment is written by hand for speed (wire.cpp); a test holds its chords
// against these.
//
// Threads: pure functions.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "protocol/messages.h"

namespace undersong::server {

protocol::Chord chord_parts(const harmony::Chord& chord, harmony::NoteName root);
// Into a message that is a chord and more.
void put_chord(protocol::Chord& to, const harmony::Chord& chord, harmony::NoteName root);
// A chord known by its Harte text. Of what is no chord only `harte` is there.
void put_chord(protocol::Chord& to, const std::string& harte);
// A chord by its name, in Harte syntax or as a symbol.
std::optional<protocol::Chord> chord_named(std::string_view name);

// A word for each of the two numbers.
std::vector<std::string> colour_words(float dark_bright, float resolved_tense);

// A line's data of kind chord, tried or meeting as the JSON object that goes out. Lines keep a chord in its
// parts, and such as were kept before that did by its Harte text, from which all else is worked out; so both
// read alike.
std::string logged_chord(std::string_view data);
std::string logged_trial(std::string_view data);
std::string logged_meeting(std::string_view data);
// Of the data of a chord line.
protocol::TakeChord take_chord(std::int64_t at, std::string_view data);

}  // namespace undersong::server
