// The small elements of a MusicXML document: notes with their accidentals, and chord symbols.
//
// Units: 480 divisions per quarter note.
// Threads: one owner; not synchronised.
// Errors: none; all functions are total.
// Source: MusicXML 4.0 (W3C Community Group, 2021).
#pragma once

#include <cstdint>
#include <map>
#include <pugixml.hpp>
#include <string>
#include <utility>

#include "daemon/song/form.h"
#include "daemon/song/notation.h"

namespace undersong::song {

pugi::xml_node add(pugi::xml_node parent, const char* name);
pugi::xml_node add(pugi::xml_node parent, const char* name, const std::string& text);
pugi::xml_node add(pugi::xml_node parent, const char* name, std::int64_t number);
void set(pugi::xml_node node, const char* name, const std::string& value);

// Keeps the accidentals that apply: those of the signature, and those written so far in the bar.
class Accidentals {
 public:
  explicit Accidentals(int signature) : signature_(signature) {}
  void new_bar() { bar_.clear(); }
  void new_signature(int signature) { signature_ = signature; }
  // The accidental that must be written, or nullptr. `step`, `alter`: the letter and what it is altered by.
  const char* needed(char step, int alter, int at_octave, bool tied);
  // What the signature alters a letter by.
  int of_signature(char step) const;

 private:
  int signature_;
  std::map<std::pair<char, int>, int> bar_;
};

// `offset`: from where the next note begins, in divisions.
void add_harmony(pugi::xml_node measure, const WrittenChord& chord, std::int64_t offset);

struct NoteSigns {
  bool slur_begins = false, slur_ends = false, fermata = false;
};
// `member`: the note of a chord that is written, counted from 0; only the first has what belongs to the whole
// chord. `octaves`: how much higher than it sounds the note is written.
void add_note(pugi::xml_node measure, const Symbol& symbol, std::size_t member, int octaves,
              Accidentals& accidentals, const NoteSigns& signs);

}  // namespace undersong::song
