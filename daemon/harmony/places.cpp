#include "daemon/harmony/places.h"

#include <algorithm>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// The first dozen.
constexpr std::size_t kByScore = 3, kDozen = 12;
constexpr int kMostOnRoot = 2, kMostDoubled = 2;  // chords on one root, roots with two chords
// Slash chords: how many at most, the place by which there must be one, and how many are considered.
constexpr std::size_t kMostSlash = 2, kSlashBy = 9, kSlashInPool = 2;
constexpr float kNewRoot = 4, kNewCell = 8, kNewBass = 2;
constexpr float kRestless = -20;  // a held note is not at rest: only where nothing else is left
constexpr float kWaits = -1000;   // below every other score
constexpr float kStepOfPlace = 0.02f, kStep = 0.6f;

// After the dozen.
constexpr float kFunction = 0.6f;  // per logarithm that a function is more usual than the mean of all chords
constexpr float kFunctionSpan = 7;
constexpr float kOwnShare = 0.8f;       // of the chord's own class; the rest is that of its function
constexpr float kSuspendedInstead = 3;  // logarithms that a suspension is rarer than the chord it replaces
constexpr float kAtHome = 1.2f;         // apart from the held notes, all its tones lie in the key
constexpr float kBareTriad = -1;        // a triad says less than its seventh chord
constexpr float kPlainSibling = 0.3f;   // the plain form of a coloured chord of the dozen
constexpr float kSameKeys = 2.5f;       // the same diminished seventh or augmented triad on another root
constexpr float kOnSameRoot = 0.3f;     // price of each chord listed before on the same root
constexpr float kInSameFamily = 1.2f;   // and of its family
constexpr float kAfterSlash = 0.6f;     // price of each slash chord listed before, for slash chords

// Kinds of triad that can replace each other: suspended and augmented chords count as major.
constexpr std::uint8_t kind_of(std::size_t cls) {
  const TriadKind triad = triad_kind(static_cast<QualityClass>(cls));
  return triad == kMinorTriad ? 1 : triad == kDiminishedTriad ? 2 : 0;
}

// Functions that classes share: major, dominant, minor, half-diminished, diminished, augmented, suspended.
constexpr std::size_t kFunctions = 7, kSuspension = 6;
constexpr std::size_t function_of(std::size_t cls) {
  constexpr std::array<std::uint8_t, kQualityClasses> kFunctionOf{0, 0, 0, 1, 2, 2, 2, 2, 3, 4, 5, 1, 6};
  return kFunctionOf[cls];
}

// The index of the greatest element, the first among equals. N is a multiple of kLane.
template <std::size_t N>
[[gnu::always_inline]] inline std::size_t greatest(const std::array<float, N>& of) {
  Lane most = load(of.data());
  for (std::size_t i = kLane; i < N; i += kLane) {
    const Lane here = load(&of[i]);
    most = here > most ? here : most;
  }
  float top = most[0];
  for (std::size_t i = 1; i < kLane; ++i) top = most[i] > top ? most[i] : top;
  std::size_t at = 0;
  while (of[at] != top) ++at;
  return at;
}

// The best of each root and class, and after them the best slash chords, padded to whole SIMD lanes.
constexpr std::size_t kPool = (kTableChords + kLane - 1) / kLane * kLane;
static_assert(kSlashInPool <= kPool - kTableChords && kSlashInPool <= kMostSlashChords);

struct Pool {
  std::array<std::uint16_t, kPool> best{};  // index of the candidate
  std::array<float, kPool> score;
  std::array<std::uint8_t, kPool> root{}, cls{};

  explicit Pool(const Candidates& candidates) {
    const Offered& known = offered();
    score.fill(kGone);
    for (std::size_t r = 0, i = 0; r < 12; ++r)
      for (std::size_t q = 0; q < kOfferedCount; ++q, ++i) {
        const std::size_t c = r * kQualityClasses + known.cls[q];
        const bool higher = candidates.score[i] > score[c];  // unpredictable, so selected without a branch
        score[c] = higher ? candidates.score[i] : score[c];
        best[c] = static_cast<std::uint16_t>(higher ? i : best[c]);
      }
    for (std::size_t c = 0; c < kTableChords; ++c) {
      root[c] = static_cast<std::uint8_t>(c / kQualityClasses);
      cls[c] = static_cast<std::uint8_t>(c % kQualityClasses);
    }
    for (std::size_t i = 0; i < std::min(candidates.slash.size(), kSlashInPool); ++i) {
      const std::size_t c = kTableChords + i;
      best[c] = static_cast<std::uint16_t>(kOverRoot + i);
      score[c] = candidates.score[kOverRoot + i];
      root[c] = static_cast<std::uint8_t>(candidates.slash[i].chord.root.value());
      cls[c] = candidates.slash[i].cls;
    }
  }
};

// The first dozen.
class Dozen {
 public:
  Dozen(const Candidates& candidates, const Terms& terms, const Pool& pool) : pool_(pool) {
    const Question& question = terms.question;
    const auto held = static_cast<std::size_t>(question.melody[0].pitch_class().value());
    cell_ = &offered().cell[terms.key][held];
    fits_.fill(kGone), new_root_.fill(kNewRoot), new_cell_.fill(kNewCell);
    for (std::size_t r = 0, c = 0; r < 12; ++r)
      for (std::size_t q = 0; q < kQualityClasses; ++q, ++c) {
        bool rests = true;
        for (const Pitch note : question.melody)
          rests &= kRests[q] >> ascending(PitchClass(static_cast<int>(r)), note.pitch_class()) & 1u;
        fits_[c] = pool.score[c] <= kAvoided / 2 ? kGone : pool.score[c] + (rests ? 0 : kRestless);
      }
    for (std::size_t i = 0; i < kSlashInPool && i < candidates.slash.size(); ++i)
      if (candidates.slash[i].rests) fits_[kTableChords + i] = pool.score[kTableChords + i] + kNewBass;
    if (question.previous && quality_class(question.previous->quality) != QualityClass::kNone)
      fits_[static_cast<std::size_t>(question.previous->root.value()) * kQualityClasses +
            static_cast<std::size_t>(quality_class(question.previous->quality))] = kGone;
  }

  UNDERSONG_WIDE void by_score() {
    std::array<float, kPool> left = pool_.score;
    for (std::size_t c = kTableChords; c < kPool; ++c) left[c] = kGone;
    while (chosen_.size() < kByScore) {
      const std::size_t first = greatest(left);
      if (left[first] <= kAvoided / 2) break;
      take(first);
      // Others with its root and kind wait for a place for variety.
      const std::size_t root = first / kQualityClasses, kind = kind_of(first % kQualityClasses);
      for (std::size_t q = 0; q < kQualityClasses; ++q) {
        float& other = left[root * kQualityClasses + q];
        if (on_root_[root] == kMostOnRoot)
          other = kGone;
        else if (kind_of(q) == kind && other > kGone)
          other += kWaits;
      }
      left[first] = kGone;
    }
  }

  UNDERSONG_WIDE void by_variety() {
    while (!chosen_.full()) {
      std::array<float, kPool> value;
      for (std::size_t i = 0; i < kPool; i += kLane)
        store(&value[i], load(&fits_[i]) + load(&new_root_[i]) + load(&new_cell_[i]));
      std::size_t first = greatest(value);
      if (slash_ == 0 && chosen_.size() >= kSlashBy - 1) {
        std::size_t best = kTableChords;
        for (std::size_t c = kTableChords + 1; c < kPool; ++c)
          if (value[c] > value[best]) best = c;
        if (fits_[best] > kGone) first = best;
      }
      if (fits_[first] <= kGone) break;
      take(first);
    }
  }

  const FixedVector<std::uint16_t, kDozen>& chosen() const { return chosen_; }

 private:
  void gone(std::size_t root) {
    std::fill_n(&fits_[root * kQualityClasses], kQualityClasses, kGone);
    for (std::size_t c = kTableChords; c < kPool; ++c)
      if (pool_.root[c] == root) fits_[c] = kGone;
  }
  void take(std::size_t c) {
    chosen_.push_back(static_cast<std::uint16_t>(c));
    const std::size_t root = pool_.root[c], label = root * kQualityClasses + pool_.cls[c];
    fits_[c] = fits_[label] = kGone;
    for (std::size_t s = kTableChords; s < kPool; ++s)
      if (pool_.root[s] == root && pool_.cls[s] == pool_.cls[c]) fits_[s] = kGone;
    std::fill_n(&new_root_[root * kQualityClasses], kQualityClasses, 0.0f);
    for (std::size_t s = kTableChords; s < kPool; ++s)
      if (pool_.root[s] == root) new_root_[s] = 0;
    doubled_ += ++on_root_[root] == kMostOnRoot;
    if (on_root_[root] == kMostOnRoot) gone(root);
    if (doubled_ == kMostDoubled)
      for (std::size_t r = 0; r < 12; ++r)
        if (on_root_[r] > 0) gone(r);
    const bool diminished = pool_.cls[c] == static_cast<std::uint8_t>(QualityClass::kDiminished);
    if (diminished)  // the same keys on another root
      for (const std::size_t step : {3u, 6u, 9u})
        fits_[(root + step) % 12 * kQualityClasses + pool_.cls[c]] = kGone;
    if (c >= kTableChords && ++slash_ == kMostSlash)
      for (std::size_t s = kTableChords; s < kPool; ++s) fits_[s] = kGone;
    if (new_cell_[label] == 0) return;
    const std::uint8_t mine = (*cell_)[label];
    for (std::size_t i = 0; i < kTableChords; ++i) new_cell_[i] = (*cell_)[i] == mine ? 0.0f : new_cell_[i];
    for (std::size_t s = kTableChords; s < kPool; ++s)
      new_cell_[s] = (*cell_)[pool_.root[s] * kQualityClasses + pool_.cls[s]] == mine ? 0.0f : new_cell_[s];
  }

  const Pool& pool_;
  const std::array<std::uint8_t, kTableChords>* cell_;
  FixedVector<std::uint16_t, kDozen> chosen_;
  std::array<float, kPool> fits_, new_root_, new_cell_;
  std::array<int, 12> on_root_{};
  int doubled_ = 0;
  std::size_t slash_ = 0;
};

// The places after the dozen. Scores of what is chosen stay; those of the others fall.
class Rest {
 public:
  Rest(Candidates& candidates, const Terms& terms) : candidates_(candidates) { add_functions(terms); }

  // `at` stands in the list already.
  void listed(std::size_t at, bool in_dozen) {
    const Offered& known = offered();
    std::size_t root = 0;
    if (at >= kOverRoot) {
      const SlashChord& slash = candidates_.slash[at - kOverRoot];
      root = static_cast<std::size_t>(slash.chord.root.value());
      left_[at] = kGone;
      for (std::size_t s = kOverRoot; s < kCandidates; ++s)
        if (left_[s] > kGone) left_[s] -= kAfterSlash;
      lower(root, kOnSameRoot);
    } else {
      root = at / kOfferedCount;
      left_[at] = kGone;
      const std::size_t q = at % kOfferedCount;
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        left_[root * kOfferedCount + i] -=
            kOnSameRoot + (known.family[i] == known.family[q] ? kInSameFamily : 0);
      // Diminished sevenths a minor third apart, and augmented triads a major third apart, are the same keys.
      const int size = row(known.quality[q]).tones.size();
      for (const int step : {3, 4, 6, 8, 9}) {
        if (row(known.quality[q]).tones.transposed(step) != row(known.quality[q]).tones) continue;
        const std::size_t other = (root + static_cast<std::size_t>(step)) % 12;
        if (size >= 3 && left_[other * kOfferedCount + q] > kGone)
          left_[other * kOfferedCount + q] -= kSameKeys;
        refresh(other);
      }
      const std::size_t plain = plain_[root][known.cls[q]];
      if (in_dozen && plain != q && plain != Offered::kNone)
        left_[root * kOfferedCount + plain] += kPlainSibling;
    }
    refresh(root);
    refresh(12);
  }

  void fill(std::size_t places) {
    for (; places > 0; --places) {
      std::size_t row = 0;
      for (std::size_t r = 1; r <= 12; ++r)
        if (top_[r] > top_[row]) row = r;
      if (top_[row] <= kAvoided / 2) break;
      const std::size_t at = at_[row];
      candidates_.score[at] = left_[at];
      listed(at, false);
    }
    for (std::size_t at = 0; at < kCandidates; ++at)
      if (left_[at] > 2 * kWaits) candidates_.score[at] = left_[at];
  }

 private:
  // The usual chords of this place, each in its plain form under the held notes, rise.
  void add_functions(const Terms& terms) {
    left_ = candidates_.score;
    const Offered& known = offered();
    const auto& melody = terms.question.melody;
    PitchClassSet held, scale(0xFFF);
    for (const Pitch note : melody) held.insert(note.pitch_class());
    if (terms.question.key) scale = PitchClassSet(kMajorScale).transposed(7 * signature(*terms.question.key));
    float mean = 0;
    for (const float usual : terms.usual.chord) mean += usual;
    mean /= static_cast<float>(kTableChords);
    for (std::size_t r = 0; r < 12; ++r) {
      const PitchClass root(static_cast<int>(r));
      const float* usual = &terms.usual.chord[r * kQualityClasses];
      std::array<float, kFunctions> of_function;
      of_function.fill(kGone);
      for (std::size_t cls = 0; cls < kQualityClasses; ++cls)
        of_function[function_of(cls)] = std::max(of_function[function_of(cls)], usual[cls]);
      // A suspension can replace its plain chord anywhere; the songs that the table was learnt from hardly
      // have any.
      of_function[kSuspension] =
          std::max(of_function[kSuspension], std::max(of_function[0], of_function[1]) - kSuspendedInstead);
      const auto& plain = plain_[r] =
          known.plain[static_cast<std::size_t>(ascending(root, melody[0].pitch_class()))];
      for (std::size_t cls = 0; cls < kQualityClasses; ++cls) {
        if (plain[cls] == Offered::kNone) continue;
        const std::size_t at = r * kOfferedCount + plain[cls];
        if (left_[at] <= kAvoided / 2) continue;
        const float above = (1 - kOwnShare) * of_function[function_of(cls)] + kOwnShare * usual[cls] - mean;
        left_[at] += kFunction * std::clamp(above, 0.0f, kFunctionSpan);
        // A bare triad says less than its seventh.
        const bool triad = row(known.quality[plain[cls]]).tones.size() == 3;
        // At home: apart from the held notes, all its tones lie in the key.
        const PitchClassSet tones = known.in_key[terms.key][at].tones;
        const bool at_home = terms.question.key && (tones - held - scale).empty();
        left_[at] += triad ? kBareTriad : at_home ? kAtHome : 0;
      }
    }
    for (std::size_t row = 0; row <= 12; ++row) refresh(row);
  }
  void lower(std::size_t root, float by) {
    for (std::size_t i = 0; i < kOfferedCount; ++i) left_[root * kOfferedCount + i] -= by;
  }
  void refresh(std::size_t row) {  // a root, or 12 for the slash chords
    const std::size_t from = row * kOfferedCount, end = row < 12 ? from + kOfferedCount : kCandidates;
    float top = kGone;
    std::size_t place = from;
    for (std::size_t at = from; at < end; ++at) {
      const bool higher = left_[at] > top;
      top = higher ? left_[at] : top;
      place = higher ? at : place;
    }
    top_[row] = top, at_[row] = place;
  }

  Candidates& candidates_;
  std::array<float, (kCandidates + kLane - 1) / kLane * kLane> left_;
  std::array<std::array<std::uint8_t, kQualityClasses>, 12> plain_;  // [root]
  std::array<float, 13> top_;
  std::array<std::size_t, 13> at_;
};

}  // namespace

void make_places(Candidates& candidates, const Terms& terms) {
  const Pool pool(candidates);
  Dozen dozen(candidates, terms, pool);
  dozen.by_score();
  dozen.by_variety();
  const auto& chosen = dozen.chosen();
  Rest rest(candidates, terms);
  for (const std::size_t c : chosen) rest.listed(pool.best[c], true);
  for (const std::size_t c : chosen) candidates.score[pool.best[c]] = kGone;
  rest.fill(kMaxAlternatives - chosen.size());
  // Only the order matters without wishes. The steps between the others are made smaller, so that wishes move
  // them; the chosen ones go above them, in their order.
  float place = kGone;
  for (const float score : candidates.score) place = std::max(place, score);
  for (float& score : candidates.score)
    if (score > kAvoided / 2) score = place - kStep * (place - score);
  for (std::size_t i = chosen.size(); i-- > 0;)
    candidates.score[pool.best[chosen[i]]] = place = place + kStepOfPlace;
}

}  // namespace undersong::harmony
