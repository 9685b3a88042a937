// A chord as a JSON object with the members that the protocol's Chord has.
//
// Threads: pure functions.
#pragma once

#include <boost/json/object.hpp>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::offline {

boost::json::object chord_json(const harmony::Chord& chord, harmony::NoteName root);
// With the colour of the protocol's Coloured.
boost::json::object chord_json(const harmony::Chord& chord, harmony::NoteName root, float dark_bright,
                               float resolved_tense);
// The members of a colour put into `to`.
void put_colour(boost::json::object& to, float dark_bright, float resolved_tense);

}  // namespace undersong::offline
