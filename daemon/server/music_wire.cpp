#include "daemon/server/music_wire.h"

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour_words.h"

namespace undersong::server {
namespace {

// What these functions read from the data of a stored line.
struct KeptChord {
  std::string harte;
  protocol::Family family = protocol::Family::kMajor;
  protocol::Share confidence;
};
BOOST_DESCRIBE_STRUCT(KeptChord, (), (harte, family, confidence))

struct KeptTrial {
  std::string harte;
  std::uint32_t list = 0;
  protocol::Whole<0, 255> place;
};
BOOST_DESCRIBE_STRUCT(KeptTrial, (), (harte, list, place))

struct KeptMeeting {
  std::string harte;
  protocol::PitchNumber pitch;
  std::string name, degree;
  protocol::Family family = protocol::Family::kMajor;
  protocol::TimeUs length_us = 0;
  std::uint32_t time = 1;
  std::optional<std::string> key{};
};
BOOST_DESCRIBE_STRUCT(KeptMeeting, (), (harte, pitch, name, degree, family, length_us, time, key))

std::vector<std::string> parts_of(harmony::Quality quality, harmony::SymbolStyle style) {
  const harmony::Suffix suffix = harmony::suffix(quality, style);
  return {std::string(suffix.beside), std::string(suffix.raised)};
}

// If the data cannot be read, they are sent as they were stored.
template <class Kept, class Logged, class Fill>
std::string logged(std::string_view data, Fill fill) {
  const auto kept = protocol::read_text<Kept>(data, "data");
  if (!kept) return std::string(data);
  Logged out;
  put_chord(out, kept->harte);
  fill(out, *kept);
  return protocol::to_json(out);
}

}  // namespace

void put_chord(protocol::Chord& to, const harmony::Chord& chord, harmony::NoteName root) {
  to.root = chord.root.value();
  to.root_name = harmony::text(root);
  to.quality = harmony::row(chord.quality).harte;
  to.letters = parts_of(chord.quality, harmony::SymbolStyle::kLetters);
  to.signs = parts_of(chord.quality, harmony::SymbolStyle::kSigns);
  if (chord.bass != chord.root) {
    to.bass.emplace(chord.bass.value());
    to.bass_name = harmony::text(harmony::bass_name(chord, root));
  }
  to.harte = harmony::harte(chord, root);
}

void put_chord(protocol::Chord& to, const std::string& harte) {
  if (const auto parsed = harmony::parse_harte(harte)) put_chord(to, parsed->chord, parsed->root);
  to.harte = harte;
}

protocol::Chord chord_parts(const harmony::Chord& chord, harmony::NoteName root) {
  protocol::Chord out;
  put_chord(out, chord, root);
  return out;
}

std::optional<protocol::Chord> chord_named(std::string_view name) {
  const auto parsed = harmony::parse_chord(name);
  if (!parsed) return std::nullopt;
  return chord_parts(parsed->chord, parsed->root);
}

std::vector<std::string> colour_words(float dark_bright, float resolved_tense) {
  return {std::string(harmony::dark_bright_word(dark_bright).view()),
          std::string(harmony::resolved_tense_word(resolved_tense).view())};
}

std::string logged_chord(std::string_view data) {
  return logged<KeptChord, protocol::LoggedChord>(data, [](protocol::LoggedChord& to, const KeptChord& kept) {
    to.family = kept.family;
    to.confidence = kept.confidence;
  });
}

std::string logged_trial(std::string_view data) {
  return logged<KeptTrial, protocol::LoggedTrial>(data, [](protocol::LoggedTrial& to, const KeptTrial& kept) {
    to.list = kept.list;
    to.place = kept.place;
  });
}

std::string logged_meeting(std::string_view data) {
  return logged<KeptMeeting, protocol::LoggedMeeting>(
      data, [](protocol::LoggedMeeting& to, const KeptMeeting& kept) {
        to.pitch = kept.pitch;
        to.name = kept.name;
        to.degree = kept.degree;
        to.family = kept.family;
        to.length_us = kept.length_us;
        to.time = kept.time;
        to.key = kept.key;
      });
}

protocol::TakeChord take_chord(std::int64_t at, std::string_view data) {
  protocol::TakeChord out;
  out.at = at;
  if (const auto kept = protocol::read_text<KeptChord>(data, "data")) put_chord(out, kept->harte);
  return out;
}

}  // namespace undersong::server
