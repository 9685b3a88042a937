// The words of the language of questions: what single words, or a few in a row, can mean. Used by the reader
// in question.cpp.
//
// Threads: pure. Source: common practice, no source.
#pragma once

#include <bitset>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/question.h"

namespace undersong::takes {

struct Word {
  std::string text;        // as written, accidentals as b and #
  std::string plain;       // in lower case
  std::size_t column = 1;  // in characters, from 1
};

// Words, brackets of their own, and "then" for an arrow. Commas are dropped.
std::vector<Word> words_of(std::string_view text);

// "Db", "d-flat", "F#": a note name and nothing else.
std::optional<harmony::NoteName> note_word(const Word& word);
// A chord symbol: a root and a quality that may be empty; "db" is D flat.
struct SymbolWord {
  harmony::NoteName root;
  std::optional<harmony::Quality> quality;  // empty: a bare root
  std::optional<harmony::NoteName> bass;
  std::string quality_words;  // "m7"
};
std::optional<SymbolWord> symbol_word(const Word& word);
// "m7", "maj7", "sus4": a quality without a root, in the forms people write.
std::optional<harmony::Quality> quality_word(std::string_view text);
std::optional<harmony::Family> family_word(const Word& word);
// "seventh", "7th", "9", after a family: 3 for a triad, 6, 7, 9, 11 or 13.
std::optional<int> size_word(const Word& word);
// "#11", "b9", "9", "third", "root"; `alter` comes from "flat" or "sharp" before it.
std::optional<harmony::Degree> degree_word(const Word& word);
// Semitones as bits: "fourth" is 5, "third" 3 and 4.
std::optional<std::uint16_t> interval_word(const Word& word);
std::optional<unsigned> month_word(const Word& word);    // 1..12
std::optional<unsigned> weekday_word(const Word& word);  // 0 Sunday
std::optional<int> number_word(const Word& word);
std::optional<Day> date_word(const Word& word);  // 2026-11-05

// Rows of the vocabulary that contain a chord, and are of its family.
std::bitset<128> rows_containing(harmony::Quality quality);
std::bitset<128> rows_of(harmony::Family family, std::optional<int> size);
std::bitset<128> altered_rows();
std::string_view word_for(harmony::Family family);
bool same_degree(harmony::Degree a, harmony::Degree b);

}  // namespace undersong::takes
