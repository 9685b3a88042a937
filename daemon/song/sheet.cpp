// Over 400 lines: the elements of one MusicXML document, in the order in which the schema wants them.
#include "daemon/song/sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <pugixml.hpp>
#include <sstream>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/song/chart.h"
#include "daemon/song/harmony_kind.h"
#include "daemon/song/notation.h"

namespace undersong::song {
namespace {

using pugi::xml_node;

xml_node add(xml_node parent, const char* name) {
  return parent.append_child(name);
}
xml_node add(xml_node parent, const char* name, const std::string& text) {
  xml_node node = parent.append_child(name);
  node.text().set(text.c_str());
  return node;
}
xml_node add(xml_node parent, const char* name, std::int64_t number) {
  return add(parent, name, std::to_string(number));
}
void set(xml_node node, const char* name, const std::string& value) {
  node.append_attribute(name).set_value(value.c_str());
}

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

// Keeps the accidentals that apply: those of the signature, and those written so far in the bar.
class Accidentals {
 public:
  explicit Accidentals(int signature) : signature_(signature) {}
  void new_bar() { bar_.clear(); }
  void new_signature(int signature) { signature_ = signature; }
  // The accidental that must be written, or nullptr.
  const char* needed(const Letter& name, int at_octave, bool tied) {
    const auto key = std::pair(name.step, at_octave);
    const auto known = bar_.find(key);
    const int before = known != bar_.end() ? known->second : of_signature(name.step);
    if (tied) return nullptr;  // a tie carries it over the bar line, and it does not apply to later notes
    bar_[key] = name.alter;
    if (before == name.alter) return nullptr;
    constexpr const char* kNames[] = {"flat-flat", "flat", "natural", "sharp", "double-sharp"};
    return name.alter < -2 || name.alter > 2 ? nullptr : kNames[name.alter + 2];
  }

 private:
  int of_signature(char step) const {
    const int place = static_cast<int>(std::string_view("FCGDAEB").find(step));
    return signature_ > place ? 1 : signature_ < 0 && 6 - place < -signature_ ? -1 : 0;
  }
  int signature_;
  std::map<std::pair<char, int>, int> bar_;
};

void add_root(xml_node parent, const char* what, harmony::NoteName name) {
  const Letter l = letter(name);
  xml_node node = add(parent, what);
  add(node, (std::string(what) + "-step").c_str(), std::string(1, l.step));
  if (l.alter != 0) add(node, (std::string(what) + "-alter").c_str(), l.alter);
}

void add_harmony(xml_node measure, const WrittenChord& chord, Ticks offset) {
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
  if (offset != Ticks(0)) add(node, "offset", offset.count());
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

// `member`: the note of a chord that is written, counted from 0; only the first has what belongs to the whole
// chord. `octaves`: how much higher than it sounds the note is written.
void add_note(xml_node measure, const Symbol& symbol, std::size_t member, int octaves,
              Accidentals& accidentals, bool slur_begins, bool slur_ends) {
  xml_node node = add(measure, "note");
  const char* accidental = nullptr;
  if (symbol.note) {
    if (member > 0) add(node, "chord");
    const WrittenPitch& written =
        member == 0 ? WrittenPitch{symbol.note->pitch, symbol.note->name} : symbol.note->above[member - 1];
    const Letter name = letter(written.name);
    const int at_octave = octave(name, written.pitch) + octaves;
    xml_node pitch = add(node, "pitch");
    add(pitch, "step", std::string(1, name.step));
    if (name.alter != 0) add(pitch, "alter", name.alter);
    add(pitch, "octave", at_octave);
    accidental = accidentals.needed(name, at_octave, symbol.tied_before);
  } else {
    xml_node rest = add(node, "rest");
    if (symbol.whole_bar) set(rest, "measure", "yes");
  }
  add(node, "duration", symbol.length.count());
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
  for (int level = 0; level < 3 && member == 0; ++level)
    if (symbol.beams[level] != Mark::kNone)
      set(add(node, "beam", std::string(beam_text(symbol.beams[level]))), "number",
          std::to_string(level + 1));
  const bool tuplet_edge = symbol.tuplet != Mark::kNone && member == 0;
  if (!symbol.tied_before && !symbol.tied_after && !tuplet_edge && !slur_begins && !slur_ends) return;
  xml_node notations = add(node, "notations");
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
}

// One of the endings of a part, in the order in which they are written.
struct Volta {
  std::vector<int> times;
  Ticks length;
  const std::vector<WrittenChord>* chords;
  const std::vector<WrittenNote>* melody;
  const std::vector<Direction>* directions;
};

std::vector<Volta> voltas(const Part& part) {
  std::vector<Volta> out;
  if (part.endings.empty()) return out;
  const Ticks from = part.endings.front().from;
  if (auto usual = usual_times(part); !usual.empty())
    out.push_back({std::move(usual), part.length - from, &part.chords, &part.melody, &part.directions});
  for (const Ending& ending : part.endings)
    out.push_back({ending.times, ending.length, &ending.chords, &ending.melody, &ending.directions});
  std::stable_sort(out.begin(), out.end(),
                   [](const Volta& a, const Volta& b) { return a.times.front() < b.times.front(); });
  const auto last =
      std::find_if(out.begin(), out.end(), [&](const Volta& v) { return v.times.back() == part.times; });
  if (last != out.end() && last + 1 != out.end()) {
    Volta again = *last;
    again.times = {part.times};
    last->times.pop_back();
    if (last->times.empty()) out.erase(last);
    out.push_back(std::move(again));
  }
  return out;
}

std::string number_list(const std::vector<int>& times) {
  std::string out;
  for (const int t : times) out += (out.empty() ? "" : ", ") + std::to_string(t);
  return out;
}

// Writes one staff into its <part>.
class StaffWriter {
 public:
  // `leads`: the topmost staff has what is written once for all: tempo, rehearsal marks and words.
  StaffWriter(const Staff& staff, xml_node part, bool leads)
      : form_(*staff.form),
        staff_(staff),
        leads_(leads),
        part_(part),
        key_{form_.key, form_.signature},
        accidentals_(form_.signature) {}

  void write() {
    for (std::size_t i = 0; i < form_.parts.size(); ++i) {
      const bool last = i + 1 == form_.parts.size();
      write_part(form_.parts[i], last, !last && form_.parts[i + 1].times > 1);
    }
  }

 private:
  // Begins a measure of `beats` quarter notes.
  xml_node measure(int beats, bool pickup) {
    xml_node node = add(part_, "measure");
    if (pickup) {
      set(node, "number", "0");
      set(node, "implicit", "yes");
    } else {
      set(node, "number", std::to_string(++number_));
    }
    accidentals_.new_bar();
    pending_beats_ = beats;
    return node;
  }

  // `part`: set if a part begins here, perhaps in another key.
  void attributes(xml_node node, bool pickup, const Part* part) {
    const int beats = pickup ? meter_ : pending_beats_;
    const WrittenKey here = part ? key_of(form_, *part) : key_;
    const bool new_key = first_ || here != key_;
    if (!new_key && beats == beats_) return;
    xml_node at = add(node, "attributes");
    if (first_) add(at, "divisions", 480);
    if (new_key) {
      key_ = here;
      accidentals_.new_signature(here.signature);
      xml_node key = add(at, "key");
      add(key, "fifths", here.signature);
      if (here.key)
        add(key, "mode", std::string(here.key->mode == harmony::Mode::kMinor ? "minor" : "major"));
    }
    if (beats == beats_) return;
    xml_node time = add(at, "time");
    add(time, "beats", beats);
    add(time, "beat-type", 4);
    if (first_) {
      xml_node clef = add(at, "clef");
      add(clef, "sign",
          std::string(staff_.clef == Clef::kTreble ? "G"
                      : staff_.clef == Clef::kAlto ? "C"
                                                   : "F"));
      add(clef, "line", staff_.clef == Clef::kTreble ? 2 : staff_.clef == Clef::kAlto ? 3 : 4);
      if (staff_.sounds != Transposition{}) {
        xml_node transpose = add(at, "transpose");
        add(transpose, "diatonic", staff_.sounds.steps);
        add(transpose, "chromatic", staff_.sounds.semitones);
        if (staff_.sounds.octaves != 0) add(transpose, "octave-change", staff_.sounds.octaves);
      }
    }
    beats_ = beats;
  }

  static xml_node direction_above(xml_node node) {
    xml_node direction = add(node, "direction");
    set(direction, "placement", "above");
    return direction;
  }

  // Adds text below the staff, where it is not in the way of chord symbols.
  static void words(xml_node node, const std::string& text) {
    xml_node direction = add(node, "direction");
    set(direction, "placement", "below");
    set(add(add(direction, "direction-type"), "words", text), "font-style", "italic");
  }

  void head(xml_node node, const Part& part) {
    if (!leads_) return;
    if (!tempo_said_ && (form_.steady || (form_.pulse && !part.free))) {
      tempo_said_ = true;
      xml_node direction = direction_above(node);
      xml_node metronome = add(add(direction, "direction-type"), "metronome");
      add(metronome, "beat-unit", std::string("quarter"));
      add(metronome, "per-minute", tempo_text(form_));
      set(add(direction, "sound"), "tempo", tempo_text(form_));
    }
    if (!part.name.empty()) add(add(direction_above(node), "direction-type"), "rehearsal", part.name);
    std::string text;
    const auto say = [&](const std::string& what) { text += (text.empty() ? "" : ", ") + what; };
    if (part.name == part.label && !part.label.empty() && part.kind != takes::SectionKind::kTheme)
      say(std::string(takes::text(part.kind)));
    if (part.times > 1) say(fmt::format("play {} times", part.times));
    if (part.free && !free_)
      say(form_.pulse    ? "free time"
          : form_.steady ? "no pulse: one chord change a bar"
                         : "no pulse: one chord change a bar, lengths are free");
    if (!part.free && free_) say("in time");
    free_ = part.free;
    if (!text.empty()) words(node, text);
  }

  static void barline(xml_node node, const char* location, const char* style, const Volta* ending,
                      const char* ending_type, int repeat_times, bool forward) {
    xml_node line = add(node, "barline");
    set(line, "location", location);
    if (style) add(line, "bar-style", std::string(style));
    if (ending) {
      xml_node e = add(line, "ending");
      set(e, "number", number_list(ending->times));
      set(e, "type", ending_type);
      if (std::string_view(ending_type) == "start") e.text().set(times_text(ending->times).c_str());
    }
    if (forward || repeat_times > 0) {
      xml_node repeat = add(line, "repeat");
      set(repeat, "direction", forward ? "forward" : "backward");
      if (!forward && repeat_times > 2) set(repeat, "times", std::to_string(repeat_times));
    }
  }

  struct Edges {
    const Part* part = nullptr;  // set if the part begins here
    bool forward = false;
    int backward = 0;  // number of times to play; 0: no repeat
    const Volta* volta = nullptr;
    bool last = false;  // end of the sheet
    bool last_volta = false;
    bool repeat_follows = false;  // its repeat sign serves as the bar line
    bool open = false;            // endings follow, so there is no bar line of its own
    const std::vector<Direction>* directions = nullptr;
  };

  // Writes the dynamics and hairpins that begin in a bar.
  static void directions(xml_node node, const std::vector<Direction>& all, Ticks from, Ticks to) {
    for (const Direction& each : all) {
      if (each.at < from || each.at >= to) continue;
      xml_node direction = add(node, "direction");
      set(direction, "placement", "below");
      xml_node type = add(direction, "direction-type");
      if (each.dynamic.empty()) {
        set(add(type, "wedge"), "type",
            each.wedge == Wedge::kLouder   ? "crescendo"
            : each.wedge == Wedge::kSofter ? "diminuendo"
                                           : "stop");
      } else {
        add(add(type, "dynamics"), each.dynamic.c_str());
      }
      if (each.at > from) add(direction, "offset", (each.at - from).count());
    }
  }

  // Writes the bars from `from` to `to`.
  void write_bars(const std::vector<WrittenChord>& chords, const std::vector<WrittenNote>& melody, Ticks from,
                  Ticks to, int meter, const Edges& edges) {
    for (Ticks at = from; at < to;) {
      const Ticks length = std::min(meter * kBeat, to - at);
      const bool begins = at == from, ends = at + length >= to;
      meter_ = meter;
      const bool pickup = first_ && length < meter * kBeat && to - from == length;
      xml_node node = measure(static_cast<int>((length.count() + 479) / 480), pickup);
      if (leads_ && begins && edges.part && !edges.part->name.empty() && !first_)
        set(add(node, "print"), "new-system", "yes");
      if (begins && (edges.forward || edges.volta))
        barline(node, "left", edges.forward ? "heavy-light" : nullptr, edges.volta, "start", 0,
                edges.forward);
      attributes(node, pickup, begins ? edges.part : nullptr);
      if (begins && edges.part) head(node, *edges.part);
      first_ = false;
      directions(node, *edges.directions, at, at + length);
      std::size_t c = 0;
      while (c < chords.size() && chords[c].at < at) ++c;
      std::vector<Ticks> cuts;
      for (const WrittenChord& chord : chords)
        if (chord.at >= at && chord.at < at + length) cuts.push_back(chord.at);
      if (!staff_.chord_symbols) cuts.clear();
      for (const Symbol& symbol : write_bar(melody, at, length, cuts)) {
        // A chord symbol goes before the note it begins with. Where it begins within a note shorter than a
        // beat, its offset says where.
        for (; c < chords.size() && chords[c].at < symbol.at + symbol.length; ++c)
          if (staff_.chord_symbols) add_harmony(node, chords[c], chords[c].at - symbol.at);
        const bool slurred = symbol.note && symbol.note->slurred;
        const bool begins_note = symbol.note && !symbol.tied_before,
                   ends_note = symbol.note && !symbol.tied_after;
        const bool slur_begins = begins_note && slurred && !in_slur_,
                   slur_ends = ends_note && !slurred && in_slur_;
        for (std::size_t member = 0; member == 0 || (symbol.note && member <= symbol.note->above.size());
             ++member)
          add_note(node, symbol, member, -staff_.sounds.octaves, accidentals_, slur_begins && member == 0,
                   slur_ends && member == 0);
        in_slur_ = (in_slur_ || slur_begins) && !slur_ends;
      }
      if (ends && !edges.open) {
        const char* style = edges.backward > 0                    ? "light-heavy"
                            : edges.last                          ? "light-heavy"
                            : edges.volta || edges.repeat_follows ? nullptr
                                                                  : "light-light";
        if (style || edges.volta)
          barline(node, "right", style, edges.volta,
                  edges.last_volta && edges.backward == 0 ? "discontinue" : "stop", edges.backward, false);
      }
      at += length;
    }
  }

  void write_part(const Part& part, bool last, bool repeat_follows) {
    in_slur_ = false;
    const int meter = meter_of(form_, part);
    const auto ways = voltas(part);
    Edges edges;
    edges.part = &part;
    edges.forward = part.times > 1;
    edges.repeat_follows = repeat_follows;
    edges.directions = &part.directions;
    if (ways.empty()) {
      edges.backward = part.times > 1 ? part.times : 0;
      edges.last = last;
      write_bars(part.chords, part.melody, Ticks(0), part.length, meter, edges);
      return;
    }
    const Ticks from = part.endings.front().from;
    edges.open = true;
    write_bars(part.chords, part.melody, Ticks(0), from, meter, edges);
    for (std::size_t i = 0; i < ways.size(); ++i) {
      Edges volta;
      volta.directions = ways[i].directions;
      volta.volta = &ways[i];
      volta.last_volta = i + 1 == ways.size();
      const bool goes_back = !volta.last_volta || ways[i].times.size() > 1;
      volta.backward = goes_back ? part.times : 0;
      volta.last = last && volta.last_volta;
      volta.repeat_follows = repeat_follows;
      write_bars(*ways[i].chords, *ways[i].melody, from, from + ways[i].length, meter, volta);
    }
  }

  const Form& form_;
  const Staff& staff_;
  const bool leads_;
  xml_node part_;
  WrittenKey key_;
  Accidentals accidentals_;
  int number_ = 0;
  int beats_ = 0, pending_beats_ = 4, meter_ = 4;
  bool first_ = true, free_ = false, tempo_said_ = false, in_slur_ = false;
};

}  // namespace

std::string write_sheet(const std::string& title, std::span<const Staff> staves) {
  pugi::xml_document document;
  xml_node declaration = document.append_child(pugi::node_declaration);
  set(declaration, "version", "1.0");
  set(declaration, "encoding", "UTF-8");
  document.append_child(pugi::node_doctype)
      .set_value(
          "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" "
          "\"http://www.musicxml.org/dtds/partwise.dtd\"");
  xml_node score = add(document, "score-partwise");
  set(score, "version", "4.0");
  add(add(score, "work"), "work-title", title);
  xml_node encoding = add(add(score, "identification"), "encoding");
  add(encoding, "software", "Undersong");
  for (const char* element : {"accidental", "beam"}) {
    xml_node supports = add(encoding, "supports");
    set(supports, "element", element);
    set(supports, "type", "yes");
  }
  xml_node list = add(score, "part-list");
  for (std::size_t i = 0; i < staves.size(); ++i) {
    const Staff& staff = staves[i];
    const auto group = [&](const char* type) {
      xml_node node = add(list, "part-group");
      set(node, "number", "1");
      set(node, "type", type);
      return node;
    };
    if (staff.group != Group::kNone && (i == 0 || staves[i - 1].group != staff.group)) {
      xml_node node = group("start");
      add(node, "group-symbol", std::string(staff.group == Group::kBrace ? "brace" : "bracket"));
      add(node, "group-barline", std::string("yes"));
    }
    xml_node part = add(list, "score-part");
    set(part, "id", fmt::format("P{}", i + 1));
    add(part, "part-name", staff.name);
    if (!staff.abbreviation.empty()) add(part, "part-abbreviation", staff.abbreviation);
    if (staff.group != Group::kNone && (i + 1 == staves.size() || staves[i + 1].group != staff.group))
      group("stop");
  }
  for (std::size_t i = 0; i < staves.size(); ++i) {
    xml_node part = add(score, "part");
    set(part, "id", fmt::format("P{}", i + 1));
    StaffWriter(staves[i], part, i == 0).write();
  }
  std::ostringstream out;
  // Indentation would double the size of the score of a long take.
  document.save(out, "", pugi::format_raw);
  return out.str();
}

}  // namespace undersong::song
