#include "daemon/harmony/reason.h"

#include <array>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"
#include "daemon/harmony/words.h"

namespace undersong::harmony {
namespace {

// A chord as the rules below see it.
struct Seen {
  explicit Seen(const Chord& of)
      : chord(of), family(row(of.quality).family), tones(row(of.quality).tones), third(third_in(tones)) {}
  PitchClassSet sounding() const { return tones.transposed(chord.root.value()); }
  bool is(Family wanted) const { return family == wanted; }
  bool plain() const { return is(Family::kMajor) || is(Family::kMinor); }
  // What a ii can be: minor, with or without its seventh, or half diminished.
  bool two() const { return (is(Family::kMinor) && !has(tones, 11)) || is(Family::kHalfDiminished); }
  bool slash() const { return chord.bass != chord.root; }

  const Chord& chord;
  Family family;
  PitchClassSet tones;  // above the root
  Third third;
};

// 1 or 2 if the bass falls by so many semitones, -1 or -2 if it rises, otherwise 0.
int bass_step(const Seen& last, const Seen& next) {
  const int down = ascending(next.chord.bass, last.chord.bass);
  return down <= 2 ? down : down >= 10 ? down - 12 : 0;
}

// The chord in force and the next one on the same root.
Why same_root(const Seen& last, const Seen& next) {
  const int step = bass_step(last, next);
  if (step != 0 && next.slash()) return step > 0 ? Why::kBassFalls : Why::kBassRises;
  const PitchClassSet gone = last.tones - next.tones, come = next.tones - last.tones;
  if (last.third == next.third && last.third != Third::kNone && gone.size() == 1 && come.size() == 1)
    for (int i = 5; i < 12; ++i) {
      if (has(gone, i) && has(come, i - 1)) return Why::kLineFalls;
      if (has(gone, i - 1) && has(come, i)) return Why::kLineRises;
    }
  if (has(next.tones, 4) && has(next.tones, 6) && has(next.tones, 7) && !has(last.tones, 6)) {
    if (next.is(Family::kMajor)) return Why::kLydian;
    if (next.is(Family::kDominant) && !has(next.tones, 1)) return Why::kLydianDominant;
  }
  if (next.is(Family::kSuspended) && next.third == Third::kNone && last.third != Third::kNone)
    return Why::kSuspends;
  if (last.is(Family::kSuspended) && last.third == Third::kNone && next.third != Third::kNone)
    return Why::kUnsuspends;
  if (last.third == Third::kMajor && next.is(Family::kMinor)) return Why::kParallelMinor;
  if (last.third == Third::kMinor && next.is(Family::kMajor)) return Why::kParallelMajor;
  return Why::kNone;
}

// Cadences and what belongs to them.
Why cadence(const Seen& last, const Seen& next, const std::optional<Key>& key, int move) {
  const bool minor_key = key && key->mode == Mode::kMinor;
  const auto in_key = [&](const Chord& chord) { return key ? ascending(key->tonic, chord.root) : -1; };
  const int from = in_key(last.chord), to = in_key(next.chord);
  const bool tonic = to == 0 && (minor_key ? next.is(Family::kMinor) : next.is(Family::kMajor));
  if (last.is(Family::kDominant)) {
    if (from == 7 && to == 8 && next.is(Family::kMajor)) return Why::kDeceptive;
    if (from == 7 && to == 9 && !minor_key && next.is(Family::kMinor)) return Why::kDeceptive;
    if (from == 10 && tonic && !minor_key) return Why::kBackdoorHome;
    if (move == 5 && next.plain()) return Why::kResolves;
    if (move == 11 && next.plain()) return Why::kResolvesSubstitute;
    if (move == 6 && next.is(Family::kDominant)) return Why::kTritoneFor;
    if (move == 7 && next.two() && has(next.tones, 10)) return Why::kRelatedTwo;
  }
  if (from == 5 && tonic && last.plain()) return Why::kPlagal;
  if (next.is(Family::kDominant) && last.two()) {
    if (move == 5) return Why::kCompletesTwoFive;
    if (move == 11) return Why::kTritoneAfter;
  }
  if (next.is(Family::kDiminished)) {
    if (move == 0 && has(next.tones, 9) && last.third == Third::kMajor && !last.is(Family::kAugmented))
      return Why::kCommonTone;
    const PitchClassSet scale =
        key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet();
    const auto of_key = [&](int above) { return scale.contains(transpose(last.chord.root, above)); };
    if (move == 1 && of_key(0) && of_key(2)) return Why::kPassingUp;
    if (move == 11 && of_key(0) && of_key(-2)) return Why::kPassingDown;
  }
  return Why::kNone;
}

// Relations that hold in any key.
Why kinship(const Seen& last, const Seen& next, int move) {
  const bool to_minor = last.is(Family::kMajor) && next.is(Family::kMinor),
             to_major = last.is(Family::kMinor) && next.is(Family::kMajor);
  if (to_minor && move == 9) return Why::kRelativeMinor;
  if (to_major && move == 3) return Why::kRelativeMajor;
  if ((to_minor && move == 4) || (to_major && move == 8)) return Why::kLeadingTone;
  const bool third = move == 3 || move == 4 || move == 8 || move == 9;
  // Roots a third apart and triads of one kind: these never lie in one key.
  if (third && last.third == next.third && last.plain() && next.plain()) return Why::kChromaticMediant;
  return move == 5 ? Why::kFallingFifth : Why::kNone;
}

// A triad of the key over another degree of it that the chord does not have.
bool over_degree(const Seen& next, const std::optional<Key>& key) {
  if (!key || next.tones.size() != 3 || !next.plain()) return false;
  const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(*key));
  return (next.sounding() - scale).empty() && scale.contains(next.chord.bass) &&
         !next.sounding().contains(next.chord.bass);
}

}  // namespace

Reason reason_for(const Chord& chord, const std::optional<Key>& key, const ChordsBefore& before,
                  NoteName from, int liked) {
  Reason out;
  out.liked = static_cast<std::uint8_t>(liked);
  const Seen next(chord);
  const Function& function = function_in(chord, key);
  out.function = function;
  const auto came_back = [&] { out.function = {Why::kCameBack, 0, false, {}, {}, 0}; };
  const auto over = [&] {
    out.function.why = Why::kOver;
    out.function.minor = key->mode == Mode::kMinor;
    out.function.own = static_cast<std::uint8_t>(ascending(key->tonic, chord.root));
    out.function.goal = static_cast<std::uint8_t>(ascending(key->tonic, chord.bass));
  };
  if (before.empty()) {
    if (over_degree(next, key))
      over();
    else if (liked > 0 && !is_telling(function.why))
      came_back();
    return out;
  }
  const Seen last(before[0]);
  const int move = ascending(last.chord.root, chord.root);
  const auto after = [&](Why why) {
    out.function = {why, 0, false, from, {}, 0};
    out.from = last.chord.quality;
    return out;
  };
  if (move != 0 && chord.bass == last.chord.bass) return after(Why::kPedal);
  if (move == 0)
    if (const Why why = same_root(last, next); why != Why::kNone) return after(why);
  if (over_degree(next, key)) {
    over();
    return out;
  }
  if (move != 0 && (last.slash() || next.slash()))
    if (const int step = bass_step(last, next); step != 0)
      return after(step > 0 ? Why::kBassDown : Why::kBassUp);
  if (const Why why = cadence(last, next, key, move); why != Why::kNone) {
    after(why);
    if (why == Why::kTritoneAfter) out.function.about = plain_name(NoteName(from.fifths() - 1));
    return out;
  }
  if (is_telling(function.why)) return out;
  if (liked > 0) {
    came_back();
    return out;
  }
  if (move == 0) {
    const PitchClassSet come = next.tones - last.tones;
    if (come.size() != 1 || !(last.tones - next.tones).empty())
      return function.why == Why::kDominant ? out : after(Why::kSameRoot);
    after(Why::kAdds);
    for (const Degree degree : row(chord.quality).degrees)
      if (come.contains(PitchClass(semitones(degree)))) {
        out.function.goal = static_cast<std::uint8_t>(degree.number);
        out.function.own = static_cast<std::uint8_t>(degree.alter + 2);
      }
    return out;
  }
  const Why kin = kinship(last, next, move);
  const int common = (last.sounding() & next.sounding()).size();
  const auto shares = [&] {
    after(Why::kShares);
    out.function.goal = static_cast<std::uint8_t>(common);
    return out;
  };
  if (kin != Why::kNone && kin != Why::kFallingFifth) return after(kin);
  if (common >= 3) return shares();
  if (kin != Why::kNone) return after(kin);
  if (function.why != Why::kOutside && function.why != Why::kNone) return out;
  return shares();
}

void write_reason(TextWriter& out, const Alternative& alternative, const MelodyPitches& melody,
                  const MelodyNames& names) {
  for (std::size_t i = 0; i < melody.size() && i < alternative.degrees.size(); ++i) {
    if (i > 0) out.put(", ");
    out.put(
        word(i < names.size() ? names[i] : plain_name(alternative.root_name.above(alternative.degrees[i]))));
    out.put(" is its ");
    static constexpr Word kRoot("root");
    out.put(alternative.degrees[i] == Degree{1, 0} ? kRoot : word(alternative.degrees[i]));
  }
  if (alternative.reason.function.why == Why::kNone) return;
  out.put("; ");
  write_function(out, alternative.reason.function, alternative.reason.from);
}

void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const MelodyNames& names) {
  std::array<char, kLongestReason + TextWriter::kSlack> text;
  TextWriter writer(text.data());
  write_reason(writer, alternative, melody, names);
  out.append(text.data(), writer.at());
}

}  // namespace undersong::harmony
