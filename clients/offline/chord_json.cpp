#include "clients/offline/chord_json.h"

#include <boost/json.hpp>
#include <cmath>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour_words.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

double rounded(float value) {
  return std::round(static_cast<double>(value) * 1e3) / 1e3;
}

json::array parts(harmony::Quality quality, harmony::SymbolStyle style) {
  const harmony::Suffix suffix = harmony::suffix(quality, style);
  return {suffix.beside, suffix.raised};
}

}  // namespace

json::object chord_json(const harmony::Chord& chord, harmony::NoteName root) {
  json::object out{{"root", chord.root.value()},
                   {"root_name", harmony::text(root)},
                   {"quality", harmony::row(chord.quality).harte},
                   {"letters", parts(chord.quality, harmony::SymbolStyle::kLetters)},
                   {"signs", parts(chord.quality, harmony::SymbolStyle::kSigns)}};
  if (chord.bass != chord.root) {
    out["bass"] = chord.bass.value();
    out["bass_name"] = harmony::text(harmony::bass_name(chord, root));
  }
  out["harte"] = harmony::harte(chord, root);
  return out;
}

json::object chord_json(const harmony::Chord& chord, harmony::NoteName root, float dark_bright,
                        float resolved_tense) {
  json::object out = chord_json(chord, root);
  put_colour(out, dark_bright, resolved_tense);
  return out;
}

void put_colour(json::object& to, float dark_bright, float resolved_tense) {
  to["dark_bright"] = rounded(dark_bright);
  to["resolved_tense"] = rounded(resolved_tense);
  to["colour"] = json::array{harmony::dark_bright_word(dark_bright).view(),
                             harmony::resolved_tense_word(resolved_tense).view()};
}

}  // namespace undersong::offline
