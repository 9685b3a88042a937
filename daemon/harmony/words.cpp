#include "daemon/harmony/words.h"

#include <algorithm>
#include <string>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// Cuts the text to the size of a Word. A test checks that no text is longer.
Word made(std::string_view text) {
  return Word(text.substr(0, Word::kLongest));
}

constexpr int kAlters = 5;  // alterations of a degree: -2..2

struct Words {
  std::array<QualityWords, 256> quality;
  std::array<Word, kSharpestWord - kFlattestWord + 1> name;
  std::array<std::array<Word, kAlters>, 14> degree;
  std::array<Word, 24> key;
  std::array<Word, 256> whole;
  std::array<Word, 1001> thousandths;

  Words() {
    const auto rows = chord_vocabulary();
    for (std::size_t i = 0; i < rows.size(); ++i)
      quality[i] = {made(rows[i].harte), made(rows[i].letters), made(rows[i].signs)};
    for (int fifths = kFlattestWord; fifths <= kSharpestWord; ++fifths)
      name[static_cast<std::size_t>(fifths - kFlattestWord)] = made(text(NoteName(fifths)));
    for (int number = 1; number < 14; ++number)
      for (int alter = -2; alter <= 2; ++alter)
        degree[static_cast<std::size_t>(number)][static_cast<std::size_t>(alter + 2)] =
            made(text(Degree{static_cast<std::int8_t>(number), static_cast<std::int8_t>(alter)}));
    for (int tonic = 0; tonic < 12; ++tonic)
      for (const Mode mode : {Mode::kMajor, Mode::kMinor})
        key[index({PitchClass(tonic), mode})] = made(text(Key{PitchClass(tonic), mode}));
    for (int i = 0; i < 256; ++i) whole[static_cast<std::size_t>(i)] = made(std::to_string(i));
    for (int i = 0; i <= 1000; ++i) {
      std::string text = std::to_string(1000 + i).substr(1);
      while (!text.empty() && text.back() == '0') text.pop_back();
      thousandths[static_cast<std::size_t>(i)] = made(i == 1000 ? "1" : text.empty() ? "0" : "0." + text);
    }
  }
  static std::size_t index(Key key) {
    return static_cast<std::size_t>(2 * key.tonic.value() + (key.mode == Mode::kMinor));
  }
};

const Words& all() {
  static const Words kWords;
  return kWords;
}

}  // namespace

const QualityWords& words(Quality quality) {
  return all().quality[static_cast<std::size_t>(quality.row())];
}

const Word& word(NoteName name) {
  int fifths = name.fifths();
  while (fifths < kFlattestWord) fifths += 12;
  while (fifths > kSharpestWord) fifths -= 12;
  return all().name[static_cast<std::size_t>(fifths - kFlattestWord)];
}

const Word& word(Degree degree) {
  return all().degree[static_cast<std::size_t>(std::clamp<int>(degree.number, 1, 13))]
                     [static_cast<std::size_t>(std::clamp<int>(degree.alter, -2, 2) + 2)];
}

const Word& word(Key key) {
  return all().key[Words::index(key)];
}
const Word& whole_word(int number) {
  return all().whole[static_cast<std::size_t>(std::clamp(number, 0, 255))];
}
const Word& thousandths_word(int thousandths) {
  return all().thousandths[static_cast<std::size_t>(std::clamp(thousandths, 0, 1000))];
}

}  // namespace undersong::harmony
