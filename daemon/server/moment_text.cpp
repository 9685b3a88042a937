// The text of a moment, written by hand because one goes out at every key press. A test holds it against the
// structs of the protocol.
#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <cmath>
#include <cstdlib>
#include <utility>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/colour_words.h"
#include "daemon/harmony/words.h"
#include "daemon/server/message_text.h"
#include "daemon/server/music_wire.h"
#include "daemon/server/wire.h"
#include "protocol/json.h"

namespace undersong::server {
namespace {

using harmony::TextWriter;
using protocol::append_int;
using protocol::append_short;

void append_bool(std::string& out, bool b) {
  out.append(b ? "true" : "false");
}

// The parts of a chord that depend only on its quality,
// ,"quality":"min7","letters":["m","7"],"signs":["-","7"], and how far its tones lie from the root on the
// line of fifths, by the interval above it. Names, symbols and Harte forms contain no character that JSON
// would escape.
struct QualityText {
  harmony::Fragment text;
  std::array<std::int8_t, 12> fifths{};
};
const QualityText& quality_text(harmony::Quality quality) {
  static const auto kTexts = [] {
    std::array<QualityText, 256> made;
    for (std::size_t i = 0; i < harmony::chord_vocabulary().size(); ++i) {
      const harmony::Quality of(static_cast<int>(i));
      std::string text = R"(,"quality":")" + std::string(harmony::row(of).harte) + '"';
      for (const auto& [name, style] : {std::pair(R"(,"letters":[")", harmony::SymbolStyle::kLetters),
                                        std::pair(R"(,"signs":[")", harmony::SymbolStyle::kSigns)}) {
        const harmony::Suffix suffix = harmony::suffix(of, style);
        text.append(name).append(suffix.beside).append(R"(",")").append(suffix.raised).append(R"("])");
      }
      made[i].text = harmony::Fragment(std::string_view(text).substr(0, harmony::Fragment::kLongest));
      for (int interval = 0; interval < 12; ++interval)
        made[i].fifths[static_cast<std::size_t>(interval)] =
            static_cast<std::int8_t>(harmony::NoteName().above(harmony::degree_in(of, interval)).fifths());
    }
    return made;
  }();
  return kTexts[static_cast<std::size_t>(quality.row())];
}

void append_chord(std::string& out, const harmony::Chord& chord, harmony::NoteName root) {
  out.append(R"("root":)");
  append_int(out, chord.root.value());
  out.append(R"(,"root_name":")");
  harmony::append_text(out, root);
  out.append("\"").append(quality_text(chord.quality).text.view());
  if (chord.bass != chord.root) {
    out.append(R"(,"bass":)");
    append_int(out, chord.bass.value());
    out.append(R"(,"bass_name":")");
    harmony::append_text(out, harmony::bass_name(chord, root));
    out += '"';
  }
  out.append(R"(,"harte":")");
  harmony::append_harte(out, chord, root);
  out += '"';
}

void append_confidence(std::string& out, float confidence) {
  out.append(R"(,"confidence":)");
  append_short(out, std::clamp(static_cast<double>(confidence), 0.0, 1.0));
}

void append_colour(std::string& out, float dark_bright, float resolved_tense) {
  out.append(R"(,"dark_bright":)");
  append_short(out, std::clamp(static_cast<double>(dark_bright), -1.0, 1.0));
  out.append(R"(,"resolved_tense":)");
  append_short(out, std::clamp(static_cast<double>(resolved_tense), 0.0, 1.0));
  out.append(R"(,"colour":[")").append(harmony::dark_bright_word(dark_bright).view());
  out.append(R"(",")").append(harmony::resolved_tense_word(resolved_tense).view()).append(R"("])");
}

// "Eb4" with its quotes, for every key and every name without double accidentals.
constexpr int kFlattest = -8, kSharpest = 12;  // Fb and B#, as in plain_name
using KeyName = harmony::FixedText<7>;
const KeyName& key_name(harmony::NoteName name, Pitch pitch) {
  static const auto kNames = [] {
    std::array<std::array<KeyName, 128>, kSharpest - kFlattest + 1> made;
    for (int fifths = kFlattest; fifths <= kSharpest; ++fifths)
      for (int key = 0; key < 128; ++key)
        made[static_cast<std::size_t>(fifths - kFlattest)][static_cast<std::size_t>(key)] =
            KeyName('"' + harmony::text(harmony::NoteName(fifths), Pitch(key)) + '"');
    return made;
  }();
  return kNames[static_cast<std::size_t>(harmony::plain_name(name).fifths() - kFlattest)]
               [static_cast<std::size_t>(pitch.value())];
}

void write_hand(TextWriter& out, const harmony::Hand& hand) {
  out.put('[');
  for (std::size_t i = 0; i < hand.size(); ++i) {
    if (i != 0) out.put(',');
    out.put(harmony::whole_word(hand[i].value()));
  }
  out.put(']');
}

// Three decimals, like append_short.
void write_short(TextWriter& out, float number, float least, float most) {
  const int thousandths = static_cast<int>(std::lround(
      std::clamp(static_cast<double>(number), static_cast<double>(least), static_cast<double>(most)) * 1000));
  if (thousandths < 0) out.put('-');
  out.put(harmony::thousandths_word(std::abs(thousandths)));
}

constexpr std::size_t kLongestAlternative = harmony::kLongestReason + 768;

void write_chord(TextWriter& out, const harmony::Chord& chord, harmony::NoteName root_name) {
  const harmony::Word& root = harmony::word(root_name);
  out.put(R"("root":)");
  out.put(harmony::whole_word(chord.root.value()));
  out.put(R"(,"root_name":")");
  out.put(root);
  out.put('"');
  out.put(quality_text(chord.quality).text);
  if (chord.bass != chord.root) {
    std::string rest;
    rest.append(R"(,"bass":)").append(harmony::whole_word(chord.bass.value()).view());
    rest.append(R"(,"bass_name":")").append(harmony::word(harmony::bass_name(chord, root_name)).view());
    rest.append(R"(","harte":")").append(harmony::harte(chord, root_name)).append("\"");
    out.put(std::string_view(rest));
    return;
  }
  out.put(R"(,"harte":")");
  out.put(root);
  out.put(':');
  out.put(harmony::words(chord.quality).harte);
  out.put('"');
}

// The names of the keys of a voicing: a melody note as it is shown, any other key as name_in spells it.
void write_names(TextWriter& out, const harmony::Alternative& alternative,
                 const harmony::MelodyPitches& melody, const harmony::MelodyNames& names) {
  const harmony::Chord& chord = alternative.chord;
  const auto& fifths = quality_text(chord.quality).fifths;
  const harmony::NoteName bass =
      chord.bass == chord.root ? alternative.root_name : harmony::bass_name(chord, alternative.root_name);
  const auto name = [&](Pitch pitch) {
    for (std::size_t i = 0; i < names.size() && i < melody.size(); ++i)
      if (melody[i] == pitch) return names[i];
    if (pitch.pitch_class() == chord.bass) return bass;
    const int interval = ascending(chord.root, pitch.pitch_class());
    return harmony::NoteName(alternative.root_name.fifths() + fifths[static_cast<std::size_t>(interval)]);
  };
  out.put('[');
  bool first = true;
  for (const harmony::Hand* hand : {&alternative.voicing.left, &alternative.voicing.right})
    for (const Pitch pitch : *hand) {
      if (!std::exchange(first, false)) out.put(',');
      out.put(key_name(name(pitch), pitch));
    }
  out.put(']');
}

void write_alternative(TextWriter& out, const harmony::Alternative& alternative,
                       const harmony::MelodyPitches& melody, const harmony::MelodyNames& names) {
  out.put('{');
  write_chord(out, alternative.chord, alternative.root_name);
  out.put(R"(,"dark_bright":)");
  write_short(out, alternative.dark_bright, -1, 1);
  out.put(R"(,"resolved_tense":)");
  write_short(out, alternative.resolved_tense, 0, 1);
  out.put(R"(,"colour":[")");
  out.put(harmony::dark_bright_word(alternative.dark_bright));
  out.put(R"(",")");
  out.put(harmony::resolved_tense_word(alternative.resolved_tense));
  out.put(R"("],"degrees":[)");
  for (std::size_t i = 0; i < alternative.degrees.size(); ++i) {
    if (i != 0) out.put(',');
    out.put('"');
    out.put(harmony::word(alternative.degrees[i]));
    out.put('"');
  }
  out.put(R"(],"familiar":)");
  write_short(out, alternative.familiar, 0, 1);
  out.put(R"(,"hands_move":)");
  out.put(harmony::whole_word(alternative.voicing.hands_move));
  out.put(R"(,"left":)");
  write_hand(out, alternative.voicing.left);
  out.put(R"(,"right":)");
  write_hand(out, alternative.voicing.right);
  out.put(R"(,"names":)");
  write_names(out, alternative, melody, names);
  out.put(R"(,"reason":")");
  harmony::write_reason(out, alternative, melody, names);
  static constexpr harmony::Word kTried(R"(","tried":true,)"), kNotTried(R"(","tried":false,)");
  out.put(alternative.tried > 0 ? kTried : kNotTried);
  out.put(R"("tries":)");
  out.put(harmony::whole_word(alternative.tried));
  out.put("}");
}

void bring_up_to_date(ListText& list, const listen::Moment& moment) {
  if (list.number == moment.alternatives_number && list.number > 0 && list.names == moment.under_names)
    return;
  list.number = moment.alternatives_number;
  list.names = moment.under_names;
  list.text.resize(kLongestAlternative * harmony::kMaxAlternatives + TextWriter::kSlack);
  TextWriter out(list.text.data());
  for (std::size_t i = 0; i < moment.alternatives.size(); ++i) {
    if (i != 0) out.put(',');
    write_alternative(out, moment.alternatives[i], moment.under, moment.under_names);
  }
  list.size = static_cast<std::size_t>(out.at() - list.text.data());
}

void bring_returned_up_to_date(ListText& list, const listen::Moment& moment) {
  if (list.returned_number == moment.returned_number) return;
  list.returned_number = moment.returned_number;
  list.returned.clear();
  for (const listen::Return& each : moment.returned) {
    list.returned.append(list.returned.empty() ? "{" : ",{");
    append_chord(list.returned, each.chord, each.root_name);
    list.returned.append(R"(,"times":)");
    append_int(list.returned, each.times);
    list.returned.append(R"(,"last":)");
    append_int(list.returned, each.last.count());
    list.returned += '}';
  }
}

void append_moment(std::string& out, const listen::Moment& moment, const ListText& list) {
  out.append(R"({"number":)");
  append_int(out, static_cast<std::int64_t>(moment.number));
  out.append(R"(,"at":)");
  append_int(out, moment.at.count());
  out.append(R"(,"chord":)");
  if (moment.harmony) {
    const auto& reading = moment.harmony->reading;
    out += '{';
    append_chord(out, reading.chord, reading.root_name);
    const harmony::Colour colour =
        harmony::colour(reading.chord, moment.key ? std::optional(moment.key->key) : std::nullopt);
    append_colour(out, colour.dark_bright, colour.resolved_tense);
    append_confidence(out, reading.confidence);
    out.append(R"(,"since":)");
    append_int(out, moment.harmony->since.count());
    out.append(R"(,"sounding":)");
    append_bool(out, moment.harmony->sounding);
    out += '}';
  } else {
    out.append("null");
  }
  out.append(R"(,"readings":[)");
  for (std::size_t i = 0; i < moment.readings.size(); ++i) {
    out.append(i == 0 ? "{" : ",{");
    append_chord(out, moment.readings[i].chord, moment.readings[i].root_name);
    append_confidence(out, moment.readings[i].confidence);
    out += '}';
  }
  out.append(R"(],"key":)");
  if (moment.key) {
    out.append(R"({"name":")")
        .append(harmony::text(moment.key->key))
        .append(R"(","harte":")")
        .append(harmony::harte(moment.key->key));
    out.append(R"(","tonic":)");
    append_int(out, moment.key->key.tonic.value());
    out.append(moment.key->key.mode == harmony::Mode::kMajor ? R"(,"mode":"major","confidence":)"
                                                             : R"(,"mode":"minor","confidence":)");
    append_short(out, std::clamp(static_cast<double>(moment.key->confidence), 0.0, 1.0));
    out.append(R"(,"pinned":)");
    append_bool(out, moment.key->pinned);
    out += '}';
  } else {
    out.append("null");
  }
  out.append(R"(,"melody":[)");
  for (std::size_t i = 0; i < moment.melody.size(); ++i) {
    const listen::MelodyNote& note = moment.melody[i];
    out.append(i == 0 ? R"({"pitch":)" : R"(,{"pitch":)");
    append_int(out, note.pitch.value());
    out.append(R"(,"name":")").append(harmony::text(note.name, note.pitch)).append(R"(","degree":)");
    if (moment.harmony)
      out.append("\"").append(harmony::text(note.degree)).append("\"");
    else
      out.append("null");
    out.append(R"(,"since":)");
    append_int(out, note.since.count());
    out.append(R"(,"held":)");
    append_bool(out, note.held);
    out += '}';
  }
  out.append(R"(],"held":[)");
  for (std::size_t i = 0; i < moment.held.size(); ++i) {
    const listen::HeldNote& note = moment.held[i];
    out.append(i == 0 ? R"({"pitch":)" : R"(,{"pitch":)");
    append_int(out, note.pitch.value());
    out.append(R"(,"velocity":)");
    append_int(out, note.velocity.value());
    out.append(R"(,"key_down":)");
    append_bool(out, note.key_down);
    out.append(R"(,"since":)");
    append_int(out, note.since.count());
    out += '}';
  }
  out.append(R"(],"alternatives_number":)");
  append_int(out, moment.alternatives_number);
  out.append(R"(,"beat":)");
  if (moment.beat)
    protocol::append_json(out, beat_of(*moment.beat));
  else
    out.append("null");
  out.append(R"(,"still":)");
  append_bool(out, moment.still);
  out.append(R"(,"wishes":{"brighter":)");
  append_short(out, static_cast<double>(moment.wishes.brighter));
  out.append(R"(,"tenser":)");
  append_short(out, static_cast<double>(moment.wishes.tenser));
  out.append(R"(,"surprising":)");
  append_short(out, static_cast<double>(moment.wishes.surprising));
  out.append(R"(},"returned":[)").append(list.returned).append(R"(],"under":[)");
  for (std::size_t i = 0; i < moment.under.size(); ++i) {
    if (i != 0) out += ',';
    append_int(out, moment.under[i].value());
  }
  out.append(R"(],"alternatives":[)");
  out.append(list.written()).append("]}");
}

}  // namespace

Buffer moment_message(const listen::Moment& moment, ListText& list) {
  bring_up_to_date(list, moment);
  bring_returned_up_to_date(list, moment);
  return message(kMomentHead, 3584 + list.size + list.returned.size(),
                 [&](std::string& out) { append_moment(out, moment, list); });
}

Buffer moment_message(const listen::Moment& moment) {
  ListText list;
  return moment_message(moment, list);
}

}  // namespace undersong::server
