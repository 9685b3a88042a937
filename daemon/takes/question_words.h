// The vocabulary of the question language: what a single word, or a few words in a row, can mean. Used by the
// parser in question.cpp.
//
// Units: semitones upwards; columns in characters, from 1.
// Threads: pure functions; call them from any thread.
// Errors: none; a word that does not fit gives nullopt.
// Source: common practice, no source.
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
  std::string text;        // as written, with accidentals as b and #
  std::string plain;       // lower case
  std::size_t column = 1;  // in characters, from 1
};

// Splits text into words. Brackets are words of their own, an arrow becomes "then", and commas are dropped.
std::vector<Word> words_of(std::string_view text);

// "Db", "d-flat", "F#": a note name and nothing more.
std::optional<harmony::NoteName> note_word(const Word& word);
// A chord symbol: a root and a quality, which may be empty. "db" is D flat.
struct SymbolWord {
  harmony::NoteName root;
  std::optional<harmony::Quality> quality;  // empty: a bare root
  std::optional<harmony::NoteName> bass;
  std::string quality_words;  // "m7"
};
std::optional<SymbolWord> symbol_word(const Word& word);
// "m7", "maj7", "sus4": a quality without a root, in the spellings people use.
std::optional<harmony::Quality> quality_word(std::string_view text);
std::optional<harmony::Family> family_word(const Word& word);
// "seventh", "7th" or "9" after a family: 3 for a triad, else 6, 7, 9, 11 or 13.
std::optional<int> size_word(const Word& word);
// "#11", "b9", "9", "third", "root". A "flat" or "sharp" must already be part of the word.
std::optional<harmony::Degree> degree_word(const Word& word);
// Semitones as bits: "fourth" sets bit 5, "third" sets bits 3 and 4.
std::optional<std::uint16_t> interval_word(const Word& word);
std::optional<unsigned> month_word(const Word& word);    // 1..12
std::optional<unsigned> weekday_word(const Word& word);  // 0 is Sunday
std::optional<int> number_word(const Word& word);
std::optional<Day> date_word(const Word& word);  // 2026-11-05

// Rows of the chord vocabulary that contain this chord and have its family.
std::bitset<128> rows_containing(harmony::Quality quality);
std::bitset<128> rows_of(harmony::Family family, std::optional<int> size);
std::bitset<128> altered_rows();
std::string_view word_for(harmony::Family family);
bool same_degree(harmony::Degree a, harmony::Degree b);

}  // namespace undersong::takes
