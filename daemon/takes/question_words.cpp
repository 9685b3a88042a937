// Over 400 lines: the word lists of one language, which are easier to check against each other in one place.
#include "daemon/takes/question_words.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

namespace undersong::takes {
namespace {

using harmony::Family;

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}
std::string lowered(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), lower);
  return out;
}

struct Sign {
  std::string_view sign, stands_for;
};
constexpr Sign kSigns[] = {{"♭", "b"}, {"♯", "#"}, {"→", " then "}, {"–", "-"}, {"—", "-"}, {"\u00A0", " "}};

// Reads a root letter and its accidentals at the beginning; also returns how many bytes they take.
std::optional<std::pair<harmony::NoteName, std::size_t>> root_of(std::string_view text) {
  if (text.empty()) return std::nullopt;
  std::string name(1, static_cast<char>(lower(text[0]) - 'a' + 'A'));
  if (name[0] < 'A' || name[0] > 'G') return std::nullopt;
  std::size_t used = 1;
  const std::string plain = lowered(text);
  const auto says = [&](std::string_view word) {
    return std::string_view(plain).substr(used).starts_with(word);
  };
  if (says("-flat") || says("-sharp")) ++used;
  if (says("flat")) {
    name += 'b';
    used += 4;
  } else if (says("sharp")) {
    name += '#';
    used += 5;
  } else {
    while (used < text.size() && used < 3 && (text[used] == 'b' || text[used] == '#')) name += text[used++];
  }
  const auto note = harmony::parse_note_name(name);
  if (!note) return std::nullopt;
  return std::pair(*note, used);
}

std::optional<harmony::Quality> row_of(std::string_view name) {
  const auto rows = harmony::chord_vocabulary();
  for (std::size_t i = 0; i < rows.size(); ++i)
    if (rows[i].letters == name || rows[i].signs == name) return harmony::Quality(static_cast<int>(i));
  return std::nullopt;
}

struct Spelled {
  std::string_view written, row;
};
// Other spellings of qualities that have a row in the vocabulary.
constexpr Spelled kOther[] = {
    {"M", ""},
    {"maj", ""},
    {"Maj", ""},
    {"MAJ", ""},
    {"ma", ""},
    {"major", ""},
    {"min", "m"},
    {"mi", "m"},
    {"minor", "m"},
    {"M7", "maj7"},
    {"ma7", "maj7"},
    {"j7", "maj7"},
    {"M9", "maj9"},
    {"ma9", "maj9"},
    {"M13", "maj13"},
    {"mM7", "m(maj7)"},
    {"mmaj7", "m(maj7)"},
    {"minmaj7", "m(maj7)"},
    {"m7-5", "m7b5"},
    {"ø", "m7b5"},
    {"h7", "m7b5"},
    {"o", "dim"},
    {"o7", "dim7"},
    {"°", "dim"},
    {"+7", "aug7"},
    {"7#5", "aug7"},
    {"7+", "aug7"},
    {"sus", "sus4"},
    {"7sus", "7sus4"},
    {"9sus", "9sus4"},
    {"13sus", "13sus4"},
    {"alt", "7alt"},
    {"69", "6/9"},
    {"m69", "m6/9"},
    {"add2", "add9"},
    {"madd9", "m(add9)"},
    {"madd11", "m(add11)"},
    {"dim5", "dim"},
    {"aug5", "aug"},
    {"6add9", "6/9"},
    {"maj7(#11)", "maj7#11"},
    {"7(b9)", "7b9"},
    {"7(#9)", "7#9"},
    {"7(#11)", "7#11"},
    {"7(b13)", "7b13"},
    {"dom7", "7"},
    {"dom9", "9"},
    {"+maj7", "maj7#5"},
};

template <std::size_t N, class T>
std::optional<T> looked_up(const std::pair<std::string_view, T> (&table)[N], std::string_view name) {
  for (const auto& [word, value] : table)
    if (word == name) return value;
  return std::nullopt;
}

bool has_seventh(const harmony::QualityRow& row) {
  return row.tones.contains(PitchClass(10)) || row.tones.contains(PitchClass(11)) || row.harte == "dim7";
}

}  // namespace

std::vector<Word> words_of(std::string_view text) {
  std::vector<Word> out;
  std::size_t column = 1;
  int open = 0;  // open brackets within the word
  bool within = false;
  const auto add = [&](std::string_view piece, std::size_t at) {
    if (!within) out.push_back({"", "", at});
    within = true;
    out.back().text += piece;
  };
  const auto close = [&] {
    within = false;
    open = 0;
  };
  for (std::size_t i = 0; i < text.size();) {
    std::string_view piece = text.substr(i, 1);
    std::size_t taken = 1;
    for (const Sign& sign : kSigns)
      if (text.substr(i).starts_with(sign.sign)) piece = sign.stands_for, taken = sign.sign.size();
    if (taken == 1 &&
        (static_cast<unsigned char>(text[i]) & 0x80) != 0) {  // the remaining bytes of a UTF-8 character
      while (i + taken < text.size() && (static_cast<unsigned char>(text[i + taken]) & 0xC0) == 0x80) ++taken;
      piece = text.substr(i, taken);
    }
    const auto arrow = taken == 1 && (text.substr(i).starts_with("->") || text.substr(i).starts_with("=>"));
    if (arrow || piece == " then ") {
      close();
      out.push_back({"then", "", column});
      if (arrow) taken = 2;
    } else if (piece == " " || piece == "\t" || piece == "\n" || piece == "\r" || piece == "," ||
               piece == ";" || piece == "?" || piece == "\"") {
      close();
    } else if (piece == "(" && !within) {
      out.push_back({"(", "", column});
    } else if (piece == ")" && open == 0) {
      close();
      out.push_back({")", "", column});
    } else {
      if (piece == "(") ++open;
      if (piece == ")") --open;
      add(piece, column);
    }
    i += taken;
    column += arrow ? 2 : 1;
  }
  std::erase_if(out, [](const Word& word) {
    return word.text == "-" || word.text == "|";
  });  // separators between chords
  for (Word& word : out) {
    while (word.text.size() > 1 &&
           (word.text.back() == '.' || word.text.back() == '!' || word.text.back() == ':'))
      word.text.pop_back();
    word.plain = lowered(word.text);
  }
  return out;
}

std::optional<harmony::NoteName> note_word(const Word& word) {
  const auto root = root_of(word.text);
  if (!root || root->second != word.text.size()) return std::nullopt;
  return root->first;
}

std::optional<harmony::Quality> quality_word(std::string_view text) {
  for (const std::string& written : {std::string(text), lowered(text)}) {
    if (const auto row = row_of(written)) return row;
    for (const Spelled& other : kOther)
      if (other.written == written) return row_of(other.row);
    // Write min7 and mi7 as m7, ma9 and M9 as maj9, and so on.
    for (const auto& [from, to] : {std::pair("min", "m"), std::pair("mi", "m"), std::pair("major", "maj"),
                                   std::pair("ma", "maj"), std::pair("M", "maj"), std::pair("-", "m")})
      if (written.starts_with(from))
        if (const auto row = row_of(to + written.substr(std::string_view(from).size()))) return row;
  }
  return std::nullopt;
}

std::optional<SymbolWord> symbol_word(const Word& word) {
  if (word.text.find(':') != std::string::npos) {
    const auto parsed = harmony::parse_harte(word.text);
    if (!parsed) return std::nullopt;
    SymbolWord out{parsed->root, parsed->chord.quality, std::nullopt,
                   std::string(harmony::row(parsed->chord.quality).letters)};
    if (parsed->chord.bass != parsed->chord.root) out.bass = harmony::bass_name(parsed->chord, parsed->root);
    if (out.quality_words.empty()) out.quality_words = "major triad";
    return out;
  }
  const auto root = root_of(word.text);
  if (!root) return std::nullopt;
  SymbolWord out;
  out.root = root->first;
  std::string_view rest = std::string_view(word.text).substr(root->second);
  if (rest.empty()) return out;
  const auto named = [&](std::string_view text) {
    if (text.empty()) return true;
    out.quality = quality_word(text);
    if (out.quality) out.quality_words = harmony::row(*out.quality).letters;
    if (out.quality && out.quality_words.empty()) out.quality_words = "major triad";
    return out.quality.has_value();
  };
  if (named(rest)) return out;
  const auto slash = rest.rfind('/');
  if (slash == std::string_view::npos) return std::nullopt;
  const auto bass = root_of(rest.substr(slash + 1));
  if (!bass || bass->second != rest.size() - slash - 1 || !named(rest.substr(0, slash))) return std::nullopt;
  out.bass = bass->first;
  return out;
}

std::optional<Family> family_word(const Word& word) {
  static constexpr std::pair<std::string_view, Family> kWords[] = {
      {"major", Family::kMajor},
      {"maj", Family::kMajor},
      {"minor", Family::kMinor},
      {"min", Family::kMinor},
      {"dominant", Family::kDominant},
      {"dominants", Family::kDominant},
      {"dom", Family::kDominant},
      {"suspended", Family::kSuspended},
      {"sus", Family::kSuspended},
      {"diminished", Family::kDiminished},
      {"dim", Family::kDiminished},
      {"half-diminished", Family::kHalfDiminished},
      {"halfdiminished", Family::kHalfDiminished},
      {"half_diminished", Family::kHalfDiminished},
      {"halfdim", Family::kHalfDiminished},
      {"augmented", Family::kAugmented},
      {"aug", Family::kAugmented},
      {"power", Family::kPower}};
  return looked_up(kWords, word.plain);
}

std::string_view word_for(Family family) {
  switch (family) {
    case Family::kMajor: return "major";
    case Family::kMinor: return "minor";
    case Family::kDominant: return "dominant";
    case Family::kSuspended: return "suspended";
    case Family::kDiminished: return "diminished";
    case Family::kHalfDiminished: return "half-diminished";
    case Family::kAugmented: return "augmented";
    case Family::kPower: return "power";
  }
  return "";
}

std::optional<int> size_word(const Word& word) {
  static constexpr std::pair<std::string_view, int> kWords[] = {
      {"triad", 3},   {"triads", 3},      {"sixth", 6}, {"6th", 6},       {"6", 6},
      {"seventh", 7}, {"sevenths", 7},    {"7th", 7},   {"7", 7},         {"ninth", 9},
      {"ninths", 9},  {"9th", 9},         {"9", 9},     {"eleventh", 11}, {"11th", 11},
      {"11", 11},     {"thirteenth", 13}, {"13th", 13}, {"13", 13}};
  return looked_up(kWords, word.plain);
}

std::optional<harmony::Degree> degree_word(const Word& word) {
  static constexpr std::pair<std::string_view, int> kWords[] = {
      {"root", 1},  {"second", 2},  {"third", 3}, {"fourth", 4},    {"fifth", 5},
      {"sixth", 6}, {"seventh", 7}, {"ninth", 9}, {"eleventh", 11}, {"thirteenth", 13},
      {"one", 1},   {"two", 2},     {"three", 3}, {"four", 4},      {"five", 5},
      {"six", 6},   {"seven", 7},   {"nine", 9},  {"eleven", 11},   {"thirteen", 13}};
  std::string_view text = word.plain;
  int alter = 0;
  const auto drop = [&](std::string_view sign, int by) {
    if (!text.starts_with(sign)) return false;
    text.remove_prefix(sign.size());
    if (text.starts_with('-')) text.remove_prefix(1);
    alter += by;
    return true;
  };
  while (alter > -3 && alter < 3 && (drop("flat", -1) || drop("sharp", 1) || drop("b", -1) || drop("#", 1))) {
  }
  int number = 0;
  if (const auto named = looked_up(kWords, text)) {
    number = *named;
  } else {
    const auto [end, wrong] = std::from_chars(text.data(), text.data() + text.size(), number);
    const std::string_view rest(end, static_cast<std::size_t>(text.data() + text.size() - end));
    if (wrong != std::errc() ||
        !(rest.empty() || rest == "th" || rest == "rd" || rest == "nd" || rest == "st"))
      return std::nullopt;
  }
  if (number < 1 || number > 13 || number == 8 || number == 10 || number == 12 || alter < -2 || alter > 2)
    return std::nullopt;
  return harmony::Degree{static_cast<std::int8_t>(number), static_cast<std::int8_t>(alter)};
}

std::optional<std::uint16_t> interval_word(const Word& word) {
  static constexpr std::pair<std::string_view, std::uint16_t> kWords[] = {
      {"semitone", 1 << 1},       {"second", 1 << 1 | 1 << 2}, {"tone", 1 << 2},
      {"third", 1 << 3 | 1 << 4}, {"fourth", 1 << 5},          {"tritone", 1 << 6},
      {"fifth", 1 << 7},          {"sixth", 1 << 8 | 1 << 9},  {"seventh", 1 << 10 | 1 << 11}};
  return looked_up(kWords, word.plain);
}

std::optional<unsigned> month_word(const Word& word) {
  static constexpr std::string_view kMonths[] = {"january",   "february", "march",    "april",
                                                 "may",       "june",     "july",     "august",
                                                 "september", "october",  "november", "december"};
  for (unsigned i = 0; i < 12; ++i)
    if (word.plain == kMonths[i] || word.plain == kMonths[i].substr(0, 3) || (i == 8 && word.plain == "sept"))
      return i + 1;
  return std::nullopt;
}

std::optional<unsigned> weekday_word(const Word& word) {
  static constexpr std::string_view kDays[] = {"sunday",   "monday", "tuesday", "wednesday",
                                               "thursday", "friday", "saturday"};
  for (unsigned i = 0; i < 7; ++i)
    if (word.plain == kDays[i]) return i;
  return std::nullopt;
}

std::optional<int> number_word(const Word& word) {
  int number = 0;
  const auto [end, wrong] = std::from_chars(word.text.data(), word.text.data() + word.text.size(), number);
  if (wrong != std::errc() || end != word.text.data() + word.text.size()) return std::nullopt;
  return number;
}

std::optional<Day> date_word(const Word& word) {
  const std::string& text = word.text;
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return std::nullopt;
  const auto part = [&](std::size_t at, std::size_t length) {
    return number_word({text.substr(at, length), "", 1});
  };
  const auto year = part(0, 4), month = part(5, 2), day = part(8, 2);
  if (!year || !month || !day || *year < 1900 || *month < 1 || *day < 1) return std::nullopt;
  const Day date{std::chrono::year(*year), std::chrono::month(static_cast<unsigned>(*month)),
                 std::chrono::day(static_cast<unsigned>(*day))};
  return date.ok() ? std::optional(date) : std::nullopt;
}

std::bitset<128> rows_containing(harmony::Quality quality) {
  const auto rows = harmony::chord_vocabulary();
  const auto& asked = harmony::row(quality);
  std::bitset<128> out;
  for (std::size_t i = 0; i < rows.size() && i < out.size(); ++i)
    if (rows[i].family == asked.family && (asked.essential - rows[i].tones).size() == 0) out.set(i);
  out.set(static_cast<std::size_t>(quality.row()));
  return out;
}

std::bitset<128> rows_of(Family family, std::optional<int> size) {
  const auto rows = harmony::chord_vocabulary();
  std::bitset<128> out;
  for (std::size_t i = 0; i < rows.size() && i < out.size(); ++i) {
    const auto& row = rows[i];
    if (row.family != family) continue;
    const auto has = [&](int interval) { return row.tones.contains(PitchClass(interval)); };
    bool fits = true;
    if (size == 3) fits = row.tones.size() == 3 || (family == Family::kPower);
    if (size == 6) fits = has(9) && !has(10) && !has(11) && row.harte != "dim7";
    if (size && *size >= 7) fits = has_seventh(row) && (family != Family::kMinor || has(10));
    if (size && *size >= 9) fits = fits && has(2);
    if (size == 11) fits = fits && (has(5) || has(6));
    if (size == 13) fits = fits && has(9);
    if (fits) out.set(i);
  }
  return out;
}

std::bitset<128> altered_rows() {
  const auto rows = harmony::chord_vocabulary();
  std::bitset<128> out;
  for (std::size_t i = 0; i < rows.size() && i < out.size(); ++i)
    for (const int tone : {1, 3, 8})
      if (rows[i].family == Family::kDominant && rows[i].tones.contains(PitchClass(tone))) out.set(i);
  return out;
}

bool same_degree(harmony::Degree a, harmony::Degree b) {
  return a.alter == b.alter && (a.number - 1) % 7 == (b.number - 1) % 7;
}

}  // namespace undersong::takes
