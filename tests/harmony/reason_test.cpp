// Every reason is checked by its words against the theory, which is stated here once more without the tables
// of the core: what must be true if a sentence says so. Over 400 lines: one rule for each kind of reason.
#include "daemon/harmony/reason.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cstdlib>
#include <functional>
#include <iterator>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

using Tones = std::set<int>;

Tones above_root(const Chord& chord) {
  Tones out;
  for (int i = 0; i < 12; ++i)
    if (row(chord.quality).tones.contains(PitchClass(i))) out.insert(i);
  return out;
}
Tones sounding(const Chord& chord) {
  Tones out;
  for (int i : above_root(chord)) out.insert((i + chord.root.value()) % 12);
  return out;
}
Tones scale_on(int tonic, std::vector<int> steps) {
  Tones out;
  for (int step : steps) out.insert((step + tonic) % 12);
  return out;
}
bool within(const Tones& tones, const Tones& scale) {
  return std::includes(scale.begin(), scale.end(), tones.begin(), tones.end());
}
const std::map<std::string, std::vector<int>> kModes{
    {"major", {0, 2, 4, 5, 7, 9, 11}},      {"minor", {0, 2, 3, 5, 7, 8, 10}},
    {"harmonic", {0, 2, 3, 5, 7, 8, 11}},   {"Dorian", {0, 2, 3, 5, 7, 9, 10}},
    {"Mixolydian", {0, 2, 4, 5, 7, 9, 10}}, {"Phrygian", {0, 1, 3, 5, 7, 8, 10}},
    {"Lydian", {0, 2, 4, 6, 7, 9, 11}}};

// The situation that a sentence is about.
struct Case {
  Chord chord;
  std::optional<Key> key;
  std::optional<Chord> previous;
  int liked = 0;
  std::string text;

  Tones tones() const { return above_root(chord); }
  Tones all() const { return sounding(chord); }
  Tones before() const { return sounding(*previous); }
  int root() const { return chord.root.value(); }
  int degree() const { return (root() - key->tonic.value() + 12) % 12; }
  int degree_before() const { return (previous->root.value() - key->tonic.value() + 12) % 12; }
  int move() const { return (root() - previous->root.value() + 12) % 12; }
  bool minor_key() const { return key->mode == Mode::kMinor; }
  Tones scale() const { return scale_on(key->tonic.value(), kModes.at(minor_key() ? "minor" : "major")); }
  bool in_key() const { return within(all(), scale()); }
};
bool has(const Tones& tones, std::initializer_list<int> wanted) {
  return std::all_of(wanted.begin(), wanted.end(), [&](int i) { return tones.contains(i); });
}
bool dominant(const Tones& tones) {
  return has(tones, {4, 10});
}
bool major(const Tones& tones) {
  return has(tones, {4}) && !tones.contains(10);
}
bool minor(const Tones& tones) {
  return has(tones, {3, 7}) && !tones.contains(4);
}
bool half_diminished(const Tones& tones) {
  return has(tones, {3, 6, 10}) && !tones.contains(4);
}
bool diminished(const Tones& tones) {
  return has(tones, {3, 6}) && !tones.contains(7) && !tones.contains(10);
}
bool two(const Tones& tones) {
  return (minor(tones) && !tones.contains(11)) || half_diminished(tones);
}
bool suspended(const Tones& tones) {
  return !tones.contains(4) && (tones.contains(2) || tones.contains(5));
}
int common(const Case& c) {
  int out = 0;
  for (int tone : c.all()) out += c.before().contains(tone);
  return out;
}

// The degree that a Roman numeral names, in semitones above the tonic.
int degree_of(const std::string& numeral, bool minor_key) {
  std::string letters = numeral;
  int alter = 0;
  if (letters[0] == 'b') alter = -1, letters.erase(0, 1);
  if (letters[0] == '#') alter = 1, letters.erase(0, 1);
  std::transform(letters.begin(), letters.end(), letters.begin(), ::toupper);
  const std::vector<std::string> kNames{"I", "II", "III", "IV", "V", "VI", "VII"};
  const auto at = std::find(kNames.begin(), kNames.end(), letters) - kNames.begin();
  EXPECT_LT(at, 7) << numeral;
  // In a minor key, III, VI and VII are those of its scale; in small letters they are a semitone higher.
  std::vector<int> steps = kModes.at("major");
  if (minor_key && std::isupper(numeral[0])) steps = kModes.at("minor");
  return (steps[static_cast<std::size_t>(at)] + alter + 12) % 12;
}
// The words after a beginning.
std::string rest(const Case& c, const std::string& beginning) {
  return c.text.substr(beginning.size());
}
std::string last_word(const std::string& text) {
  return text.substr(text.rfind(' ') + 1);
}
int pitch(const std::string& name) {
  return parse_note_name(name)->pitch_class().value();
}
// The triads on the degrees that a secondary dominant can lead to are major or minor: no diminished fifth.
bool can_be_tonic(const Case& c, int degree) {
  const Tones scale = c.scale();
  const int root = (degree + c.key->tonic.value()) % 12;
  return scale.contains(root) && scale.contains((root + 7) % 12) && degree != 0;
}
bool names_previous(const Case& c, const std::string& name) {
  const auto read = parse_symbol(name);
  return read && read->chord.root == c.previous->root &&
         row(read->chord.quality).tones == row(c.previous->quality).tones;
}
int bass_falls(const Case& c) {
  return (c.previous->bass.value() - c.chord.bass.value() + 12) % 12;
}
bool same_upper(const Case& c) {
  return c.move() == 0;
}

// One inner voice moves by a semitone and everything else stays.
bool line(const Case& c, int step) {
  Tones last = above_root(*c.previous), next = c.tones();
  std::vector<int> gone, come;
  std::set_difference(last.begin(), last.end(), next.begin(), next.end(), std::back_inserter(gone));
  std::set_difference(next.begin(), next.end(), last.begin(), last.end(), std::back_inserter(come));
  return same_upper(c) && gone.size() == 1 && come.size() == 1 && come[0] - gone[0] == step;
}
bool borrowed(const Case& c, const std::string& mode) {
  return !c.in_key() && within(c.all(), scale_on(c.key->tonic.value(), kModes.at(mode)));
}
bool in_parallel_minor(const Case& c) {
  return borrowed(c, "minor") || borrowed(c, "harmonic");
}

struct Rule {
  std::string begins, ends;
  std::function<bool(const Case&)> holds;
  bool function = false;  // says what the chord is for in the key
};

const std::vector<Rule>& rules() {
  static const std::vector<Rule> kRules{
      {"pedal: the bass stays", "", [](const Case& c) { return c.move() != 0 && bass_falls(c) == 0; }},
      {"line cliché: the bass falls", "",
       [](const Case& c) { return same_upper(c) && (bass_falls(c) == 1 || bass_falls(c) == 2); }},
      {"line cliché: the bass rises", "",
       [](const Case& c) { return same_upper(c) && (bass_falls(c) == 11 || bass_falls(c) == 10); }},
      {"the bass steps down", "", [](const Case& c) { return bass_falls(c) == 1 || bass_falls(c) == 2; }},
      {"the bass steps up", "", [](const Case& c) { return bass_falls(c) == 11 || bass_falls(c) == 10; }},
      {"line cliché: inner voice falls", "", [](const Case& c) { return line(c, -1); }},
      {"line cliché: inner voice rises", "", [](const Case& c) { return line(c, 1); }},
      {"Lydian on the same root", "",
       [](const Case& c) {
         return c.move() == 0 && has(c.tones(), {4, 6, 7}) && major(c.tones());
       }},
      {"Lydian dominant, same root", "",
       [](const Case& c) {
         return c.move() == 0 && has(c.tones(), {4, 6, 7, 10}) && !c.tones().contains(1);
       }},
      {"suspends the third of ", "",
       [](const Case& c) {
         const Tones last = above_root(*c.previous);
         return c.move() == 0 && !c.tones().contains(4) && !c.tones().contains(3) && suspended(c.tones()) &&
                (last.contains(3) || last.contains(4));
       }},
      {"resolves the suspension of ", "",
       [](const Case& c) {
         const Tones last = above_root(*c.previous);
         return c.move() == 0 && suspended(last) && !last.contains(3) &&
                (c.tones().contains(3) || c.tones().contains(4));
       }},
      {"parallel minor of ", "",
       [](const Case& c) {
         return c.move() == 0 && above_root(*c.previous).contains(4) && minor(c.tones());
       }},
      {"parallel major of ", "",
       [](const Case& c) {
         return c.move() == 0 && !above_root(*c.previous).contains(4) &&
                above_root(*c.previous).contains(3) && major(c.tones());
       }},
      {"adds the ", "",
       [](const Case& c) {
         std::istringstream words(c.text);
         std::string adds, the, degree, to, name;
         words >> adds >> the >> degree >> to >> name;
         Tones last = above_root(*c.previous);
         const int added = semitones(*parse_degree(degree)) % 12;
         return c.move() == 0 && names_previous(c, name) && last.insert(added).second && last == c.tones();
       }},
      {"", " in another colour", [](const Case& c) { return c.move() == 0; }},
      {"deceptive cadence from ", "",
       [](const Case& c) {
         return dominant(above_root(*c.previous)) && c.degree_before() == 7 &&
                ((c.degree() == 9 && minor(c.tones()) && !c.minor_key()) ||
                 (c.degree() == 8 && major(c.tones())));
       }},
      {"backdoor: bVII7 to I", "",
       [](const Case& c) {
         return dominant(above_root(*c.previous)) && c.degree_before() == 10 && c.degree() == 0 &&
                major(c.tones()) && !c.minor_key();
       }},
      {"plagal cadence from ", "",
       [](const Case& c) {
         const Tones last = above_root(*c.previous);
         return c.degree_before() == 5 && c.degree() == 0 && (major(last) || minor(last)) &&
                (c.minor_key() ? minor(c.tones()) : major(c.tones()));
       }},
      {"resolves ", " down a fifth",
       [](const Case& c) {
         return dominant(above_root(*c.previous)) && c.move() == 5 && (major(c.tones()) || minor(c.tones()));
       }},
      {"resolves ", " down a semitone",
       [](const Case& c) {
         return dominant(above_root(*c.previous)) && c.move() == 11 && (major(c.tones()) || minor(c.tones()));
       }},
      {"tritone substitute for V of ", "",
       [](const Case& c) {
         const int goal = degree_of(last_word(c.text), c.minor_key());
         return dominant(c.tones()) && c.degree() == (goal + 1) % 12 && can_be_tonic(c, goal);
       },
       true},
      {"tritone substitute for V", "",
       [](const Case& c) {
         return c.text == "tritone substitute for V" && dominant(c.tones()) && c.degree() == 1;
       },
       true},
      {"tritone substitute for ", "",
       [](const Case& c) {
         // Both hold the same tritone, third and seventh.
         const auto other = parse_symbol(last_word(c.text));
         if (!other || !dominant(c.tones()) || !dominant(above_root(other->chord))) return false;
         const int r = other->chord.root.value();
         const bool shared = has(c.all(), {(r + 4) % 12, (r + 10) % 12});
         const bool at_hand = names_previous(c, last_word(c.text)) ||
                              (two(above_root(*c.previous)) && (r - c.previous->root.value() + 12) % 12 == 5);
         return shared && at_hand && (r + 6) % 12 == c.root();
       }},
      {"completes the ii-V from ", "",
       [](const Case& c) { return dominant(c.tones()) && two(above_root(*c.previous)) && c.move() == 5; }},
      {"related ii of ", "",
       [](const Case& c) {
         const auto five = parse_symbol(last_word(c.text));
         if (!five || !dominant(above_root(five->chord)) || !two(c.tones()) || !c.tones().contains(10))
           return false;
         const int r = five->chord.root.value();
         if ((r + 7) % 12 != c.root()) return false;
         if (c.previous && names_previous(c, last_word(c.text))) return true;
         // Its V leads down a fifth or a semitone to a degree of the key.
         const int degree = (r - c.key->tonic.value() + 12) % 12;
         return can_be_tonic(c, (degree + 5) % 12) || can_be_tonic(c, (degree + 11) % 12) || degree == 1;
       },
       true},
      {"common-tone diminished of ", "",
       [](const Case& c) {
         return has(c.tones(), {0, 3, 6, 9}) && c.all().contains(c.previous->root.value()) &&
                above_root(*c.previous).contains(4);
       }},
      {"passing diminished up from ", "",
       [](const Case& c) {
         return diminished(c.tones()) && c.move() == 1 && c.scale().contains(c.previous->root.value()) &&
                c.scale().contains((c.root() + 1) % 12);
       }},
      {"passing diminished down from ", "",
       [](const Case& c) {
         return diminished(c.tones()) && c.move() == 11 && c.scale().contains(c.previous->root.value()) &&
                c.scale().contains((c.root() + 11) % 12);
       }},
      {"relative minor of ", "",
       [](const Case& c) { return major(above_root(*c.previous)) && minor(c.tones()) && c.move() == 9; }},
      {"relative major of the key", "",
       [](const Case& c) { return c.minor_key() && c.degree() == 3 && major(c.tones()) && c.in_key(); },
       true},
      {"relative major of ", "",
       [](const Case& c) { return minor(above_root(*c.previous)) && major(c.tones()) && c.move() == 3; }},
      {"leading-tone exchange with ", "",
       [](const Case& c) {
         const Tones last = above_root(*c.previous);
         return (major(last) && minor(c.tones()) && c.move() == 4) ||
                (minor(last) && major(c.tones()) && c.move() == 8);
       }},
      {"chromatic mediant of ", "",
       [](const Case& c) {
         const Tones last = above_root(*c.previous);
         const std::set<int> thirds{3, 4, 8, 9};
         return thirds.contains(c.move()) &&
                ((major(last) && major(c.tones())) || (minor(last) && minor(c.tones())));
       }},
      {"shares no tone with ", "", [](const Case& c) { return common(c) == 0; }},
      {"shares one tone with ", "", [](const Case& c) { return common(c) == 1; }},
      {"shares two tones with ", "", [](const Case& c) { return common(c) == 2; }},
      {"shares three tones with ", "", [](const Case& c) { return common(c) == 3; }},
      {"shares four tones with ", "", [](const Case& c) { return common(c) == 4; }},
      {"shares five tones with ", "", [](const Case& c) { return common(c) == 5; }},
      {"shares six tones with ", "", [](const Case& c) { return common(c) == 6; }},
      {"falling fifth from ", "", [](const Case& c) { return c.move() == 5; }},
      {"V with tones of ", " minor",
       [](const Case& c) {
         return c.degree() == 7 && dominant(c.tones()) && !c.minor_key() && in_parallel_minor(c) &&
                pitch(last_word(c.text.substr(0, c.text.rfind(' ')))) == c.key->tonic.value();
       },
       true},
      {"V in ", "",
       [](const Case& c) {
         return c.degree() == 7 && major(c.tones()) + dominant(c.tones()) > 0 &&
                rest(c, "V in ") == text(*c.key);
       },
       true},
      {"altered V in ", "",
       [](const Case& c) {
         return c.degree() == 7 && dominant(c.tones()) && !c.in_key() &&
                rest(c, "altered V in ") == text(*c.key);
       },
       true},
      {"suspended V in ", "",
       [](const Case& c) {
         return c.degree() == 7 && has(c.tones(), {5}) && !c.tones().contains(4) && !c.tones().contains(3);
       },
       true},
      {"V of ", "",
       [](const Case& c) {
         const int goal = degree_of(rest(c, "V of "), c.minor_key());
         return dominant(c.tones()) && c.degree() == (goal + 7) % 12 && can_be_tonic(c, goal);
       },
       true},
      {"suspended V of ", "",
       [](const Case& c) {
         const int goal = degree_of(rest(c, "suspended V of "), c.minor_key());
         return suspended(c.tones()) && c.tones().contains(10) && c.degree() == (goal + 7) % 12 &&
                can_be_tonic(c, goal);
       },
       true},
      {"blues IV7 in ", "",
       [](const Case& c) { return dominant(c.tones()) && c.degree() == 5 && !c.minor_key(); }, true},
      {"backdoor dominant to I", "",
       [](const Case& c) { return dominant(c.tones()) && c.degree() == 10 && !c.minor_key(); }, true},
      {"Neapolitan in ", "", [](const Case& c) { return major(c.tones()) && c.degree() == 1; }, true},
      {"leading-tone diminished to ", "",
       [](const Case& c) {
         const int goal = degree_of(rest(c, "leading-tone diminished to "), c.minor_key());
         return diminished(c.tones()) && c.all().contains((goal + 11 + c.key->tonic.value()) % 12) &&
                (goal == 0 || can_be_tonic(c, goal));
       },
       true},
      {"Picardy third", "",
       [](const Case& c) { return c.minor_key() && c.degree() == 0 && major(c.tones()); }, true},
      {"borrowed from ", " minor", [](const Case& c) { return !c.minor_key() && in_parallel_minor(c); },
       true},
      {"borrowed from ", " major", [](const Case& c) { return c.minor_key() && borrowed(c, "major"); }, true},
      {"borrowed from ", " Dorian", [](const Case& c) { return borrowed(c, "Dorian"); }, true},
      {"borrowed from ", " Mixolydian", [](const Case& c) { return borrowed(c, "Mixolydian"); }, true},
      {"borrowed from ", " Phrygian", [](const Case& c) { return borrowed(c, "Phrygian"); }, true},
      {"borrowed from ", " Lydian", [](const Case& c) { return borrowed(c, "Lydian"); }, true},
      {"tonic of ", "",
       [](const Case& c) {
         return c.degree() == 0 && (c.minor_key() ? minor(c.tones()) : major(c.tones())) &&
                rest(c, "tonic of ") == text(*c.key);
       },
       true},
      {"ii, prepares V in ", "", [](const Case& c) { return c.degree() == 2 && two(c.tones()); }, true},
      {"", ", stands for the tonic",
       [](const Case& c) {
         // It shares two tones with the tonic triad.
         const int t = c.key->tonic.value();
         const Tones tonic{t, (t + (c.minor_key() ? 3 : 4)) % 12, (t + 7) % 12};
         int shared = 0;
         for (int tone : tonic) shared += c.all().contains(tone);
         return shared >= 2 && c.in_key() &&
                degree_of(c.text.substr(0, c.text.find(',')), c.minor_key()) == c.degree();
       },
       true},
      {"subdominant of ", "",
       [](const Case& c) { return c.degree() == 5 && (major(c.tones()) || minor(c.tones())); }, true},
      {"minor dominant of ", "",
       [](const Case& c) { return c.degree() == 7 && minor(c.tones()) && c.minor_key(); }, true},
      {"", ", its third suspended",
       [](const Case& c) {
         return suspended(c.tones()) && c.in_key() &&
                degree_of(c.text.substr(0, c.text.find(',')), c.minor_key()) == c.degree();
       },
       true},
      {"", " of the key",
       [](const Case& c) {
         return c.in_key() && degree_of(c.text.substr(0, c.text.find(' ')), c.minor_key()) == c.degree();
       },
       true},
      {"belongs to ", " major",
       [](const Case& c) {
         std::istringstream words(c.text);
         std::string belongs, to, name;
         words >> belongs >> to >> name;
         return !c.in_key() && within(c.all(), scale_on(pitch(name), kModes.at("major")));
       }},
      {"altered dominant of ", "",
       [](const Case& c) {
         return dominant(c.tones()) && (c.root() + 5) % 12 == pitch(last_word(c.text)) &&
                (c.tones().contains(1) || c.tones().contains(3) || c.tones().contains(6) ||
                 c.tones().contains(8));
       }},
      {"dominant of ", "",
       [](const Case& c) { return dominant(c.tones()) && (c.root() + 5) % 12 == pitch(last_word(c.text)); }},
      {"I in ", "",
       [](const Case& c) {
         const std::string one = c.text.substr(5, c.text.find(',') - 5), four = last_word(c.text);
         return pitch(one) == c.root() && (pitch(four) + 5) % 12 == c.root() &&
                within(c.all(), scale_on(pitch(one), kModes.at("major"))) &&
                within(c.all(), scale_on(pitch(four), kModes.at("major")));
       }},
      {"ii in ", " minor",
       [](const Case& c) {
         std::istringstream words(c.text);
         std::string ii, in, name;
         words >> ii >> in >> name;
         return half_diminished(c.tones()) && (pitch(name) + 2) % 12 == c.root();
       }},
      {"ii in ", "",
       [](const Case& c) {
         const std::string two_of = c.text.substr(6, c.text.find(',') - 6), six = last_word(c.text);
         return (pitch(two_of) + 2) % 12 == c.root() && (pitch(six) + 9) % 12 == c.root() &&
                within(c.all(), scale_on(pitch(two_of), kModes.at("major"))) &&
                within(c.all(), scale_on(pitch(six), kModes.at("major")));
       }},
      {"Dorian, ii in ", "",
       [](const Case& c) {
         return (pitch(last_word(c.text)) + 2) % 12 == c.root() &&
                within(c.tones(), scale_on(0, kModes.at("Dorian"))) && has(c.tones(), {3, 9});
       }},
      {"melodic minor on its root", "",
       [](const Case& c) {
         return has(c.tones(), {3, 11}) && within(c.tones(), {0, 2, 3, 5, 7, 9, 11});
       }},
      {"III of melodic minor", "",
       [](const Case& c) {
         // Melodic minor begins a minor third below.
         Tones scale;
         for (int step : {0, 2, 3, 5, 7, 9, 11}) scale.insert((step + 9) % 12);
         return has(c.tones(), {4, 8, 11}) && within(c.tones(), scale);
       }},
      {"leading-tone diminished of ", "",
       [](const Case& c) {
         return diminished(c.tones()) && (c.root() + 1) % 12 == pitch(last_word(c.text));
       }},
      {"augmented: symmetrical thirds", "",
       [](const Case& c) {
         return c.tones() == Tones{0, 4, 8};
       }},
      {"Lydian on its root", "",
       [](const Case& c) {
         return has(c.tones(), {4, 6}) && within(c.tones(), scale_on(0, kModes.at("Lydian")));
       }},
      {"Phrygian on its root", "",
       [](const Case& c) {
         return c.tones().contains(1) && within(c.tones(), scale_on(0, kModes.at("Phrygian")));
       }},
      {"suspended: no third", "",
       [](const Case& c) { return suspended(c.tones()) && !c.tones().contains(3); }},
      {"open: no third", "",
       [](const Case& c) {
         return c.tones() == Tones{0, 7};
       }},
      {"far outside ", "", [](const Case& c) { return !c.in_key(); }},
      {"you came back to it", "", [](const Case& c) { return c.liked > 0; }},
      {"", "",
       [](const Case& c) {
         // IV over V: a triad of the key over a degree that it does not have.
         std::istringstream words(c.text);
         std::string upper, over, bass;
         words >> upper >> over >> bass;
         return over == "over" && degree_of(upper, c.minor_key()) == c.degree() && c.in_key() &&
                degree_of(bass, c.minor_key()) == (c.chord.bass.value() - c.key->tonic.value() + 12) % 12 &&
                !c.all().contains(c.chord.bass.value());
       },
       true},
  };
  return kRules;
}

const Rule& rule_of(const std::string& text) {
  for (const Rule& rule : rules())
    if (text.starts_with(rule.begins) && text.ends_with(rule.ends)) return rule;
  std::abort();
}

std::string words_of(const Reason& reason) {
  Alternative alternative;
  alternative.reason = reason;
  std::string out;
  append_reason(out, alternative, {}, {});
  return out.starts_with("; ") ? out.substr(2) : out;
}

Case told(const Chord& chord, const std::optional<Key>& key, const std::optional<Chord>& previous,
          int liked) {
  Case out{chord, key, previous, liked, {}};
  ChordsBefore before;
  if (previous) before.push_back(*previous);
  out.text =
      words_of(reason_for(chord, key, before, previous ? root_name_in(*previous, key) : NoteName(), liked));
  return out;
}

std::string situation(const Case& c) {
  std::string out = harte(c.chord, root_name_in(c.chord, c.key)) + ": \"" + c.text + "\"";
  if (c.previous) out += " after " + harte(*c.previous, root_name_in(*c.previous, c.key));
  return out + (c.key ? " in " + text(*c.key) : " without a key");
}

int count_of_words(const std::string& text) {
  std::istringstream in(text);
  int out = 0;
  for (std::string word; in >> word;) ++out;
  return out;
}

void check(const Case& c) {
  if (c.text.empty()) {
    // Only bare chords without a third have nothing to say, and only where nothing is known.
    ASSERT_FALSE(c.key || c.previous) << situation(c);
    return;
  }
  ASSERT_LE(count_of_words(c.text), 8) << c.text;
  ASSERT_TRUE(rule_of(c.text).holds(c)) << situation(c);
  if (c.text.find(" of ") != std::string::npos || c.text.find(" from ") != std::string::npos) {
    // What names the chord in force names it right.
    for (const char* begin : {"suspends the third of ", "resolves the suspension of ",
                              "deceptive cadence from ", "parallel minor of ", "completes the ii-V from "}) {
      if (c.text.starts_with(begin)) {
        ASSERT_TRUE(names_previous(c, last_word(c.text))) << situation(c);
      }
    }
  }
}

std::vector<std::optional<Key>> all_keys() {
  std::vector<std::optional<Key>> out{std::nullopt};
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const Mode mode : {Mode::kMajor, Mode::kMinor}) out.push_back(Key{PitchClass(tonic), mode});
  return out;
}
constexpr std::array<const char*, 10> kBefore{"maj",   "min",  "7",         "maj7",     "min7",
                                              "hdim7", "dim7", "9(#11,13)", "sus4(b7)", "minmaj7"};

TEST(Reasons, AreTrueForEveryChordInEveryKeyAfterEveryRoot) {
  for (const auto& key : all_keys())
    for (int root = 0; root < 12; ++root)
      for (std::size_t q = 0; q < chord_vocabulary().size(); ++q) {
        const Chord chord{PitchClass(root), Quality(static_cast<int>(q)), PitchClass(root)};
        check(told(chord, key, std::nullopt, 0));
        for (int from = 0; from < 12; ++from)
          for (const char* kind : kBefore) {
            check(told(chord, key, Chord{PitchClass(from), quality(kind), PitchClass(from)}, 0));
            if (::testing::Test::HasFatalFailure()) return;
          }
      }
}

TEST(Reasons, AreTrueForSlashChordsAndWhatThePlayerCameBackTo) {
  for (const auto& key : {std::optional<Key>(), parse_key("C"), parse_key("F#m"), parse_key("Eb")})
    for (int root = 0; root < 12; ++root)
      for (const char* kind : {"maj", "min", "7", "maj7", "min7", "sus4"})
        for (int bass = 0; bass < 12; ++bass)
          for (int from = 0; from < 12; ++from)
            for (const char* last : {"maj", "min7", "7"})
              for (const int under : {0, 4, 10}) {
                const Chord chord{PitchClass(root), quality(kind), PitchClass(bass)};
                const Chord previous{PitchClass(from), quality(last), PitchClass(from + under)};
                check(told(chord, key, previous, root % 2));
                check(told(chord, key, std::nullopt, root % 2));
                if (::testing::Test::HasFatalFailure()) return;
              }
}

// What a teacher would say, common practice; see reason.h for the books.
TEST(Reasons, SayWhatATeacherWouldSay) {
  struct Lesson {
    const char *chord, *key, *before, *want;
  };
  const Lesson kLessons[] = {
      {"A:7", "C", "C:maj", "V of ii"},
      {"E:7", "C", "F:maj", "V of vi"},
      {"D:7(b9)", "C", "F:maj", "V of V"},
      {"F:min", "C", "A:min", "borrowed from C minor"},
      {"Ab:maj7", "C", "", "borrowed from C minor"},
      {"D:maj", "C", "", "borrowed from C Lydian"},
      {"F:maj", "C minor", "", "borrowed from C Dorian"},
      {"C:maj7(#11)", "C", "C:maj7", "Lydian on the same root"},
      {"Db:7", "C", "G:7", "tritone substitute for G7"},
      {"Db:9", "C", "D:min7", "tritone substitute for G7"},
      {"Db:7", "C", "", "tritone substitute for V"},
      {"Eb:7", "C", "C:maj7", "tritone substitute for V of ii"},
      {"D:min7", "C", "G:7", "related ii of G7"},
      {"E:hdim7", "C", "C:maj", "related ii of A7"},
      {"G:7", "C", "D:min7", "completes the ii-V from Dm7"},
      {"Bb:7", "C", "C:maj", "backdoor dominant to I"},
      {"C:maj7", "C", "Bb:7", "backdoor: bVII7 to I"},
      {"Db:maj7", "C", "", "Neapolitan in C major"},
      {"A:min", "C", "G:7", "deceptive cadence from G7"},
      {"C:maj", "C", "F:maj", "plagal cadence from F"},
      {"C:maj", "C", "G:7", "resolves G7 down a fifth"},
      {"C#:dim7", "C", "C:maj", "passing diminished up from C"},
      {"C:dim7", "C", "C:maj", "common-tone diminished of C"},
      {"A:min", "C", "C:maj", "relative minor of C"},
      {"E:maj", "C", "C:maj", "chromatic mediant of C"},
      {"C:minmaj7", "C minor", "C:min7", "line cliché: inner voice rises"},
      {"C:maj9", "C", "C:maj7", "adds the 9 to Cmaj7"},
      {"C:min7", "C minor", "C:minmaj7", "line cliché: inner voice falls"},
      {"C:maj/7", "C", "C:maj", "line cliché: the bass falls"},
      {"F:maj/2", "C", "", "IV over V"},
      {"D:min7/5", "C", "A:min", "pedal: the bass stays"},
      {"C:maj/3", "C", "F:maj", "the bass steps down"},
      {"G:7(b9)", "C", "", "V with tones of C minor"},
      {"G:7(*5,b9,#9,#11,b13)", "C", "", "altered V in C major"},
      {"C:maj", "C minor", "", "Picardy third"},
      {"A:7", "", "", "dominant of D"},
      {"C:min7", "", "", "ii in Bb, vi in Eb"},
      {"C:maj7", "", "", "I in C, IV in G"},
  };
  for (const Lesson& lesson : kLessons) {
    const auto chord = parse_harte(lesson.chord), before = parse_harte(lesson.before);
    ASSERT_TRUE(chord) << lesson.chord;
    const Case made =
        told(chord->chord, parse_key(lesson.key), before ? std::optional(before->chord) : std::nullopt, 0);
    EXPECT_EQ(made.text, lesson.want) << situation(made);
  }
}

// Over the twelve melody notes and some keys and chords in force, as the list offers chords: no single thing
// is said of more than a fifth, but for functions.
TEST(Reasons, AreVariedOverTheListsOfferedUnderEachNote) {
  std::map<std::string, int> said;
  std::set<std::string> functions;
  int offers = 0;
  for (const char* key : {"C", "Eb", "A minor", ""})
    for (const char* before : {"", "C:maj7", "A:min", "G:7", "Eb:maj"})
      for (int note = 60; note < 72; ++note) {
        Question question;
        question.melody.push_back(Pitch(note));
        question.key = parse_key(key);
        if (const auto chord = parse_harte(before)) question.previous = chord->chord;
        Alternatives list;
        rank_alternatives(question, nullptr, list);
        for (const Alternative& offered : list) {
          const std::string text = words_of(offered.reason);
          ASSERT_FALSE(text.empty()) << symbol(offered.chord, offered.root_name);
          ASSERT_EQ(text.find("far outside"), std::string::npos)
              << symbol(offered.chord, offered.root_name) << " in " << key << " after " << before;
          const Rule& rule = rule_of(text);
          const std::string kind = rule.begins + "..." + rule.ends;
          ++said[kind];
          if (rule.function) functions.insert(kind);
          ++offers;
        }
      }
  for (const auto& [kind, times] : said) {
    RecordProperty(kind.substr(0, 20), times);
    if (!functions.contains(kind)) {
      EXPECT_LE(times * 5, offers) << kind;
    }
    EXPECT_LE(times * 3, offers) << kind;
  }
  EXPECT_GE(said.size(), 30u);
}

}  // namespace
}  // namespace undersong::harmony
