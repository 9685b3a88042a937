#include "daemon/harmony/function.h"

#include <algorithm>
#include <array>
#include <memory>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"
#include "daemon/harmony/words.h"

namespace undersong::harmony {
namespace {

// What is written between the words before and after.
enum class Middle : std::uint8_t {
  kNothing,
  kChord,    // the name and the letters of the chord in force: G7
  kSeventh,  // the name as a dominant seventh: G7
  kName,     // the name
  kNumeral,  // the goal as a Roman numeral
  kKey,      // the name as a key, in the mode of the key: "C minor"
  kShared,   // a number of tones, and the chord in force
  kAdded,    // a degree, and the chord in force
};
struct Wording {
  Word before;
  Middle middle = Middle::kNothing;
  Word after;
};

using W = Wording;
using M = Middle;
constexpr std::array<Wording, static_cast<std::size_t>(Why::kCount)> kWordings{
    W{Word(), M::kNothing, Word()},
    W{Word("pedal: the bass stays"), M::kNothing, Word()},
    W{Word("line cliché: the bass falls"), M::kNothing, Word()},
    W{Word("line cliché: the bass rises"), M::kNothing, Word()},
    W{Word("the bass steps down"), M::kNothing, Word()},
    W{Word("the bass steps up"), M::kNothing, Word()},
    W{Word("line cliché: inner voice falls"), M::kNothing, Word()},
    W{Word("line cliché: inner voice rises"), M::kNothing, Word()},
    W{Word("Lydian on the same root"), M::kNothing, Word()},
    W{Word("Lydian dominant, same root"), M::kNothing, Word()},
    W{Word("suspends the third of "), M::kChord, Word()},
    W{Word("resolves the suspension of "), M::kChord, Word()},
    W{Word("parallel minor of "), M::kChord, Word()},
    W{Word("parallel major of "), M::kChord, Word()},
    W{Word("adds the "), M::kAdded, Word()},
    W{Word(), M::kChord, Word(" in another colour")},
    W{Word("deceptive cadence from "), M::kChord, Word()},
    W{Word("backdoor: bVII7 to I"), M::kNothing, Word()},
    W{Word("plagal cadence from "), M::kChord, Word()},
    W{Word("resolves "), M::kChord, Word(" down a fifth")},
    W{Word("resolves "), M::kChord, Word(" down a semitone")},
    W{Word("tritone substitute for "), M::kChord, Word()},
    W{Word("tritone substitute for "), M::kSeventh, Word()},
    W{Word("completes the ii-V from "), M::kChord, Word()},
    W{Word("related ii of "), M::kChord, Word()},
    W{Word("common-tone diminished of "), M::kChord, Word()},
    W{Word("passing diminished up from "), M::kChord, Word()},
    W{Word("passing diminished down from "), M::kChord, Word()},
    W{Word("relative minor of "), M::kChord, Word()},
    W{Word("relative major of "), M::kChord, Word()},
    W{Word("leading-tone exchange with "), M::kChord, Word()},
    W{Word("chromatic mediant of "), M::kChord, Word()},
    W{Word("shares "), M::kShared, Word()},
    W{Word("falling fifth from "), M::kChord, Word()},
    W{Word(), M::kNumeral, Word()},  // kOver: written apart
    W{Word("V in "), M::kKey, Word()},
    W{Word("V with tones of "), M::kName, Word(" minor")},
    W{Word("altered V in "), M::kKey, Word()},
    W{Word("suspended V in "), M::kKey, Word()},
    W{Word("V of "), M::kNumeral, Word()},
    W{Word("suspended V of "), M::kNumeral, Word()},
    W{Word("tritone substitute for V"), M::kNothing, Word()},
    W{Word("tritone substitute for V of "), M::kNumeral, Word()},
    W{Word("blues IV7 in "), M::kKey, Word()},
    W{Word("backdoor dominant to I"), M::kNothing, Word()},
    W{Word("Neapolitan in "), M::kKey, Word()},
    W{Word("leading-tone diminished to "), M::kNumeral, Word()},
    W{Word("related ii of "), M::kSeventh, Word()},
    W{Word("Picardy third"), M::kNothing, Word()},
    W{Word("borrowed from "), M::kName, Word(" minor")},
    W{Word("borrowed from "), M::kName, Word(" Dorian")},
    W{Word("borrowed from "), M::kName, Word(" Mixolydian")},
    W{Word("borrowed from "), M::kName, Word(" Phrygian")},
    W{Word("borrowed from "), M::kName, Word(" Lydian")},
    W{Word("borrowed from "), M::kName, Word(" major")},
    W{Word("tonic of "), M::kKey, Word()},
    W{Word("ii, prepares V in "), M::kKey, Word()},
    W{Word(), M::kNumeral, Word(", stands for the tonic")},
    W{Word("subdominant of "), M::kKey, Word()},
    W{Word("minor dominant of "), M::kKey, Word()},
    W{Word(), M::kNumeral, Word(" of the key")},
    W{Word("relative major of the key"), M::kNothing, Word()},
    W{Word(), M::kNumeral, Word(", its third suspended")},
    W{Word("belongs to "), M::kName, Word(" major")},
    W{Word("dominant of "), M::kName, Word()},
    W{Word("altered dominant of "), M::kName, Word()},
    W{Word("I in "), M::kName, Word(", IV in ")},
    W{Word("ii in "), M::kName, Word(", vi in ")},
    W{Word("Dorian, ii in "), M::kName, Word()},
    W{Word("melodic minor on its root"), M::kNothing, Word()},
    W{Word("III of melodic minor"), M::kNothing, Word()},
    W{Word("ii in "), M::kName, Word(" minor")},
    W{Word("leading-tone diminished of "), M::kName, Word()},
    W{Word("augmented: symmetrical thirds"), M::kNothing, Word()},
    W{Word("Lydian on its root"), M::kNothing, Word()},
    W{Word("Phrygian on its root"), M::kNothing, Word()},
    W{Word("suspended: no third"), M::kNothing, Word()},
    W{Word("open: no third"), M::kNothing, Word()},
    W{Word("far outside "), M::kKey, Word()},
    W{Word("you came back to it"), M::kNothing, Word()},
};
static_assert(kWordings.back().before.size > 0);

constexpr std::array<std::array<Word, 12>, 2> kNumerals{
    {{Word("I"), Word("bII"), Word("ii"), Word("bIII"), Word("iii"), Word("IV"), Word("#IV"), Word("V"),
      Word("bVI"), Word("vi"), Word("bVII"), Word("vii")},
     {Word("i"), Word("bII"), Word("ii"), Word("III"), Word("iii"), Word("iv"), Word("#iv"), Word("V"),
      Word("VI"), Word("vi"), Word("VII"), Word("vii")}}};

constexpr bool within(PitchClassSet tones, unsigned scale) {
  return (tones - PitchClassSet(scale)).empty();
}

// Scales above the tonic.
constexpr unsigned kAeolian = 0b010110101101, kHarmonicMinor = 0b100110101101, kDorian = 0b011010101101,
                   kMixolydian = 0b011010110101, kPhrygianScale = 0b010110101011,
                   kLydianScale = 0b101011010101;

// What a dominant on this degree of the key is for.
Function dominant_on(int degree, bool minor) {
  // Degrees that a secondary dominant may lead to: those of the key with a major or minor triad.
  constexpr std::array<unsigned, 2> kGoals{0b001010110100, 0b010110101000};
  const auto is_goal = [&](int at) { return kGoals[minor] >> at & 1u; };
  const int fifth_below = (degree + 5) % 12, semitone_below = (degree + 11) % 12;
  const auto made = [&](Why why, int goal) {
    return Function{why, static_cast<std::uint8_t>(goal), minor, {}, {}, 0};
  };
  if (degree == 7) return made(Why::kDominant, 0);
  if (!minor && degree == 5) return made(Why::kBlues, 0);
  if (!minor && degree == 10) return made(Why::kBackdoor, 0);
  if (degree == 1) return made(Why::kTritoneForV, 0);
  if (is_goal(fifth_below)) return made(Why::kDominantOf, fifth_below);
  if (is_goal(semitone_below)) return made(Why::kTritoneForVOf, semitone_below);
  return {};
}

// A name without two accidentals.
NoteName readable(int fifths) {
  while (fifths < -7) fifths += 12;
  while (fifths > 11) fifths -= 12;
  return NoteName(fifths);
}

Function alone(const Chord& chord, NoteName root) {
  const QualityRow& made = row(chord.quality);
  const PitchClassSet tones = made.tones;
  const auto of = [&](Why why, int fifths, int second = 0) {
    return Function{why, 0, false, readable(root.fifths() + fifths), readable(root.fifths() + second), 0};
  };
  switch (made.family) {
    case Family::kDominant: {
      const bool altered = has(tones, 1) || has(tones, 3) || has(tones, 6) || has(tones, 8);
      return of(altered ? Why::kAlteredAlone : Why::kDominantAlone, -1);
    }
    case Family::kMajor:
      if (has(tones, 6)) return of(Why::kLydianAlone, 0);
      return of(has(tones, 5) ? Why::kNone : Why::kMajorAlone, 0, 1);
    case Family::kMinor:
      if (has(tones, 11)) return of(Why::kMelodicMinor, 0);
      return has(tones, 9) ? of(Why::kMinorSixthAlone, -2) : of(Why::kMinorAlone, -2, -3);
    case Family::kHalfDiminished: return of(Why::kHalfDiminishedAlone, -2);
    case Family::kDiminished: return of(Why::kDiminishedAlone, -5);
    case Family::kAugmented: return of(has(tones, 11) ? Why::kMelodicThird : Why::kAugmented, 0);
    case Family::kSuspended:
      if (has(tones, 3)) return of(Why::kMinorAlone, -2, -3);
      return of(has(tones, 1) ? Why::kPhrygian : Why::kSuspended, 0);
    case Family::kPower: return of(Why::kNoThird, 0);
  }
  return {};
}

// What a chord of the key is usually for.
Why diatonic(const QualityRow& made, int degree, bool minor, bool at_home) {
  if (made.family == Family::kSuspended || made.family == Family::kPower) return Why::kNone;
  const bool major_third = has(made.tones, 4), minor_third = has(made.tones, 3) && has(made.tones, 7);
  const auto is = [&](int at, bool third) { return degree == at && third; };
  if (is(0, minor ? minor_third : major_third)) return Why::kTonic;
  if (is(2, has(made.tones, 3))) return Why::kPrepares;
  if (is(5, minor ? minor_third : major_third)) return Why::kSubdominant;
  if (is(7, major_third)) return Why::kDominant;
  if (!minor) {
    if (is(4, minor_third) || is(9, minor_third)) return Why::kStandsFor;
    return degree == 11 ? Why::kLeadsTo : Why::kNone;
  }
  if (!at_home) return Why::kNone;
  if (is(3, major_third)) return Why::kRelativeOf;
  if (is(7, minor_third)) return Why::kMinorDominant;
  if (is(8, major_third)) return Why::kStandsFor;
  return is(10, major_third) ? Why::kLeadsTo : Why::kNone;
}

// The parallel mode that has all its tones, which lie above the tonic; the usual ones first.
Why borrowed(PitchClassSet tones, bool minor, bool minor_home) {
  if (!minor && minor_home) return Why::kFromMinor;
  if (within(tones, kDorian)) return Why::kFromDorian;
  if (minor && within(tones, kMajorScale)) return Why::kFromMajor;
  if (!minor && within(tones, kMixolydian)) return Why::kFromMixolydian;
  if (within(tones, kPhrygianScale)) return Why::kFromPhrygian;
  return within(tones, kLydianScale) ? Why::kFromLydian : Why::kNone;
}

Function in_key(const Chord& chord, Key key, NoteName root) {
  const QualityRow& made = row(chord.quality);
  const bool minor = key.mode == Mode::kMinor;
  const int degree = ascending(key.tonic, chord.root);
  const PitchClassSet tones = made.tones.transposed(degree);  // above the tonic
  const NoteName tonic = tonic_name(key);
  const auto of = [&](Why why, int goal = 0) {
    return Function{why, static_cast<std::uint8_t>(goal), minor, tonic, {}, 0};
  };
  const auto as_dominant = [&](int at) {
    Function out = dominant_on(at, minor);
    out.about = tonic;
    return out;
  };
  const bool at_home = within(tones, minor ? kAeolian : kMajorScale);
  const bool minor_home = within(tones, kAeolian) || within(tones, kHarmonicMinor);

  if (made.family == Family::kDominant) {
    Function out = as_dominant(degree);
    if (out.why == Why::kDominant && !at_home)
      out.why = minor_home ? (minor ? Why::kDominant : Why::kDominantMinor) : Why::kDominantAltered;
    if (out.why != Why::kNone) return out;
  }
  if (made.family == Family::kSuspended && !has(made.tones, 1) && !has(made.tones, 3)) {
    if (degree == 7 && has(made.tones, 5)) return of(Why::kDominantSuspended);
    if (at_home) return of(Why::kSuspendedOn, degree);
    const Function out = as_dominant(degree);
    if (out.why == Why::kDominantOf && has(made.tones, 10)) return of(Why::kSuspendedOf, out.goal);
  }
  if (made.family == Family::kMajor && degree == 1 && !has(made.tones, 6)) return of(Why::kNeapolitan);
  if (minor && made.family == Family::kMajor && degree == 0 && within(tones, kMajorScale))
    return of(Why::kPicardy);
  if (made.family == Family::kDiminished) {
    // On a leading tone; or else, as these chords are symmetrical, with one among its tones.
    constexpr std::array<std::array<int, 6>, 2> kGoals{{{0, 7, 2, 9, 5, 4}, {0, 7, 5, 8, 3, 10}}};
    for (const int goal : kGoals[minor])
      if ((degree + 1) % 12 == goal) return of(Why::kDiminishedOf, goal);
    for (const int goal : kGoals[minor])
      if (has(tones, (goal + 11) % 12)) return of(Why::kDiminishedOf, goal);
  }
  const bool two =
      made.family == Family::kHalfDiminished || (made.family == Family::kMinor && has(made.tones, 10));
  if (at_home || (minor && minor_home))
    if (const Why why = diatonic(made, degree, minor, at_home); why != Why::kNone) return of(why, degree);
  if (at_home) return alone(chord, root);
  if (two) {
    const Function five = dominant_on((degree + 5) % 12, minor);
    const bool secondary = five.why == Why::kDominantOf;
    const bool substitute = five.why == Why::kTritoneForV || five.why == Why::kTritoneForVOf;
    if (secondary || (substitute && !minor_home)) {
      Function out = of(Why::kTwoOf, (degree + 5) % 12);
      out.about = readable(root.fifths() - 1);
      return out;
    }
  }
  if (const Why why = borrowed(tones, minor, minor_home); why != Why::kNone) return of(why);
  // The nearest major key that has all its tones, on the side of the fifths that is nearer.
  for (int step = 1; step <= 6; ++step)
    for (const int fifths : {step, -step}) {
      const int home = signature(key) + fifths;
      if (!(made.tones.transposed(chord.root.value()) -
            PitchClassSet(kMajorScale).transposed(PitchClass(7 * home).value()))
               .empty())
        continue;
      Function out = of(Why::kBelongsTo);
      // Spelled so that the root, as it is shown, is a degree of it: Bmaj7 belongs to F# major, not to Gb
      // major.
      const int shown = root.fifths() > home + 5 ? home + 12 : root.fifths() < home - 1 ? home - 12 : home;
      out.about =
          shown >= -7 && shown <= 7 ? NoteName(shown) : tonic_name({PitchClass(7 * home), Mode::kMajor});
      return out;
    }
  Function out = alone(chord, root);
  if (out.why == Why::kOutside || out.why == Why::kNone) return of(Why::kOutside);
  return out;
}

struct FunctionTable {
  std::vector<Function> functions;  // [key][root][quality]
  std::size_t qualities = chord_vocabulary().size();

  FunctionTable() {
    functions.reserve(25 * 12 * qualities);
    for (int k = 0; k < 25; ++k) {
      std::optional<Key> key;
      if (k < 24) key = Key{PitchClass(k), k < 12 ? Mode::kMajor : Mode::kMinor};
      for (int r = 0; r < 12; ++r)
        for (std::size_t q = 0; q < qualities; ++q) {
          const Chord chord{PitchClass(r), Quality(static_cast<int>(q)), PitchClass(r)};
          const NoteName root = root_name_in(chord, key);
          functions.push_back(key ? in_key(chord, *key, root) : alone(chord, root));
        }
    }
  }
};
const FunctionTable& function_table() {
  static const FunctionTable kTable;
  return kTable;
}

}  // namespace

const Function& function_in(const Chord& chord, const std::optional<Key>& key) {
  const FunctionTable& made = function_table();
  const auto k =
      static_cast<std::size_t>(key ? key->tonic.value() + (key->mode == Mode::kMinor ? 12 : 0) : 24);
  return made.functions[(k * 12 + static_cast<std::size_t>(chord.root.value())) * made.qualities +
                        static_cast<std::size_t>(chord.quality.row())];
}

bool is_telling(Why why) {
  return why >= Why::kDominantMinor && why <= Why::kFromMajor;
}

void write_function(TextWriter& out, const Function& function, Quality from) {
  const Wording& wording = kWordings[static_cast<std::size_t>(function.why)];
  const auto& numerals = kNumerals[function.minor];
  out.put(wording.before);
  switch (wording.middle) {
    case Middle::kNothing: break;
    case Middle::kChord:
      out.put(word(function.about));
      out.put(words(from).letters);
      break;
    case Middle::kSeventh:
      out.put(word(function.about));
      out.put('7');
      break;
    case Middle::kAdded: {
      static constexpr Word kTo(" to ");
      out.put(
          word(Degree{static_cast<std::int8_t>(function.goal), static_cast<std::int8_t>(function.own - 2)}));
      out.put(kTo);
      out.put(word(function.about));
      out.put(words(from).letters);
      break;
    }
    case Middle::kShared: {
      static constexpr std::array<Word, 8> kTones{Word("no tone with "),    Word("one tone with "),
                                                  Word("two tones with "),  Word("three tones with "),
                                                  Word("four tones with "), Word("five tones with "),
                                                  Word("six tones with "),  Word("seven tones with ")};
      out.put(kTones[std::min<std::size_t>(function.goal, 7)]);
      out.put(word(function.about));
      out.put(words(from).letters);
      break;
    }
    case Middle::kName: out.put(word(function.about)); break;
    case Middle::kNumeral:
      out.put(numerals[function.why == Why::kOver ? function.own : function.goal]);
      break;
    case Middle::kKey: {
      static constexpr Word kMajor(" major"), kMinor(" minor");
      out.put(word(function.about));
      out.put(function.minor ? kMinor : kMajor);
      break;
    }
  }
  out.put(wording.after);
  if (function.why == Why::kMajorAlone || function.why == Why::kMinorAlone) out.put(word(function.second));
  if (function.why == Why::kOver) {
    static constexpr Word kOver(" over ");
    out.put(kOver);
    out.put(numerals[function.goal]);
  }
}

}  // namespace undersong::harmony
