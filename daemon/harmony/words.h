// Short texts for lists of alternatives (names of notes, chord suffixes, degrees, numbers), and a writer that
// appends them fast.
//
// A Word is always copied with all its bytes, and the writer then advances by its length. A copy of fixed
// size needs no branch on the length, which the processor predicts badly after a pause.
//
// Units: none; the range of each number is in its comment.
// Threads: any. The tables are made at first use and are read-only afterwards.
// Errors: none; a number out of range is clamped. Allocates only when the tables are made.
#pragma once

#include <array>
#include <cstdint>
#include <cstring>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

template <std::size_t Longest>
struct FixedText {
  static constexpr std::size_t kLongest = Longest;
  constexpr FixedText() = default;
  constexpr explicit FixedText(std::string_view from) : size(static_cast<std::uint8_t>(from.size())) {
    for (std::size_t i = 0; i < from.size(); ++i)
      text[i] = from[i];  // a text that is too long does not compile, or a test finds it
  }
  constexpr std::string_view view() const { return {text.data(), size}; }
  std::array<char, Longest> text{};
  std::uint8_t size = 0;
};
using Word = FixedText<31>;
using Fragment = FixedText<127>;  // several words that are always written together

// Writes from a given address on, where there must be enough room. Up to kSlack bytes after the written text
// are overwritten too.
class TextWriter {
 public:
  static constexpr std::size_t kSlack = Fragment::kLongest;
  explicit TextWriter(char* at) : at_(at) {}
  char* at() const { return at_; }
  template <std::size_t Longest>
  void put(const FixedText<Longest>& word) {
    std::memcpy(at_, word.text.data(), word.text.size());
    at_ += word.size;
  }
  template <std::size_t N>
  void put(const char (&literal)[N]) {
    std::memcpy(at_, literal, N - 1);
    at_ += N - 1;
  }
  void put(char c) { *at_++ = c; }
  void put(std::string_view text) {  // of any length; slower
    std::memcpy(at_, text.data(), text.size());
    at_ += text.size();
  }

 private:
  char* at_;
};

struct QualityWords {
  Word harte, letters, signs;
};

const QualityWords& words(Quality quality);
// For names within kFlattestWord..kSharpestWord; beyond, the name of the same key within that range.
const Word& word(NoteName name);
const Word& word(Degree degree);
const Word& word(Key key);                      // "Eb major"
const Word& whole_word(int number);             // 0..255
const Word& thousandths_word(int thousandths);  // 0..1000: "0", "0.5", "0.125", "1"

inline constexpr int kFlattestWord = -22, kSharpestWord = 26;

}  // namespace undersong::harmony
