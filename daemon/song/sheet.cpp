// Over 400 lines: the elements of one MusicXML document, in the order in which the schema wants them.
#include "daemon/song/sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <pugixml.hpp>
#include <sstream>

#include "daemon/song/chart.h"
#include "daemon/song/notation.h"
#include "daemon/song/road.h"
#include "daemon/song/sheet_elements.h"

namespace undersong::song {
namespace {

using pugi::xml_node;

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
    const auto sung = [](const std::vector<WrittenNote>& notes) {
      return std::any_of(notes.begin(), notes.end(), [](const WrittenNote& n) { return !n.words.empty(); });
    };
    sung_ =
        std::any_of(form_.parts.begin(), form_.parts.end(), [&](const Part& p) { return sung(p.melody); });
    for (std::size_t i = 0; i < form_.parts.size(); ++i) {
      const bool last = i + 1 == form_.parts.size();
      write_part(form_.parts[i], last, !last && form_.parts[i + 1].times > 1);
    }
  }

 private:
  // Begins a measure.
  xml_node measure(harmony::TimeSignature signature, bool pickup) {
    xml_node node = add(part_, "measure");
    if (pickup) {
      set(node, "number", "0");
      set(node, "implicit", "yes");
    } else {
      set(node, "number", std::to_string(++number_));
    }
    accidentals_.new_bar();
    pending_ = signature;
    return node;
  }

  // `part`: set if a part begins here, perhaps in another key.
  void attributes(xml_node node, bool pickup, const Part* part) {
    const harmony::TimeSignature signature = pickup ? meter_.signature() : pending_;
    const WrittenKey here = part ? key_of(form_, *part) : key_;
    const bool new_key = first_ || here != key_;
    if (!new_key && signature == signature_) return;
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
    if (signature == signature_) return;
    xml_node time = add(at, "time");
    add(time, "beats", signature.upper);
    add(time, "beat-type", signature.lower);
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
    signature_ = signature;
  }

  // With spaces that do not break: some readers draw a box around each word.
  static std::string in_one_box(const std::string& name) {
    std::string out;
    for (const char c : name) out += c == ' ' ? "\u00A0" : std::string(1, c);
    return out;
  }

  static xml_node direction_above(xml_node node) {
    xml_node direction = add(node, "direction");
    set(direction, "placement", "above");
    return direction;
  }

  // Adds text below the staff, where it is not in the way of chord symbols; if there are lyrics, above.
  void words(xml_node node, const std::string& text) const {
    xml_node direction = add(node, "direction");
    set(direction, "placement", sung_ ? "above" : "below");
    set(add(add(direction, "direction-type"), "words", text), "font-style", "italic");
  }

  void head(xml_node node, const Part& part) {
    if (!leads_) return;
    if (part.signs.segno || part.signs.coda) {
      const char* name = part.signs.segno ? "segno" : "coda";
      xml_node direction = direction_above(node);
      add(add(direction, "direction-type"), name);
      set(add(direction, "sound"), name, name);
    }
    // Whoever comes back to a sign must find there what holds.
    const auto differs = [&](auto of) {
      return std::any_of(form_.parts.begin(), form_.parts.end(),
                         [&](const Part& p) { return of(p) != of(part); });
    };
    const bool sign = part.signs.segno || part.signs.coda;
    const bool say_feel = part.feel != feel_ || (sign && differs([](const Part& p) { return p.feel; }));
    if (say_feel && !part.free) {
      feel_ = part.feel;
      xml_node direction = direction_above(node);
      set(add(add(direction, "direction-type"), "words",
              std::string(feel_ == Feel::kSwing ? "Swing" : "Straight")),
          "font-weight", "bold");
      xml_node swing = add(add(direction, "sound"), "swing");
      if (feel_ == Feel::kSwing)
        add(swing, "first", 2), add(swing, "second", 1), add(swing, "swing-type", std::string("eighth"));
      else
        add(swing, "straight");
    }
    const BeatValue value = meter_of(form_, part).value;
    const std::string tempo = tempo_text(form_, tempo_of(form_, part));
    const bool say_tempo = tempo != tempo_said_ || value != beat_said_ ||
                           (sign && differs([&](const Part& p) { return tempo_of(form_, p); }));
    if (say_tempo && (form_.steady || (form_.pulse && !part.free))) {
      tempo_said_ = tempo;
      beat_said_ = value;
      xml_node direction = direction_above(node);
      xml_node metronome = add(add(direction, "direction-type"), "metronome");
      add(metronome, "beat-unit", std::string(value == BeatValue::kEighth ? "eighth" : "quarter"));
      if (value == BeatValue::kDottedQuarter) add(metronome, "beat-unit-dot");
      add(metronome, "per-minute", tempo);
      set(add(direction, "sound"), "tempo",
          value == BeatValue::kQuarter
              ? tempo
              : fmt::format("{:g}",
                            tempo_of(form_, part) * static_cast<double>(written(kBeat, value)) / 480));
    }
    const bool named = !part.name.empty() && !part.pickup;
    if (named && !sign) {
      add(add(direction_above(node), "direction-type"), "rehearsal", in_one_box(part.name));
    } else if (named) {  // some readers have only one mark in a place, and the sign is one
      xml_node name = add(add(direction_above(node), "direction-type"), "words", part.name);
      set(name, "font-weight", "bold");
      set(name, "enclosure", "rectangle");
    }
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
    bool symbols = true;              // chord symbols above
    std::optional<Ticks> slows{};     // where a ritardando begins
    bool slows_last_time = false;     // and only the last time
    bool held = false;                // a fermata at the end
    const Signs* leads_on = nullptr;  // what is said at the end
  };

  // Fine, to coda, D.C. and D.S., at the end of a bar.
  static void leads_on(xml_node node, const Signs& signs) {
    const auto say = [&](const std::string& text, const char* sound, const char* value) {
      xml_node direction = direction_above(node);
      set(add(add(direction, "direction-type"), "words", text), "font-weight", "bold");
      set(add(direction, "sound"), sound, value);
    };
    const std::string until = signs.until == Until::kFine   ? " al Fine"
                              : signs.until == Until::kCoda ? " al Coda"
                                                            : "";
    if (signs.fine) say("Fine", "fine", "yes");
    if (signs.to_coda) say("To Coda", "tocoda", "coda");
    if (signs.jump == Jump::kDaCapo) say("D.C." + until, "dacapo", "yes");
    if (signs.jump == Jump::kDalSegno) say("D.S." + until, "dalsegno", "segno");
  }

  // The rhythm of changes between two beats, in small notes above the staff, as a second voice.
  void kicks(xml_node node, const std::vector<WrittenChord>& chords, const std::vector<WrittenNote>& notes,
             Ticks from, Ticks length) const {
    const BeatValue value = meter_.value;
    const auto edges = meter_.edges(length);
    std::vector<Ticks> places;
    for (const WrittenChord& chord : chords) {
      const bool played =
          std::any_of(notes.begin(), notes.end(), [&](const WrittenNote& n) { return n.at == chord.at; });
      if (chord.at < from || chord.at >= from + length || chord.at % grid(value) != Ticks(0)) continue;
      if (!played && std::find(edges.begin(), edges.end(), chord.at - from) == edges.end())
        places.push_back(chord.at);
    }
    if (places.empty()) return;
    const auto step = [&](const char* name, Ticks by) {
      if (by > Ticks(0)) add(add(node, name), "duration", written(by, value));
    };
    step("backup", length);
    Ticks now = from;
    for (const Ticks at : places) {
      step("forward", at - now);
      xml_node note = add(node, "note");
      add(note, "cue");
      xml_node pitch = add(note, "pitch");
      const bool bass = staff_.clef == Clef::kBass;  // well above the staff
      add(pitch, "step", std::string(bass ? "G" : "E"));
      add(pitch, "octave", bass ? 4 : 6);
      add(note, "duration", 240);
      add(note, "voice", 2);
      add(note, "type", std::string("eighth"));
      add(note, "stem", std::string("up"));
      add(note, "notehead", std::string("slash"));
      now = at + grid(value);
    }
    step("forward", from + length - now);
  }

  bool shows_symbols(const Part& part) const {
    if (!staff_.chord_symbols) return false;
    return part.layers.chords || (staff_.clef == Clef::kBass && part.layers.bass);
  }

  // Writes the dynamics and hairpins that begin in a bar.
  void directions(xml_node node, const std::vector<Direction>& all, Ticks from, Ticks to) const {
    for (const Direction& each : all) {
      if (each.at < from || each.at >= to) continue;
      xml_node direction = add(node, "direction");
      set(direction, "placement", sung_ || !each.words.empty() ? "above" : "below");
      xml_node type = add(direction, "direction-type");
      if (!each.words.empty()) {
        set(add(type, "words", each.words), "font-style", "italic");
      } else if (each.dynamic.empty()) {
        set(add(type, "wedge"), "type",
            each.wedge == Wedge::kLouder   ? "crescendo"
            : each.wedge == Wedge::kSofter ? "diminuendo"
                                           : "stop");
      } else {
        add(add(type, "dynamics"), each.dynamic.c_str());
      }
      if (each.at > from) add(direction, "offset", written(each.at - from, meter_.value));
    }
  }

  // Writes the bars from `from` to `to`.
  void write_bars(const std::vector<WrittenChord>& chords, const std::vector<WrittenNote>& melody, Ticks from,
                  Ticks to, const Meter& meter, const Edges& edges) {
    for (Ticks at = from; at < to;) {
      const Ticks length = meter.next_bar(to - at);
      const bool begins = at == from, ends = at + length >= to;
      meter_ = meter;
      const bool pickup = first_ && length < meter.bar() && to - from == length;
      const bool after_pickup = after_pickup_ && begins && edges.part;
      after_pickup_ = pickup;
      xml_node node = measure(meter.signature(length), pickup);
      const bool section = begins && edges.part && !edges.part->name.empty() && !pickup;
      if (section) line_bars_ = 0;
      const bool line_full = staff_.bars_a_line > 0 && line_bars_ == staff_.bars_a_line;
      if (line_full) line_bars_ = 0;
      if (!pickup) ++line_bars_;
      if (leads_ && (section || line_full) && !first_ && !after_pickup)
        set(add(node, "print"), "new-system", "yes");
      if (begins && (edges.forward || edges.volta))
        barline(node, "left", edges.forward ? "heavy-light" : nullptr, edges.volta, "start", 0,
                edges.forward);
      attributes(node, pickup, begins ? edges.part : nullptr);
      if (begins && edges.part) head(node, *edges.part);
      first_ = false;
      if (begins && edges.part && !edges.part->dynamic.empty() &&
          (edges.part->dynamic != dynamic_ || edges.part->signs.segno || edges.part->signs.coda)) {
        dynamic_ = edges.part->dynamic;
        directions(node, {{at, dynamic_}}, at, at + length);
      }
      directions(node, *edges.directions, at, at + length);
      if (edges.slows && leads_ && *edges.slows >= at && *edges.slows < at + length) {
        xml_node direction = direction_above(node);
        set(add(add(direction, "direction-type"), "words",
                std::string(edges.slows_last_time ? "rit. last time" : "rit.")),
            "font-style", "italic");
        if (*edges.slows > at) add(direction, "offset", written(*edges.slows - at, meter.value));
      }
      std::size_t c = 0;
      while (c < chords.size() && chords[c].at < at) ++c;
      std::vector<Ticks> cuts;
      for (const WrittenChord& chord : chords)
        if (chord.at >= at && chord.at < at + length) cuts.push_back(chord.at);
      if (!edges.symbols) cuts.clear();
      const auto symbols = write_bar(melody, at, length, meter, cuts);
      for (const Symbol& symbol : symbols) {
        // Before the last note, because some readers hang what follows it on the next bar.
        if (ends && edges.leads_on && leads_ && &symbol == &symbols.back()) leads_on(node, *edges.leads_on);
        // A chord symbol goes before the note it begins with. Where it begins within a note shorter than a
        // beat, its offset says where.
        for (; c < chords.size() && chords[c].at < symbol.at + symbol.length; ++c)
          if (edges.symbols) add_harmony(node, chords[c], written(chords[c].at - symbol.at, meter.value));
        const bool slurred = symbol.note && symbol.note->slurred;
        const bool begins_note = symbol.note && !symbol.tied_before,
                   ends_note = symbol.note && !symbol.tied_after;
        const bool slur_begins = begins_note && slurred && !in_slur_,
                   slur_ends = ends_note && !slurred && in_slur_;
        for (std::size_t member = 0; member == 0 || (symbol.note && member <= symbol.note->above.size());
             ++member)
          add_note(node, symbol, member, -staff_.sounds.octaves, accidentals_,
                   {slur_begins, slur_ends, ends && edges.held && &symbol == &symbols.back()});
        in_slur_ = (in_slur_ || slur_begins) && !slur_ends;
      }
      if (staff_.kicks && edges.symbols) kicks(node, chords, melody, at, length);
      if (ends && !edges.open) {
        const char* style = edges.backward > 0                              ? "light-heavy"
                            : edges.last                                    ? "light-heavy"
                            : edges.volta || edges.repeat_follows || pickup ? nullptr
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
    const Meter meter = meter_of(form_, part);
    const auto ways = voltas(part);
    Edges edges;
    edges.part = &part;
    edges.forward = part.times > 1;
    edges.repeat_follows = repeat_follows;
    edges.directions = &part.directions;
    edges.symbols = shows_symbols(part);
    // What happens at the end belongs to the last ending.
    const auto at_the_end = [&](Edges& last_time, Ticks begin, bool repeats) {
      last_time.held = part.fermata;
      last_time.leads_on = &part.signs;
      if (part.ritardando) last_time.slows = std::max(begin, ritardando_from(form_, part));
      last_time.slows_last_time = repeats;
    };
    if (ways.empty()) {
      at_the_end(edges, Ticks(0), part.times > 1);
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
      volta.symbols = edges.symbols;
      volta.volta = &ways[i];
      volta.last_volta = i + 1 == ways.size();
      const bool goes_back = !volta.last_volta || ways[i].times.size() > 1;
      if (volta.last_volta) at_the_end(volta, from, ways[i].times.size() > 1);
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
  harmony::TimeSignature signature_{0, 0}, pending_;
  Meter meter_;
  BeatValue beat_said_ = BeatValue::kQuarter;
  int line_bars_ = 0;
  bool first_ = true, after_pickup_ = false, free_ = false, in_slur_ = false, sung_ = false;
  Feel feel_ = Feel::kStraight;
  std::string tempo_said_, dynamic_;  // what holds
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
