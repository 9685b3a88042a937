#include "daemon/harmony/chord_symbol.h"

#include <array>
#include <tuple>
#include <utility>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// The degree of a bass that differs from the root, written within one octave as in Harte: /3, /b7, /2.
Degree bass_degree(const Chord& chord) {
  const int interval = ascending(chord.root, chord.bass);
  Degree degree = degree_in(chord.quality, interval);
  // A bass that is not a chord tone is spelled plainly: A/C, not A/B#.
  if (!row(chord.quality).tones.contains(PitchClass(interval)) && (interval == 3 || interval == 8))
    degree = {static_cast<std::int8_t>(interval == 3 ? 3 : 6), -1};
  if (degree.number > 7) degree.number = static_cast<std::int8_t>(degree.number - 7);
  return degree;
}

// The shorthands of Harte syntax and their degrees.
constexpr std::array<std::pair<std::string_view, std::string_view>, 16> kShorthands{{
    {"maj", "3 5"},
    {"min", "b3 5"},
    {"dim", "b3 b5"},
    {"aug", "3 #5"},
    {"maj7", "3 5 7"},
    {"min7", "b3 5 b7"},
    {"7", "3 5 b7"},
    {"dim7", "b3 b5 bb7"},
    {"hdim7", "b3 b5 b7"},
    {"minmaj7", "b3 5 7"},
    {"maj6", "3 5 6"},
    {"min6", "b3 5 6"},
    {"9", "3 5 b7 9"},
    {"maj9", "3 5 7 9"},
    {"min9", "b3 5 b7 9"},
    {"sus4", "4 5"},
}};
constexpr std::array<std::pair<std::string_view, std::string_view>, 10> kLaterShorthands{{
    {"sus2", "2 5"},
    {"1", ""},
    {"5", "5"},
    {"aug7", "3 #5 b7"},
    {"11", "3 5 b7 9 11"},
    {"maj11", "3 5 7 9 11"},
    {"min11", "b3 5 b7 9 11"},
    {"13", "3 5 b7 9 13"},
    {"maj13", "3 5 7 9 13"},
    {"min13", "b3 5 b7 9 11 13"},
}};

std::optional<std::string_view> shorthand(std::string_view name) {
  for (const auto& [key, degrees] : kShorthands)
    if (key == name) return degrees;
  for (const auto& [key, degrees] : kLaterShorthands)
    if (key == name) return degrees;
  return std::nullopt;
}

template <class Each>
bool for_each_item(std::string_view list, char separator, Each each) {
  while (!list.empty()) {
    const auto end = list.find(separator);
    if (!each(list.substr(0, end))) return false;
    if (end == std::string_view::npos) break;
    list = list.substr(end + 1);
    if (list.empty()) return false;
  }
  return true;
}

// The row with these tones and true, or the most similar row and false. Thirds, fifths and sevenths count
// most.
std::pair<Quality, bool> nearest_row(PitchClassSet tones) {
  const auto rows = chord_vocabulary();
  int best = 0, best_cost = 1000;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const PitchClassSet extra = rows[i].tones - tones, missing = tones - rows[i].tones;
    constexpr unsigned kFrame = 0b110111011000;  // thirds, fifths, sevenths
    const int cost = 3 * ((extra | missing) & PitchClassSet(kFrame)).size() + extra.size() + missing.size();
    if (cost < best_cost) best_cost = cost, best = static_cast<int>(i);
  }
  return {Quality(best), best_cost == 0};
}

}  // namespace

Suffix suffix(Quality quality, SymbolStyle style) {
  static constexpr std::array<std::string_view, 8> kBeside{"m", "-", "dim", "°", "ø", "aug", "+", "Δ"};
  const QualityRow& made = row(quality);
  const std::string_view text = style == SymbolStyle::kLetters ? made.letters : made.signs;
  if (!text.starts_with("maj"))
    for (const std::string_view sign : kBeside)
      if (text.starts_with(sign)) return {text.substr(0, sign.size()), text.substr(sign.size())};
  return {{}, text};
}

void append_symbol(std::string& out, const Chord& chord, NoteName root, SymbolStyle style) {
  const QualityRow& made = row(chord.quality);
  append_text(out, root);
  out += style == SymbolStyle::kLetters ? made.letters : made.signs;
  if (chord.bass != chord.root) {
    out += '/';
    append_text(out, bass_name(chord, root));
  }
}

NoteName bass_name(const Chord& chord, NoteName root) {
  if (chord.bass == chord.root) return root;
  const NoteName name = root.above(bass_degree(chord));
  if (row(chord.quality).tones.contains(PitchClass(ascending(chord.root, chord.bass))))
    return plain_name(name);
  // E#, B#, Cb and Fb are used only for chord tones.
  if (name.fifths() < -6) return NoteName(name.fifths() + 12);
  if (name.fifths() > 10) return NoteName(name.fifths() - 12);
  return name;
}

NoteName name_in(const Chord& chord, NoteName root, PitchClass note) {
  if (note == chord.bass) return bass_name(chord, root);
  return plain_name(root.above(degree_in(chord.quality, ascending(chord.root, note))));
}

void append_harte(std::string& out, const Chord& chord, NoteName root) {
  append_text(out, root);
  out += ':';
  out += row(chord.quality).harte;
  if (chord.bass != chord.root) {
    out += '/';
    append_text(out, bass_degree(chord));
  }
}

std::string symbol(const Chord& chord, NoteName root, SymbolStyle style) {
  std::string out;
  append_symbol(out, chord, root, style);
  return out;
}

std::string harte(const Chord& chord, NoteName root) {
  std::string out;
  append_harte(out, chord, root);
  return out;
}

std::optional<ParsedChord> parse_harte(std::string_view text) {
  const auto slash = text.find('/');
  std::string_view bass_text;
  if (slash != std::string_view::npos) {
    bass_text = text.substr(slash + 1);
    text = text.substr(0, slash);
    if (bass_text.empty()) return std::nullopt;
  }
  const auto colon = text.find(':');
  const auto root = parse_note_name(text.substr(0, colon));
  if (!root) return std::nullopt;
  std::string_view body = colon == std::string_view::npos ? std::string_view("maj") : text.substr(colon + 1);
  std::string_view list;
  bool has_list = false;
  if (const auto open = body.find('('); open != std::string_view::npos) {
    if (body.back() != ')' || body.size() - open < 3) return std::nullopt;
    list = body.substr(open + 1, body.size() - open - 2);
    body = body.substr(0, open);
    has_list = true;
  }
  PitchClassSet tones(1);
  if (!body.empty()) {
    const auto degrees = shorthand(body);
    if (!degrees) return std::nullopt;
    for_each_item(*degrees, ' ', [&](std::string_view item) {
      tones.insert(PitchClass(semitones(*parse_degree(item))));
      return true;
    });
  } else if (!has_list) {
    return std::nullopt;
  }
  const bool listed = for_each_item(list, ',', [&](std::string_view item) {
    const bool omit = item.starts_with('*');
    if (omit && body.empty()) return false;
    const auto degree = parse_degree(omit ? item.substr(1) : item);
    if (!degree) return false;
    const PitchClass tone(semitones(*degree));
    if (omit) {
      tones.erase(tone);
    } else {
      tones.insert(tone);
    }
    return true;
  });
  if (!listed) return std::nullopt;
  ParsedChord out;
  out.root = *root;
  out.chord.root = out.chord.bass = root->pitch_class();
  if (!bass_text.empty()) {
    const auto degree = parse_degree(bass_text);
    if (!degree) return std::nullopt;
    out.chord.bass = transpose(out.chord.root, semitones(*degree));
  }
  std::tie(out.chord.quality, out.exact) = nearest_row(tones);
  return out;
}

std::optional<ParsedChord> parse_symbol(std::string_view text) {
  std::size_t letters = 1;
  while (letters < text.size() && letters < 3 && (text[letters] == '#' || text[letters] == 'b')) ++letters;
  const auto root = parse_note_name(text.substr(0, letters));
  if (!root) return std::nullopt;
  const auto quality_of = [](std::string_view name) -> std::optional<Quality> {
    const auto rows = chord_vocabulary();
    for (std::size_t i = 0; i < rows.size(); ++i)
      if (rows[i].letters == name || rows[i].signs == name) return Quality(static_cast<int>(i));
    return std::nullopt;
  };
  ParsedChord out;
  out.root = *root;
  out.exact = true;
  out.chord.root = out.chord.bass = root->pitch_class();
  std::string_view rest = text.substr(letters);
  auto quality = quality_of(rest);
  if (!quality) {  // a bass after the last slash; 6/9 has one of its own
    const auto slash = rest.rfind('/');
    if (slash == std::string_view::npos) return std::nullopt;
    const auto bass = parse_note_name(rest.substr(slash + 1));
    quality = quality_of(rest.substr(0, slash));
    if (!bass || !quality) return std::nullopt;
    out.chord.bass = bass->pitch_class();
  }
  out.chord.quality = *quality;
  return out;
}

std::optional<ParsedChord> parse_chord(std::string_view text) {
  return text.find(':') != std::string_view::npos ? parse_harte(text) : parse_symbol(text);
}

}  // namespace undersong::harmony
