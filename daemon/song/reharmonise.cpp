// Over 400 lines: the options, their ratings, the search and the description of the result all use the same
// private data of the loop.
#include "daemon/song/reharmonise.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/cycle_voicing.h"
#include "daemon/harmony/distinct_cycles.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/scales.h"
#include "daemon/harmony/spelling.h"
#include "daemon/harmony/written_spelling.h"
#include "daemon/song/chord_prices.h"

namespace undersong::song {
namespace {

using harmony::Chord;
using harmony::Family;
using harmony::Key;
using harmony::NoteName;

// All weights in one place. The learnt scores are natural logarithms. Common practice, no source.
constexpr double kFit = 1.5;
constexpr double kAsPlayed = .3;  // prefers the player's own chord to others of the same root and family
constexpr double kWish = 4, kTenseWish = 6;
constexpr double kRootWish = 12;
constexpr double kTonicStays = 2;      // where the loop has its tonic chord
constexpr double kTonicUnderTilt = 1;  // more, because a tilt pulls away from it
// With no wish the shares are weighed again until all proposals together have about those of the loop.
constexpr int kWeighings = 4;
constexpr double kShareStep = 1.2, kMostShareStep = 1.5, kTonicStep = 1, kLikeEnough = .12;
constexpr std::size_t kLeastToSpread = 5;        // fewer proposals are all alike in colour
constexpr float kTilt = .9f, kTenseTilt = 2.7f;  // the wishes by which the last proposals differ in colour
constexpr float kTiltBesideWish = .667f;  // of them, where the roots or the bass have a wish of their own

struct Candidate {
  Chord chord;
  NoteName root;
  double worth = 0;
  std::uint16_t kind = 0;
};

harmony::PitchClassSet scale_or_all(const std::optional<Key>& key) {
  return key ? harmony::PitchClassSet(harmony::kMajorScale).transposed(7 * harmony::signature(*key))
             : harmony::PitchClassSet(0xFFF);
}

// The key of the loop and its melody, from the notes and from whether the tonic and dominant chords occur.
// The key heard in the take wins if it fits almost as well. A key that the player pinned always wins.
std::optional<Key> key_of_loop(const takes::HeardTake& take, const takes::Loop& loop, const Sung& sung) {
  if (take.key_pinned) return take.key;
  constexpr double kTonic = .12, kDominant = .12, kAsHeard = .03;
  std::array<double, 12> weights{};
  for (std::size_t i = 0; i < loop.chords.size(); ++i) {
    const auto& chord = loop.chords[i];
    const double length =
        std::max(.5, chord.beats > 0 ? chord.beats : std::chrono::duration<double>(chord.length).count());
    const auto tones = tones_of(chord.chord);
    for (int pc = 0; pc < 12; ++pc) {
      if (tones.contains(PitchClass(pc))) weights[static_cast<std::size_t>(pc)] += length / tones.size();
      weights[static_cast<std::size_t>(pc)] += sung.spans[i].length[static_cast<std::size_t>(pc)] / 2;
    }
  }
  const auto value = [&](Key key) {
    double out = harmony::profile_correlation(weights, key);
    bool tonic = false, dominant = false;
    for (const auto& chord : loop.chords) {
      const Family family = harmony::row(chord.chord.quality).family;
      tonic |= chord.chord.root == key.tonic &&
               family == (key.mode == harmony::Mode::kMajor ? Family::kMajor : Family::kMinor);
      dominant |= chord.chord.root == transpose(key.tonic, 7) &&
                  (family == Family::kDominant || family == Family::kMajor || family == Family::kSuspended);
    }
    return out + kTonic * tonic + kDominant * dominant;
  };
  std::optional<Key> best = take.key;
  double most = best ? value(*best) + kAsHeard : -2;
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const auto mode : {harmony::Mode::kMajor, harmony::Mode::kMinor})
      if (const Key key{PitchClass(tonic), mode}; value(key) > most) most = value(key), best = key;
  return best;
}

double fit(const Chord& chord, const SungSpan& span) {
  double sum = 0, total = 0;
  for (int pc = 0; pc < 12; ++pc) {
    const double length = span.length[static_cast<std::size_t>(pc)];
    if (length <= 0) continue;
    const auto role = harmony::role(chord.quality, ascending(chord.root, PitchClass(pc)));
    sum += length * static_cast<double>(role == harmony::Role::kChordTone ? harmony::kChordTone
                                        : role == harmony::Role::kTension ? harmony::kTension
                                                                          : harmony::kAvoid);
    total += length;
  }
  return total > 0 ? sum / total : 0;
}

bool carries(const Chord& chord, const SungSpan& span) {
  const bool suspended = harmony::row(chord.quality).family == Family::kSuspended;
  for (int pc = 0; pc < 12; ++pc) {
    if (!span.long_notes.contains(PitchClass(pc))) continue;
    const int interval = ascending(chord.root, PitchClass(pc));
    if (harmony::role(chord.quality, interval) == harmony::Role::kAvoid) return false;
    if (suspended && (interval == 3 || interval == 4))
      return false;  // the third would contradict the suspension
  }
  return true;
}

class Reharmoniser {
 public:
  Reharmoniser(const takes::Loop& loop, const ReharmoniseWish& wish, Reharmonisation& out)
      : loop_(loop), wish_(wish), wishes_(wish.wishes), out_(out) {
    const auto n = static_cast<double>(loop.chords.size());
    for (const auto& chord : loop.chords) {
      richness_ += harmony::row(chord.chord.quality).tones.size() / n;
      share_[sound_of(chord.chord)] += 1 / n;
      tonic_ |= is_tonic(chord.chord);
    }
  }

  Result<void> run() {
    const std::size_t n = loop_.chords.size();
    kept_.assign(n, false);
    for (std::size_t keep : wish_.keep) kept_[keep] = true;
    out_.free = static_cast<std::size_t>(std::count(kept_.begin(), kept_.end(), false));
    out_.apart = (out_.free + 1) / 2;
    harmony::Kinds played;
    for (std::size_t i = 0; i < n; ++i) played.push_back(kind_of(loop_.chords[i].chord));
    const bool neutral = strength() == 0 && wish_.roots == RootMotion::kAny && !wish_.pedal;
    if (neutral && wish_.count >= kLeastToSpread)
      search_varied(played);
    else
      search_as_wished(played);
    // All are compared by the same weights, and so is the loop itself.
    for (Proposal& made : out_.proposals) made.score = score_of(made);
    std::stable_sort(out_.proposals.begin(), out_.proposals.end(),
                     [](const Proposal& a, const Proposal& b) { return a.score > b.score; });
    std::vector<Candidate> chords;
    for (std::size_t i = 0; i < n; ++i) chords.push_back(played_candidate(i, std::nullopt));
    out_.played = proposal(chords, std::nullopt);
    out_.played.score = score_of(out_.played);
    out_.played.reason = "as played";
    for (Proposal& made : out_.proposals) made.reason = reason(made);
    if (out_.proposals.empty()) return not_found("no other chords fit this melody");
    return {};
  }

 private:
  // How far the strongest wish is from none, 0..1.
  double strength() const {
    const auto& wishes = wish_.wishes;
    return static_cast<double>(
        std::max({std::abs(wishes.brighter), std::abs(wishes.tenser), std::abs(wishes.surprising)}));
  }
  bool is_tonic(const Chord& chord) const {
    return out_.key && chord.root == out_.key->tonic &&
           harmony::row(chord.quality).family ==
               (out_.key->mode == harmony::Mode::kMajor ? Family::kMajor : Family::kMinor);
  }

  void search_as_wished(const harmony::Kinds& played) {
    std::vector<harmony::Kinds> different{played};
    out_.proposals.clear();
    const std::size_t count = std::min(wish_.count, kMostProposals);
    // With no wish, half of the proposals are the best there are; then each in turn is brighter, darker,
    // tenser or more resolved.
    const bool spread =
        strength() == 0 && count >= kLeastToSpread && different.size() + count < harmony::kMostDistinct;
    const std::size_t plain = spread ? count - count / 2 : count;
    constexpr std::array<harmony::Wishes, 4> kTilts{
        {{.brighter = kTilt}, {.tenser = -kTenseTilt}, {.brighter = -kTilt}, {.tenser = kTenseTilt}}};
    out_.exact = search(plain, different);
    for (std::size_t i = 0; i < count - plain; ++i) {
      wishes_ = kTilts[i % kTilts.size()];
      const bool beside = wish_.roots != RootMotion::kAny || wish_.pedal;
      if (beside) wishes_.brighter *= kTiltBesideWish, wishes_.tenser *= kTiltBesideWish;
      if (!beside) weights_.tonic += kTonicUnderTilt;
      out_.exact &= search(1, different);
      if (!beside) weights_.tonic -= kTonicUnderTilt;
    }
    wishes_ = wish_.wishes;
  }

  // Searches again with other weights for the families of which the proposals have too much or too little,
  // and for the tonic, and keeps the proposals that are most like the loop.
  void search_varied(const harmony::Kinds& played) {
    std::vector<Proposal> best;
    Weights best_weights = weights_;
    bool best_exact = true;
    double least = 1e9;
    for (int weighing = 0; weighing < kWeighings; ++weighing) {
      search_as_wished(played);
      if (out_.proposals.empty()) return;
      std::array<double, kSounds> shares{};
      double with_tonic = 0;
      for (const Proposal& made : out_.proposals) {
        const double part = 1 / static_cast<double>(out_.proposals.size());
        for (const ProposedChord& chord : made.chords)
          shares[sound_of(chord.chord)] += part / static_cast<double>(made.chords.size());
        if (std::any_of(made.chords.begin(), made.chords.end(),
                        [&](const ProposedChord& chord) { return is_tonic(chord.chord); }))
          with_tonic += part;
      }
      double apart = tonic_ ? 1 - with_tonic : 0;
      for (std::size_t f = 0; f < kSounds; ++f) apart += std::abs(shares[f] - share_[f]) / 2;
      if (apart < least) {
        least = apart;
        best = out_.proposals, best_weights = weights_, best_exact = out_.exact;
      }
      if (least <= kLikeEnough) break;
      for (std::size_t f = 0; f < kSounds; ++f)
        weights_.sound[f] += std::clamp(
            kShareStep * std::log(std::max(kLeastShare, share_[f]) / std::max(kLeastShare, shares[f])),
            -kMostShareStep, kMostShareStep);
      if (tonic_ && with_tonic < 1) weights_.tonic += kTonicStep;
    }
    out_.proposals = std::move(best), weights_ = best_weights, out_.exact = best_exact;
  }

  // By the wishes that were asked for, whichever search found it.
  double score_of(const Proposal& made) const {
    const std::size_t n = made.chords.size();
    const auto& known = harmony::offered();
    const std::size_t key = harmony::Offered::key_index(out_.key);
    harmony::CycleProblem own;
    std::vector<std::vector<Candidate>> single;
    for (std::size_t i = 0; i < n; ++i) {
      const Chord& chord = made.chords[i].chord;
      Candidate candidate = played_candidate(i, made.pedal);
      for (std::size_t q = 0; q < harmony::kOfferedCount && chord != candidate.chord; ++q)
        if (known.quality[q] == chord.quality) {
          const auto liking = known.at(key, static_cast<std::size_t>(chord.root.value()), q).liking;
          candidate = {chord, made.chords[i].root,
                       own_worth(chord, static_cast<double>(liking), out_.melody.spans[i]) +
                           pedal_worth(chord, made.pedal),
                       kind_of(chord)};
        }
      own.spans.push_back({{candidate.worth, candidate.kind}});
      single.push_back({candidate});
    }
    own.links.resize(n);
    for (std::size_t i = 0; i < n; ++i) link(own.links[i], i, single[i], single[(i + 1) % n]);
    return harmony::cycle_worth(own, std::vector<std::size_t>(n, 0)) / static_cast<double>(n);
  }

  // Adds up to `count` proposals that differ from all of `different`, and adds their kinds to it. True if
  // they are proved to be the best.
  bool search(std::size_t count, std::vector<harmony::Kinds>& different) {
    const std::size_t n = loop_.chords.size();
    // One search problem for each possible pedal point, or one without.
    std::vector<std::optional<PitchClass>> basses{std::nullopt};
    if (wish_.pedal && wish_.pedal->note)
      basses = {wish_.pedal->note};
    else if (wish_.pedal) {
      basses.clear();
      for (int bass = 0; bass < 12; ++bass) basses.emplace_back(PitchClass(bass));
    }
    std::vector<harmony::CycleProblem> problems;
    std::vector<std::vector<std::vector<Candidate>>> pools;  // [bass][place]
    for (const auto& bass : basses) {
      auto& here = pools.emplace_back();
      auto& problem = problems.emplace_back();
      for (std::size_t i = 0; i < n; ++i) {
        here.push_back(pool(i, bass));
        auto& options = problem.spans.emplace_back();
        for (const Candidate& made : here.back()) options.push_back({made.worth, made.kind});
      }
      problem.links.resize(n);
      for (std::size_t i = 0; i < n; ++i) link(problem.links[i], i, here[i], here[(i + 1) % n]);
    }
    const auto found = harmony::distinct_cycles(problems, different, out_.apart, count);
    for (std::size_t c = 0; c < found.cycles.size(); ++c) {
      std::vector<Candidate> chords;
      harmony::Kinds kinds;
      for (std::size_t i = 0; i < n; ++i) {
        chords.push_back(pools[found.problem[c]][i][found.cycles[c].choice[i]]);
        kinds.push_back(chords.back().kind);
      }
      different.push_back(std::move(kinds));
      out_.proposals.push_back(proposal(chords, basses[found.problem[c]]));
    }
    return found.exact;
  }

  double own_worth(const Chord& chord, double liking, const SungSpan& span) const {
    const auto colour = harmony::colour(chord, out_.key);
    const double richness = harmony::row(chord.quality).tones.size() - richness_;
    const std::size_t sound = sound_of(chord);
    double like = kLikeTheLoop * std::log(std::max(kLeastShare, share_[sound])) + weights_.sound[sound];
    if (tonic_ && is_tonic(chord)) like += weights_.tonic;
    like *= 1 - std::pow(strength(), 4);  // a full wish knows no likeness
    return kFit * fit(chord, span) + liking - kRichness * std::abs(richness) + like +
           kWish * static_cast<double>(wishes_.brighter * colour.dark_bright) +
           kTenseWish * static_cast<double>(wishes_.tenser * colour.resolved_tense);
  }

  // How well a chord fits over a pedal point.
  double pedal_worth(const Chord& chord, const std::optional<PitchClass>& bass) const {
    return bass ? over_pedal(chord, *bass, out_.key) : 0;
  }

  Candidate played_candidate(std::size_t place, const std::optional<PitchClass>& bass) const {
    const auto& played = loop_.chords[place];
    const auto& known = harmony::offered();
    double liking = 0;
    for (std::size_t i = 0; i < harmony::kOfferedCount; ++i)
      if (known.quality[i] == played.chord.quality)
        liking = static_cast<double>(known
                                         .at(harmony::Offered::key_index(out_.key),
                                             static_cast<std::size_t>(played.chord.root.value()), i)
                                         .liking);
    Chord chord = played.chord;
    if (bass) chord.bass = *bass;
    return {chord, played.root,
            kAsPlayed + own_worth(chord, liking, out_.melody.spans[place]) + pedal_worth(chord, bass),
            kind_of(chord)};
  }

  // The chords that may replace the one in this place, best first.
  std::vector<Candidate> pool(std::size_t place, const std::optional<PitchClass>& bass) const {
    const Candidate played = played_candidate(place, bass);
    if (kept_[place]) return {played};
    const auto& known = harmony::offered();
    const std::size_t key = harmony::Offered::key_index(out_.key);
    const SungSpan& span = out_.melody.spans[place];
    std::vector<Candidate> best(12 * kChordKinds);
    std::vector<double> value(best.size(), -1e9);
    // Keep only the best chord of each kind, by worth and by how usual it is under this melody.
    harmony::ChordScores scores;
    usual(place, {}, scores);
    const auto offer = [&](const Candidate& made) {
      const double here = made.worth + usual_worth(scores, made.chord);
      if (here > value[made.kind]) best[made.kind] = made, value[made.kind] = here;
    };
    for (std::size_t r = 0; r < 12; ++r)
      for (std::size_t i = 0; i < harmony::kOfferedCount; ++i) {
        const PitchClass root(static_cast<int>(r));
        const Chord chord{root, known.quality[i], bass.value_or(root)};
        if (!carries(chord, span)) continue;
        const auto& home = known.at(key, r, i);
        offer({chord, home.root_name,
               own_worth(chord, static_cast<double>(home.liking), span) + pedal_worth(chord, bass),
               kind_of(chord)});
      }
    offer(played);
    std::vector<std::size_t> order;
    for (std::size_t k = 0; k < best.size(); ++k)
      if (value[k] > -1e9) order.push_back(k);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return value[a] > value[b]; });
    std::vector<Candidate> out;
    for (std::size_t k : order) out.push_back(best[k]);
    return out;
  }

  const harmony::Phrase& phrase_at(std::size_t place) const {
    // Where there is no melody, the last note before still counts.
    const std::size_t n = out_.melody.spans.size();
    for (std::size_t back = 0; back < n; ++back)
      if (const auto& span = out_.melody.spans[(place + n - back) % n]; span.top) return span.phrase;
    return out_.melody.spans[place].phrase;
  }

  // How usual each chord is in this place after `before`: natural logarithms, 0 for the most usual.
  void usual(std::size_t place, const harmony::ChordsBefore& before, harmony::ChordScores& out) const {
    usual_scores(phrase_at(place), out_.key, before, out);
  }
  double usual_worth(const harmony::ChordScores& scores, const Chord& chord) const {
    return song::usual_worth(scores, chord, static_cast<double>(wishes_.surprising));
  }

  void link(std::vector<std::vector<double>>& out, std::size_t place, const std::vector<Candidate>& from,
            const std::vector<Candidate>& to) const {
    const std::size_t n = loop_.chords.size(), next = (place + 1) % n;
    const bool stays = kind_of(loop_.chords[place].chord) == kind_of(loop_.chords[next].chord);
    harmony::ChordScores scores;
    for (const Candidate& a : from) {
      auto& row = out.emplace_back();
      harmony::ChordsBefore before;
      before.push_back(a.chord);
      usual(next, before, scores);
      for (const Candidate& b : to) {
        double worth = usual_worth(scores, b.chord) - kMotion * voices_move(a.chord, b.chord);
        if (n > 1 && a.chord.root == b.chord.root && !(stays && a.kind == b.kind))
          worth -= a.kind == b.kind ? kRepeated : kSameRoot;
        if (wish_.roots != RootMotion::kAny && moves_so(wish_.roots, a.chord.root, b.chord.root))
          worth += kRootWish;
        row.push_back(worth);
      }
    }
  }

  // Without score and reason.
  Proposal proposal(const std::vector<Candidate>& chosen, const std::optional<PitchClass>& bass) const {
    Proposal out;
    out.pedal = bass;
    const std::size_t n = chosen.size();
    std::vector<Chord> chords;
    std::vector<Pitch> tops;
    for (std::size_t i = 0; i < n; ++i) {
      chords.push_back(chosen[i].chord);
      Pitch top(72);
      for (std::size_t back = 0; back < n; ++back)
        if (const auto& span = out_.melody.spans[(i + n - back) % n]; span.top) {
          top = *span.top;
          break;
        }
      tops.push_back(top);
    }
    const auto voiced =
        bass ? harmony::voice_cycle_over_pedal(chords, tops) : harmony::voice_cycle(chords, tops);
    const auto scale = scale_or_all(out_.key);
    for (std::size_t i = 0; i < n; ++i) {
      ProposedChord made;
      made.chord = chords[i];
      made.root = chosen[i].root;
      made.kept = kept_[i];
      made.changed = chosen[i].kind != kind_of(loop_.chords[i].chord);
      out.changed += made.changed;
      made.voicing = voiced.voicings[i];
      out.hands_move += made.voicing.hands_move;
      const auto colour = harmony::colour(made.chord, out_.key);
      made.dark_bright = colour.dark_bright;
      made.resolved_tense = colour.resolved_tense;
      out.dark_bright += colour.dark_bright / static_cast<float>(n);
      out.resolved_tense += colour.resolved_tense / static_cast<float>(n);
      made.outside = (tones_of(made.chord) - scale).size();
      harmony::ChordsBefore before;
      for (std::size_t back = 1; back <= harmony::kChordsBefore && n > 1; ++back)
        before.push_back(chords[(i + n * back - back) % n]);
      made.reached = harmony::relation(before, made.chord, out_.key);
      made.change = harmony::substitution(loop_.chords[i].chord, made.chord, out_.key);
      const SungSpan& span = out_.melody.spans[i];
      for (int pc = 0; pc < 12; ++pc) {
        const double length = span.length[static_cast<std::size_t>(pc)];
        if (length <= 0) continue;
        const int interval = ascending(made.chord.root, PitchClass(pc));
        SungNote note;
        note.degree = harmony::degree_in(made.chord.quality, interval);
        note.name = harmony::plain_name(made.root.above(note.degree));
        note.role = harmony::role(made.chord.quality, interval);
        note.length = length;
        note.is_long = span.long_notes.contains(PitchClass(pc));
        made.melody.push_back(note);
      }
      std::stable_sort(made.melody.begin(), made.melody.end(),
                       [](const SungNote& a, const SungNote& b) { return a.length > b.length; });
      out.chords.push_back(std::move(made));
    }
    return out;
  }

  // Describes a proposal: how most roots move, where its chords come from, and its colour compared to the
  // loop.
  std::string reason(const Proposal& made) const {
    std::string out;
    const auto add = [&](const std::string& text) { out += (out.empty() ? "" : "; ") + text; };
    const std::size_t n = made.chords.size();
    if (made.pedal) {
      // The name that the key gives it, if a chord calls it so; else the name that most of the chords give
      // it.
      std::vector<NoteName> names;
      for (const auto& chord : made.chords) names.push_back(harmony::bass_name(chord.chord, chord.root));
      const NoteName home =
          harmony::spell_note(*made.pedal, out_.key ? harmony::signature(*out_.key) : 0, nullptr, nullptr);
      auto most = std::find(names.begin(), names.end(), home);
      if (most == names.end())
        most = std::max_element(names.begin(), names.end(), [&](NoteName a, NoteName b) {
          return std::count(names.begin(), names.end(), a) < std::count(names.begin(), names.end(), b);
        });
      add("the bass stays on " + harmony::text(*most));
    }
    constexpr std::array<std::pair<RootMotion, std::string_view>, 5> kWays{
        {{RootMotion::kFallingFifths, "roots fall by fifths"},
         {RootMotion::kSemitones, "roots move by semitones"},
         {RootMotion::kSteps, "roots move by step"},
         {RootMotion::kThirds, "roots move by thirds"},
         {RootMotion::kRisingFifths, "roots rise by fifths"}}};
    std::size_t most = 0;
    std::string_view way;
    for (const auto& [motion, words] : kWays) {
      std::size_t times = 0;
      for (std::size_t i = 0; i < n && n > 1; ++i)
        times += moves_so(motion, made.chords[i].chord.root, made.chords[(i + 1) % n].chord.root);
      if (times > most) most = times, way = words;
    }
    if (n > 1 && 2 * most > n)
      add(fmt::format("{} {}", way, most == n ? "throughout" : fmt::format("{} times of {}", most, n)));
    std::string outside;
    for (std::size_t i = 0; i < n; ++i) {
      const auto& chord = made.chords[i];
      if (chord.outside == 0 || !chord.changed) continue;
      outside += (outside.empty() ? "" : ", ") + harmony::symbol(chord.chord, chord.root);
      if (chord.change != harmony::Substitution::kOther && chord.change != harmony::Substitution::kSame)
        outside += fmt::format(" ({} for {})", text(chord.change),
                               harmony::symbol(loop_.chords[i].chord, loop_.chords[i].root));
    }
    if (out_.key)
      add(outside.empty() ? "new chords stay in " + harmony::text(*out_.key)
                          : "from outside " + harmony::text(*out_.key) + ": " + outside);
    constexpr float kNoticed = .08f;
    const float bright = made.dark_bright - out_.played.dark_bright,
                tense = made.resolved_tense - out_.played.resolved_tense;
    if (std::abs(bright) >= kNoticed) add(bright > 0 ? "brighter than the loop" : "darker than the loop");
    if (std::abs(tense) >= kNoticed) add(tense > 0 ? "tenser than the loop" : "more resolved than the loop");
    if (n > 1) {
      const auto back = made.chords[0].reached;
      if (back == harmony::Relation::kFallingFifth || back == harmony::Relation::kBackdoor ||
          back == harmony::Relation::kSubstituteResolves || back == harmony::Relation::kDeceptive)
        add(fmt::format("the last chord leads back to the first ({})", text(back)));
    }
    if (out.empty()) out = "the melody fits every chord well";
    return out;
  }

  const takes::Loop& loop_;
  const ReharmoniseWish& wish_;
  harmony::Wishes wishes_;  // those of the search that runs
  Reharmonisation& out_;
  std::vector<bool> kept_;
  double richness_ = 0;                  // mean number of tones of the loop's chords
  std::array<double, kSounds> share_{};  // of each family of chords in the loop
  bool tonic_ = false;                   // the loop has its tonic chord
  struct Weights {
    std::array<double, kSounds> sound{};  // added for a chord of this family
    double tonic = kTonicStays;
  };
  Weights weights_;
};

}  // namespace

std::optional<RootMotion> parse_root_motion(std::string_view name) {
  for (int i = 0; i <= static_cast<int>(RootMotion::kSemitones); ++i)
    if (name == text(static_cast<RootMotion>(i))) return static_cast<RootMotion>(i);
  return std::nullopt;
}

std::optional<Pedal> parse_pedal(std::string_view text) {
  if (text == "any") return Pedal{};
  const auto name = harmony::parse_note_name(text);
  return name ? std::optional(Pedal{name->pitch_class()}) : std::nullopt;
}

std::string_view text(RootMotion motion) {
  static constexpr std::array<std::string_view, 6> kText{"any",    "fifths", "rising-fifths",
                                                         "thirds", "steps",  "semitones"};
  return kText[static_cast<std::size_t>(motion)];
}

bool moves_so(RootMotion motion, PitchClass from, PitchClass to) {
  const int move = ascending(from, to);
  switch (motion) {
    case RootMotion::kAny: return true;
    case RootMotion::kFallingFifths: return move == 5;
    case RootMotion::kRisingFifths: return move == 7;
    case RootMotion::kThirds: return move == 3 || move == 4 || move == 8 || move == 9;
    case RootMotion::kSteps: return move == 1 || move == 2 || move == 10 || move == 11;
    case RootMotion::kSemitones: return move == 1 || move == 11;
  }
  return false;
}

Result<Reharmonisation> reharmonise(const takes::HeardTake& take, const takes::Loop& loop,
                                    const takes::Sections& sections, const ReharmoniseWish& wish) {
  const std::size_t n = loop.chords.size();
  if (n == 0) return not_found("there is no loop to reharmonise");
  if (wish.count < 1 || wish.count > kMostProposals)
    return invalid_input(
        fmt::format("{} proposals are not possible; ask for 1 to {}", wish.count, kMostProposals));
  std::vector<bool> kept(n, false);
  for (std::size_t keep : wish.keep) {
    if (keep >= n)
      return invalid_input(fmt::format("chord {} can't be kept: the loop has {} {}", keep + 1, n,
                                       n == 1 ? "chord" : "chords"));
    kept[keep] = true;
  }
  if (std::find(kept.begin(), kept.end(), false) == kept.end())
    return invalid_input(n == 1 ? "the loop's only chord is kept, so nothing is left to change"
                                : fmt::format("all {} chords are kept, so nothing is left to change", n));
  std::string label = wish.section;
  if (label.empty()) {
    label = usual_section(sections);
    if (label.empty())
      return not_found("there is no melody over the loop, so there is nothing to fit other chords to");
  } else if (std::none_of(sections.sections.begin(), sections.sections.end(),
                          [&](const auto& s) { return s.label == label; })) {
    std::vector<std::string> known;
    for (const auto& section : sections.sections)
      if (std::find(known.begin(), known.end(), section.label) == known.end()) known.push_back(section.label);
    return not_found(fmt::format("there is no section {}; there {} {}", label,
                                 known.size() == 1 ? "is" : "are", fmt::join(known, ", ")));
  }
  Reharmonisation out;
  out.melody = sung(take, loop, sections, label);
  if (out.melody.silent())
    return not_found(fmt::format(
        "there is no melody over the loop in section {}, so there is nothing to fit other chords to", label));
  out.key = key_of_loop(take, loop, out.melody);
  out.pulse = loop.chords.front().beats > 0;
  if (const auto made = Reharmoniser(loop, wish, out).run(); !made) return made.error();
  return out;
}

}  // namespace undersong::song
