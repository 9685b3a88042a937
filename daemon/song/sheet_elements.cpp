#include "daemon/song/sheet_elements.h"

#include <string_view>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/song/harmony_kind.h"

namespace undersong::song {

using pugi::xml_node;

namespace {

// Without the characters that no XML 1.0 document may have, not even escaped: controls, U+FFFE and U+FFFF.
// Source: XML 1.0 (W3C, 5th edition), production 2, Char.
std::string for_xml(const std::string& text) {
  std::string out;
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto byte = static_cast<unsigned char>(text[at]);
    if (byte < 0x20 && byte != '\t' && byte != '\n' && byte != '\r') continue;
    if (text.compare(at, 3, "\xEF\xBF\xBE") == 0 || text.compare(at, 3, "\xEF\xBF\xBF") == 0) {
      at += 2;
      continue;
    }
    out += text[at];
  }
  return out;
}

}  // namespace

xml_node add(xml_node parent, const char* name) {
  return parent.append_child(name);
}
xml_node add(xml_node parent, const char* name, const std::string& text) {
  xml_node node = parent.append_child(name);
  node.text().set(for_xml(text).c_str());
  return node;
}
xml_node add(xml_node parent, const char* name, std::int64_t number) {
  return add(parent, name, std::to_string(number));
}
void set(xml_node node, const char* name, const std::string& value) {
  node.append_attribute(name).set_value(for_xml(value).c_str());
}

namespace {

// The letter and the accidental of a note name.
struct Letter {
  char step = 'C';
  int alter = 0;
};
Letter letter(harmony::NoteName name) {
  constexpr std::string_view kSteps = "FCGDAEB";
  const int place = name.fifths() + 1, turn = place >= 0 ? place / 7 : (place - 6) / 7;
  return {kSteps[static_cast<std::size_t>(place - 7 * turn)], turn};
}
int natural(char step) {
  return std::map<char, int>{{'C', 0}, {'D', 2}, {'E', 4}, {'F', 5}, {'G', 7}, {'A', 9}, {'B', 11}}.at(step);
}
// The octave follows the letter: Cb4 is MIDI key 59.
int octave(const Letter& name, Pitch pitch) {
  return (pitch.value() - name.alter - natural(name.step)) / 12 - 1;
}

void add_root(xml_node parent, const char* what, harmony::NoteName name) {
  const Letter l = letter(name);
  xml_node node = add(parent, what);
  add(node, (std::string(what) + "-step").c_str(), std::string(1, l.step));
  if (l.alter != 0) add(node, (std::string(what) + "-alter").c_str(), l.alter);
}

const char* beam_text(Mark mark) {
  switch (mark) {
    case Mark::kBegin: return "begin";
    case Mark::kContinue: return "continue";
    case Mark::kEnd: return "end";
    case Mark::kForwardHook: return "forward hook";
    case Mark::kBackwardHook: return "backward hook";
    case Mark::kNone: break;
  }
  return "";
}

// Syllables under a note. The line of one that goes on over several notes begins under the first and ends
// under the last of them.
void add_words(xml_node note, const std::vector<Syllable>& words) {
  for (const Syllable& syllable : words) {
    const bool word_ends = syllable.syllabic == Syllabic::kSingle || syllable.syllabic == Syllabic::kEnd;
    if (syllable.text.empty() && !word_ends) continue;  // hyphens lead on to the next syllable
    xml_node lyric = add(note, "lyric");
    set(lyric, "number", std::to_string(syllable.verse));
    if (!syllable.text.empty()) {
      constexpr const char* kNames[] = {"single", "begin", "middle", "end"};
      add(lyric, "syllabic", std::string(kNames[static_cast<std::size_t>(syllable.syllabic)]));
      add(lyric, "text", syllable.text);
      if (syllable.goes_on && word_ends) set(add(lyric, "extend"), "type", "start");
    } else {
      set(add(lyric, "extend"), "type", syllable.goes_on ? "continue" : "stop");
    }
  }
}

}  // namespace

const char* Accidentals::needed(char step, int alter, int at_octave, bool tied) {
  const auto key = std::pair(step, at_octave);
  const auto known = bar_.find(key);
  const int before = known != bar_.end() ? known->second : of_signature(step);
  if (tied) return nullptr;  // a tie carries it over the bar line, and it does not apply to later notes
  bar_[key] = alter;
  if (before == alter) return nullptr;
  constexpr const char* kNames[] = {"flat-flat", "flat", "natural", "sharp", "double-sharp"};
  return alter < -2 || alter > 2 ? nullptr : kNames[alter + 2];
}

int Accidentals::of_signature(char step) const {
  const int place = static_cast<int>(std::string_view("FCGDAEB").find(step));
  return signature_ > place ? 1 : signature_ < 0 && 6 - place < -signature_ ? -1 : 0;
}

void add_harmony(xml_node measure, const WrittenChord& chord, std::int64_t offset) {
  const harmony::QualityRow& row = harmony::row(chord.chord.quality);
  const HarmonyKind kind = harmony_kind(row);
  xml_node node = add(measure, "harmony");
  set(node, "print-frame", "no");
  add_root(node, "root", chord.root);
  xml_node kind_node = add(node, "kind", std::string(kind.kind));
  set(kind_node, "text", std::string(row.letters));
  if (chord.chord.bass != chord.chord.root)
    add_root(node, "bass", harmony::bass_name(chord.chord, chord.root));
  for (const DegreeChange& change : kind.degrees) {
    xml_node degree = add(node, "degree");
    set(degree, "print-object", "no");  // the text of the kind already says it
    add(degree, "degree-value", change.value);
    add(degree, "degree-alter", change.alter);
    add(degree, "degree-type", std::string(change.type));
  }
  if (offset != 0) add(node, "offset", offset);
}

void add_note(xml_node measure, const Symbol& symbol, std::size_t member, int octaves,
              Accidentals& accidentals, const NoteSigns& signs) {
  xml_node node = add(measure, "note");
  const char* accidental = nullptr;
  if (symbol.note) {
    if (member > 0) add(node, "chord");
    const WrittenPitch& written =
        member == 0 ? WrittenPitch{symbol.note->pitch, symbol.note->name} : symbol.note->above[member - 1];
    Letter name = letter(written.name);
    const int at_octave = octave(name, written.pitch) + octaves;
    // A slash lies on its line in every key.
    if (symbol.note->slash) name.alter = accidentals.of_signature(name.step);
    xml_node pitch = add(node, "pitch");
    add(pitch, "step", std::string(1, name.step));
    if (name.alter != 0) add(pitch, "alter", name.alter);
    add(pitch, "octave", at_octave);
    if (!symbol.note->slash)
      accidental = accidentals.needed(name.step, name.alter, at_octave, symbol.tied_before);
  } else {
    xml_node rest = add(node, "rest");
    if (symbol.whole_bar) set(rest, "measure", "yes");
  }
  add(node, "duration", symbol.written);
  if (symbol.tied_before) set(add(node, "tie"), "type", "stop");
  if (symbol.tied_after) set(add(node, "tie"), "type", "start");
  add(node, "voice", 1);
  if (!symbol.type.empty() && !symbol.whole_bar) add(node, "type", std::string(symbol.type));
  for (int i = 0; i < symbol.dots && !symbol.whole_bar; ++i) add(node, "dot");
  if (accidental) add(node, "accidental", std::string(accidental));
  if (symbol.actual > 1) {
    xml_node time = add(node, "time-modification");
    add(time, "actual-notes", symbol.actual);
    add(time, "normal-notes", symbol.normal);
    add(time, "normal-type", std::string(symbol.actual == 3 ? "eighth" : "16th"));
  }
  if (symbol.note && symbol.note->slash) {
    if (symbol.type == "quarter" && symbol.dots == 0) add(node, "stem", std::string("none"));
    add(node, "notehead", std::string("slash"));
  }
  for (int level = 0; level < 3 && member == 0; ++level)
    if (symbol.beams[level] != Mark::kNone)
      set(add(node, "beam", std::string(beam_text(symbol.beams[level]))), "number",
          std::to_string(level + 1));
  const bool tuplet_edge = symbol.tuplet != Mark::kNone && member == 0;
  const bool first = member == 0, slur_begins = first && signs.slur_begins,
             slur_ends = first && signs.slur_ends, fermata = first && signs.fermata;
  xml_node notations;
  if (symbol.tied_before || symbol.tied_after || tuplet_edge || slur_begins || slur_ends || fermata)
    notations = add(node, "notations");
  if (symbol.tied_before) set(add(notations, "tied"), "type", "stop");
  if (symbol.tied_after) set(add(notations, "tied"), "type", "start");
  for (const bool begins : {false, true}) {
    if (!(begins ? slur_begins : slur_ends)) continue;
    xml_node slur = add(notations, "slur");
    set(slur, "type", begins ? "start" : "stop");
    set(slur, "number", "1");
  }
  if (tuplet_edge) {
    xml_node tuplet = add(notations, "tuplet");
    set(tuplet, "type", symbol.tuplet == Mark::kBegin ? "start" : "stop");
    if (symbol.tuplet == Mark::kBegin) set(tuplet, "bracket", "yes");
  }
  if (fermata) set(add(notations, "fermata"), "type", "upright");
  if (first && symbol.note && !symbol.tied_before) add_words(node, symbol.note->words);
}

}  // namespace undersong::song
