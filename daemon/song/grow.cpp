#include "daemon/song/grow.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/distinct_cycles.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/scales.h"
#include "daemon/song/chord_prices.h"
#include "daemon/song/spell_form.h"

namespace undersong::song {
namespace {

using harmony::Chord;
using harmony::Family;
using harmony::Key;
using harmony::Mode;
using harmony::PitchClassSet;

// Intervals above the tonic. The minor scale without the raised seventh, which only its dominant has.
constexpr unsigned kNaturalMinor = 0b010110101101, kMixolydian = 0b011010110101, kDorian = 0b011010101101,
                   kLydian = 0b101011010101, kPhrygian = 0b010110101011;

// What a section is to be.
struct Plan {
  bool bridge = false;
  Key key;              // by whose habits its chords follow one another
  PitchClassSet scale;  // absolute
  std::optional<PitchClass> pedal;
  std::string where;  // "in A minor, the relative key"
};

PitchClassSet scale_of(Key key) {
  return PitchClassSet(key.mode == Mode::kMajor ? harmony::kMajorScale : kNaturalMinor)
      .transposed(key.tonic.value());
}

bool is_dominant(const Chord& chord) {
  return harmony::row(chord.quality).family == Family::kDominant;
}
bool is_tonic_of(const Chord& chord, Key key) {
  return chord.root == key.tonic &&
         harmony::row(chord.quality).family == (key.mode == Mode::kMajor ? Family::kMajor : Family::kMinor);
}
// Its notes are those of the scale; or it is the dominant, with the raised seventh in minor.
bool belongs(const Chord& chord, const Plan& plan) {
  if ((tones_of(chord) - plan.scale).empty()) return true;
  PitchClassSet raised = plan.scale;
  raised.insert(transpose(plan.key.tonic, 11));
  return !plan.pedal && is_dominant(chord) && chord.root == transpose(plan.key.tonic, 7) &&
         (tones_of(chord) - raised).empty();
}

struct VersionCandidate {
  Chord chord;
  double worth = 0;
  std::uint16_t kind = 0;
};

class Grower {
 public:
  Grower(const std::vector<WrittenChord>& loop, Key key, int meter) : loop_(loop), home_(key), meter_(meter) {
    for (const WrittenChord& chord : loop) {
      const double part = 1 / static_cast<double>(loop.size());
      heard_ = heard_ | tones_of(chord.chord);
      richness_ += part * harmony::row(chord.chord.quality).tones.size();
      share_[sound_of(chord.chord)] += part;
    }
  }

  Growth run() {
    Growth out;
    std::vector<harmony::Kinds> bridges{as_played(kBridgeBars)}, interludes{as_played(kInterludeBars)};
    std::size_t made = 0;
    for (const Plan& plan : bridge_plans())
      if (made < kGrownBridges && search(plan, bridges, out)) ++made;
    made = 0;
    for (const Plan& plan : mode_plans())
      if (made < kGrownInterludes / 2 && search(plan, interludes, out)) ++made;
    for (const Plan& plan : pedal_plans())
      if (made < kGrownInterludes && search(plan, interludes, out)) ++made;
    return out;
  }

 private:
  std::string name(PitchClass tonic, Mode mode) const {
    return harmony::text(harmony::tonic_name({tonic, mode}));
  }

  // The nearest keys, but none that the loop is in as well: it has its tonic chord and no note outside it.
  std::vector<Plan> bridge_plans() const {
    struct Other {
      int up;
      Mode mode;
      std::string_view what;
    };
    static const std::vector<Other> kFromMajor{
        {9, Mode::kMinor, "the relative minor"},       {5, Mode::kMajor, "the key of the subdominant"},
        {4, Mode::kMinor, "the key of the mediant"},   {8, Mode::kMajor, "a major third below"},
        {7, Mode::kMajor, "the key of the dominant"},  {3, Mode::kMajor, "a minor third above"},
        {2, Mode::kMinor, "the key of the supertonic"}};
    static const std::vector<Other> kFromMinor{
        {3, Mode::kMajor, "the relative major"},        {5, Mode::kMinor, "the key of the subdominant"},
        {8, Mode::kMajor, "the key of the submediant"}, {1, Mode::kMajor, "a semitone above"},
        {7, Mode::kMinor, "the key of the dominant"},   {10, Mode::kMajor, "the key of the seventh degree"},
        {4, Mode::kMajor, "a major third above"}};
    std::vector<Plan> out;
    for (const Other& other : home_.mode == Mode::kMajor ? kFromMajor : kFromMinor) {
      Plan plan;
      plan.bridge = true;
      plan.key = {transpose(home_.tonic, other.up), other.mode};
      plan.scale = scale_of(plan.key);
      plan.where = fmt::format("in {}, {}", harmony::text(plan.key), other.what);
      const bool there = (heard_ - plan.scale).empty() &&
                         std::any_of(loop_.begin(), loop_.end(), [&](const WrittenChord& chord) {
                           return is_tonic_of(chord.chord, plan.key);
                         });
      if (!there) out.push_back(std::move(plan));
    }
    return out;
  }

  // The same tonic in other modes; last those whose scale has all notes of the loop.
  std::vector<Plan> mode_plans() const {
    struct Other {
      Mode mode;
      unsigned scale;
      std::string_view what;
    };
    constexpr std::array<Other, 5> kFromMajor{{{Mode::kMinor, kNaturalMinor, "minor, the parallel key"},
                                               {Mode::kMajor, kMixolydian, "mixolydian"},
                                               {Mode::kMajor, kLydian, "lydian"},
                                               {Mode::kMinor, kDorian, "dorian"},
                                               {Mode::kMinor, kPhrygian, "phrygian"}}};
    constexpr std::array<Other, 5> kFromMinor{
        {{Mode::kMajor, harmony::kMajorScale, "major, the parallel key"},
         {Mode::kMinor, kDorian, "dorian"},
         {Mode::kMinor, kPhrygian, "phrygian"},
         {Mode::kMajor, kMixolydian, "mixolydian"},
         {Mode::kMajor, kLydian, "lydian"}}};
    std::vector<Plan> out, alike;
    for (const Other& other : home_.mode == Mode::kMajor ? kFromMajor : kFromMinor) {
      Plan plan;
      plan.key = {home_.tonic, other.mode};
      plan.scale = PitchClassSet(other.scale).transposed(home_.tonic.value());
      plan.where = fmt::format("in {} {}", name(home_.tonic, other.mode), other.what);
      ((heard_ - plan.scale).empty() ? alike : out).push_back(std::move(plan));
    }
    out.insert(out.end(), alike.begin(), alike.end());
    return out;
  }

  // The dominant of the loop's first chord leads back by itself; then the tonic, then the dominant of the
  // key.
  std::vector<Plan> pedal_plans() const {
    const PitchClass first = loop_.front().chord.root;
    std::vector<Plan> out;
    for (const auto& [note, what] : {std::pair{transpose(first, 7), "the dominant of the loop's first chord"},
                                     {home_.tonic, "the tonic"},
                                     {transpose(home_.tonic, 7), "the dominant"},
                                     {transpose(home_.tonic, 5), "the subdominant"}}) {
      if (std::any_of(out.begin(), out.end(),
                      [&, note = note](const Plan& plan) { return plan.pedal == note; }))
        continue;
      Plan plan;
      plan.key = home_;
      plan.scale = scale_of(home_) | heard_;
      plan.pedal = note;
      const auto named = note == transpose(first, 7)
                             ? harmony::plain_name(loop_.front().root.above(harmony::Degree{5, 0}))
                             : harmony::spell_note(note, harmony::signature(home_), nullptr, nullptr);
      plan.where = fmt::format("over a pedal point on {}, {}", harmony::text(named), what);
      out.push_back(std::move(plan));
    }
    return out;
  }

  // The kinds of chords that sound at the beginning of each bar if the loop is played on.
  harmony::Kinds as_played(int bars) const {
    const Ticks length = loop_.back().at + loop_.back().length - loop_.front().at;
    harmony::Kinds out{0};  // the loop itself
    for (int bar = 0; bar < bars; ++bar) {
      const Ticks at(loop_.front().at.count() +
                     (length > Ticks(0) ? (bar * meter_ * kBeat).count() % length.count() : 0));
      std::size_t sounding = 0;
      for (std::size_t i = 0; i < loop_.size() && loop_[i].at <= at; ++i) sounding = i;
      out.push_back(kind_of(loop_[sounding].chord));
    }
    return out;
  }

  bool allowed(const Plan& plan, int bar, int bars, const Chord& chord) const {
    if (bar + 1 == bars) return leads_back(chord, loop_.front().chord);
    if (bar == 0 && !leads_in(loop_.back().chord, chord)) return false;
    if (!belongs(chord, plan)) return false;
    if (plan.bridge && bar == 2) return is_tonic_of(chord, plan.key);
    if (!plan.bridge && !plan.pedal) {
      if (bar == 1) return is_tonic_of(chord, plan.key);
      if (bar == 2) return !(tones_of(chord) - scale_of(home_)).empty();
    }
    return true;
  }

  // The last bar belongs to the loop's key again.
  Key key_at(const Plan& plan, int bar, int bars) const { return bar + 1 == bars ? home_ : plan.key; }

  double own_worth(const Chord& chord, double liking, const Plan& plan, Key key) const {
    const double richness = harmony::row(chord.quality).tones.size() - richness_;
    return liking - kRichness * std::abs(richness) +
           kLikeTheLoop * std::log(std::max(kLeastShare, share_[sound_of(chord)])) +
           (plan.pedal && chord.bass == *plan.pedal ? over_pedal(chord, *plan.pedal, key) : 0);
  }

  // The best chord of each kind that may stand in this bar.
  std::vector<VersionCandidate> pool(const Plan& plan, int bar, int bars) const {
    const Key key = key_at(plan, bar, bars);
    const auto& known = harmony::offered();
    harmony::ChordScores scores;
    usual_scores({}, key, {}, scores);
    std::vector<VersionCandidate> best(12 * kChordKinds);
    std::vector<double> value(best.size(), -1e9);
    for (std::size_t r = 0; r < 12; ++r)
      for (std::size_t i = 0; i < harmony::kOfferedCount; ++i) {
        const PitchClass root(static_cast<int>(r));
        // A pedal point ends with the last bar, which leads back from its own root.
        const Chord chord{root, known.quality[i], plan.pedal && bar + 1 < bars ? *plan.pedal : root};
        if (!allowed(plan, bar, bars, chord)) continue;
        const double liking = static_cast<double>(known.at(harmony::Offered::key_index(key), r, i).liking);
        const VersionCandidate made{chord, own_worth(chord, liking, plan, key), kind_of(chord)};
        if (const double here = made.worth + usual_worth(scores, chord, 0); here > value[made.kind])
          best[made.kind] = made, value[made.kind] = here;
      }
    std::vector<VersionCandidate> out;
    for (std::size_t k = 0; k < best.size(); ++k)
      if (value[k] > -1e9) out.push_back(best[k]);
    return out;
  }

  std::vector<std::vector<double>> links(const std::vector<VersionCandidate>& from,
                                         const std::vector<VersionCandidate>& to, Key key) const {
    std::vector<std::vector<double>> out;
    harmony::ChordScores scores;
    for (const VersionCandidate& a : from) {
      harmony::ChordsBefore before;
      before.push_back(a.chord);
      usual_scores({}, key, before, scores);
      auto& row = out.emplace_back();
      for (const VersionCandidate& b : to) {
        double worth = usual_worth(scores, b.chord, 0) - kMotion * voices_move(a.chord, b.chord);
        if (a.chord.root == b.chord.root) worth -= a.kind == b.kind ? kRepeated : kSameRoot;
        row.push_back(worth);
      }
    }
    return out;
  }

  struct Found {
    std::vector<VersionCandidate> chords;
    bool exact = true;
  };
  std::optional<Found> best(const Plan& plan, const std::vector<std::vector<VersionCandidate>>& pools,
                            const std::vector<harmony::Kinds>& different) const {
    const int bars = static_cast<int>(pools.size()) - 1;
    const std::vector<VersionCandidate> begins{{loop_.front().chord, 0, 0}};
    harmony::CycleProblem problem;
    for (std::size_t i = 0; i < pools.size(); ++i) {
      if (pools[i].empty()) return std::nullopt;
      auto& options = problem.spans.emplace_back();
      for (const VersionCandidate& made : pools[i]) options.push_back({made.worth, made.kind});
      const bool last = i + 1 == pools.size();
      problem.links.push_back(links(pools[i], last ? begins : pools[i + 1],
                                    last ? home_ : key_at(plan, static_cast<int>(i), bars)));
    }
    const auto found = harmony::distinct_cycles(problem, different, static_cast<std::size_t>(bars) / 2, 1);
    if (found.cycles.empty()) return std::nullopt;
    Found out;
    out.exact = found.exact;
    for (std::size_t i = 1; i < pools.size(); ++i) out.chords.push_back(pools[i][found.cycles[0].choice[i]]);
    return out;
  }

  // Takes a chord out of the bars where it comes once too often. False if none does.
  static bool thin_out(const Plan& plan, const std::vector<VersionCandidate>& chords,
                       std::vector<std::vector<VersionCandidate>>& pools) {
    const int most = plan.bridge ? 2 : 1;
    const std::size_t tonic_bar = plan.bridge ? 2 : 1;  // which nothing can replace in a key or mode
    bool out = false;
    for (std::size_t bar = 0; bar + 1 < chords.size(); ++bar) {
      if (!plan.pedal && bar == tonic_bar) continue;
      const std::uint16_t kind = chords[bar].kind;
      int before = !plan.pedal && bar < tonic_bar && chords[tonic_bar].kind == kind;
      for (std::size_t i = 0; i < bar; ++i) before += chords[i].kind == kind;
      if (before < most) continue;
      std::erase_if(pools[bar + 1], [&](const VersionCandidate& made) { return made.kind == kind; });
      out = true;
    }
    return out;
  }

  // Adds the best section of this plan that differs enough from those before it. False if there is none.
  bool search(const Plan& plan, std::vector<harmony::Kinds>& different, Growth& out) const {
    const int bars = plan.bridge ? kBridgeBars : kInterludeBars;
    // The first place of the cycle is the loop: it is left from its last chord and entered by its first.
    std::vector<std::vector<VersionCandidate>> pools{{{loop_.back().chord, 0, 0}}};
    for (int bar = 0; bar < bars; ++bar) pools.push_back(pool(plan, bar, bars));
    auto found = best(plan, pools, different);
    while (found && thin_out(plan, found->chords, pools)) found = best(plan, pools, different);
    if (!found) return false;
    out.exact &= found->exact;
    harmony::Kinds kinds{0};
    GrownSection made{plan.bridge, plan.key, plan.pedal, {}, {}};
    const Ticks bar = meter_ * kBeat;
    for (const VersionCandidate& chosen : found->chords) {
      made.chords.push_back({chosen.chord, {}, static_cast<int>(kinds.size() - 1) * bar, bar});
      kinds.push_back(chosen.kind);
    }
    different.push_back(std::move(kinds));
    spell(made);
    made.reason = reason(plan, made);
    out.sections.push_back(std::move(made));
    return true;
  }

  static void spell(GrownSection& made) {
    std::vector<harmony::WrittenChord> chords;
    for (const WrittenChord& chord : made.chords)
      chords.push_back({chord.at.beats(), (chord.at + chord.length).beats(), chord.chord});
    const auto names =
        spell_changes(chords, harmony::signature(made.key), std::vector<bool>(chords.size(), false));
    for (std::size_t i = 0; i < names.size(); ++i) made.chords[i].root = names[i];
  }

  std::string step(const WrittenChord& from, const WrittenChord& to, Key key) const {
    harmony::ChordsBefore before;
    before.push_back(from.chord);
    // Over a pedal point the motion of the roots says more than that the bass stays.
    Chord next = to.chord;
    next.bass = next.root;
    before.front().bass = from.chord.root;
    return fmt::format("{} to {} ({})", harmony::symbol(from.chord, from.root),
                       harmony::symbol(to.chord, to.root), text(harmony::relation(before, next, key)));
  }

  std::string reason(const Plan& plan, const GrownSection& made) const {
    std::string out = plan.where;
    if (!plan.bridge && !plan.pedal) {
      std::string foreign;
      const WrittenChord& colour = made.chords[2];
      const auto outside = tones_of(colour.chord) - scale_of(home_);
      for (int pc = 0; pc < 12; ++pc)
        if (outside.contains(PitchClass(pc)))
          foreign += (foreign.empty() ? "" : " and ") +
                     harmony::text(harmony::name_in(colour.chord, colour.root, PitchClass(pc)));
      out += fmt::format(", with {} in {}", foreign, harmony::symbol(colour.chord, colour.root));
    }
    return fmt::format("{}; the way in: {}; the way back: {}", out,
                       step(loop_.back(), made.chords.front(), plan.key),
                       step(made.chords.back(), loop_.front(), home_));
  }

  const std::vector<WrittenChord>& loop_;
  Key home_;
  int meter_;
  PitchClassSet heard_;
  double richness_ = 0;
  std::array<double, kSounds> share_{};
};

}  // namespace

bool leads_in(const Chord& from, const Chord& to) {
  const int up = ascending(from.root, to.root);
  return up != 0 && up != 6 && up != 7;
}

bool leads_back(const Chord& from, const Chord& to) {
  const int up = ascending(from.root, to.root);
  const Family family = harmony::row(from.quality).family;
  return (up == 5 && (family == Family::kDominant || family == Family::kSuspended)) ||
         (up == 11 && family == Family::kDominant);
}

std::string chord_line_of(const std::vector<WrittenChord>& chords) {
  std::string out;
  for (const WrittenChord& chord : chords)
    out += (out.empty() ? "" : " | ") + harmony::symbol(chord.chord, chord.root);
  return out;
}

Growth grow(const std::vector<WrittenChord>& loop, Key key, int meter) {
  return Grower(loop, key, meter).run();
}

}  // namespace undersong::song
