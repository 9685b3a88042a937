#include "daemon/harmony/places.h"

#include <algorithm>
#include <bit>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// The first dozen.
constexpr std::size_t kByScore = 3, kDozen = 12;
constexpr int kMostOnRoot = 2, kMostDoubled = 2;  // chords on one root, roots with two chords
// Slash chords: how many at most, the place by which there must be one, and how many are considered.
constexpr std::size_t kMostSlash = 1, kSlashBy = 12, kSlashInPool = kMostSlashChords;
constexpr float kNewRoot = 4, kNewCell = 8, kNewBass = 2, kNewRootOfSlash = 7;
constexpr float kNewRootAgain = 10, kNewCellAgain = 12;  // when a place is filled anew
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

// The best of each root and class, and after them the best slash chords, padded to whole SIMD lanes.
constexpr std::size_t kPool = (kTableChords + kSlashInPool + kLane - 1) / kLane * kLane;

struct Pool {
  std::array<std::uint16_t, kPool> best;  // index of the candidate
  std::array<float, kPool> score;
  std::array<std::uint8_t, kPool> root{}, cls{};

  explicit Pool(const Candidates& candidates) {
    const Offered& known = offered();
    for (std::size_t r = 0, c = 0; r < 12; ++r) {
      std::array<float, kQualityClasses> most;
      std::array<std::uint16_t, kQualityClasses> at{};
      most.fill(kGone);
      for (std::size_t q = 0; q < kOfferedCount; ++q) {
        const std::size_t in = known.cls[q], i = r * kPadded + q;
        const bool higher = candidates.score[i] > most[in];  // unpredictable, so selected without a branch
        most[in] = higher ? candidates.score[i] : most[in];
        at[in] = static_cast<std::uint16_t>(higher ? i : at[in]);
      }
      for (std::size_t q = 0; q < kQualityClasses; ++q, ++c) {
        score[c] = most[q];
        best[c] = at[q];
        root[c] = static_cast<std::uint8_t>(r);
        cls[c] = static_cast<std::uint8_t>(q);
      }
    }
    for (std::size_t c = kTableChords; c < kPool; ++c) {
      const std::size_t i = c - kTableChords;
      score[c] = kGone;
      if (i >= std::min(candidates.slash.size(), kSlashInPool)) continue;
      best[c] = static_cast<std::uint16_t>(kOverRoot + i);
      score[c] = candidates.score[kOverRoot + i];
      root[c] = static_cast<std::uint8_t>(candidates.slash[i].chord.root.value());
      cls[c] = candidates.slash[i].cls;
    }
  }
};

constexpr auto kDiminishedClass = static_cast<std::uint8_t>(QualityClass::kDiminished);

// The first dozen.
class Dozen {
 public:
  Dozen(const Candidates& candidates, const Terms& terms, const Pool& pool) : pool_(pool) {
    const Question& question = terms.question;
    const auto held = static_cast<std::size_t>(question.melody[0].pitch_class().value());
    cell_ = &offered().cell[terms.key][held];
    fits_.fill(kGone), new_root_.fill(kNewRoot), new_cell_.fill(kNewCell);
    for (std::size_t r = 0, c = 0; r < 12; ++r) {
      const auto above = [&](Pitch note) {
        return ascending(PitchClass(static_cast<int>(r)), note.pitch_class());
      };
      const int newest = above(question.melody[0]), older = above(question.melody.back());
      for (std::size_t q = 0; q < kQualityClasses; ++q, ++c) {
        const bool rests = kRests[q] >> newest & kRests[q] >> older & 1u;
        fits_[c] = pool.score[c] <= kClashes ? kGone : pool.score[c] + (rests ? 0 : kRestless);
      }
    }
    for (std::size_t i = 0; i < kSlashInPool && i < candidates.slash.size(); ++i)
      if (candidates.slash[i].rests) fits_[kTableChords + i] = pool.score[kTableChords + i] + kNewBass;
    if (question.previous && quality_class(question.previous->quality) != QualityClass::kNone)
      fits_[static_cast<std::size_t>(question.previous->root.value()) * kQualityClasses +
            static_cast<std::size_t>(quality_class(question.previous->quality))] = kGone;
    at_first_ = fits_;
    std::fill(new_root_.begin() + kTableChords, new_root_.end(), kNewRootOfSlash);
  }

  UNDERSONG_WIDE void by_score() {
    std::array<float, kPool> left = pool_.score;
    for (std::size_t c = kTableChords; c < kPool; ++c) left[c] = kGone;
    while (chosen_.size() < kByScore) {
      const std::size_t first = greatest(left);
      if (left[first] <= kClashes) break;
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

  // What came last may have taken the root or the colour of an earlier one: that place is filled anew.
  UNDERSONG_WIDE void refine() {
    for (std::size_t i = kByScore; i < chosen_.size(); ++i)
      if (chosen_[i] < kTableChords) fill_anew(i);
  }

  const FixedVector<std::uint16_t, kDozen>& chosen() const { return chosen_; }

 private:
  std::size_t label(std::size_t c) const { return pool_.root[c] * kQualityClasses + pool_.cls[c]; }

  [[gnu::always_inline]] void fill_anew(std::size_t place) {
    std::array<int, 12> on_root{};
    std::array<int, 9> in_cell{};
    int doubled = 0;
    for (std::size_t i = 0; i < chosen_.size(); ++i) {
      if (i == place) continue;
      doubled += ++on_root[pool_.root[chosen_[i]]] == kMostOnRoot;
      ++in_cell[(*cell_)[label(chosen_[i])]];
    }
    const std::size_t mine = chosen_[place];
    if (on_root[pool_.root[mine]] == 0 && in_cell[(*cell_)[mine]] == 0) return;
    std::array<float, 9> of_cell;
    for (std::size_t i = 0; i < 9; ++i) of_cell[i] = in_cell[i] == 0 ? kNewCellAgain : 0;
    std::array<float, kPool> value;
    for (std::size_t c = kTableChords; c < kPool; ++c) value[c] = kGone;
    for (std::size_t r = 0, c = 0; r < 12; ++r) {
      const float of_root = on_root[r] == 0                                        ? kNewRootAgain
                            : on_root[r] >= kMostOnRoot || doubled >= kMostDoubled ? kGone
                                                                                   : 0;
      for (std::size_t q = 0; q < kQualityClasses; ++q, ++c)
        value[c] = at_first_[c] + of_root + of_cell[(*cell_)[c]];
    }
    for (std::size_t i = 0; i < chosen_.size(); ++i) {
      if (i == place) continue;
      value[label(chosen_[i])] = kGone;
      if (pool_.cls[chosen_[i]] != kDiminishedClass) continue;
      for (const std::size_t step : {3u, 6u, 9u})
        value[(pool_.root[chosen_[i]] + step) % 12 * kQualityClasses + kDiminishedClass] = kGone;
    }
    if (const std::size_t best = greatest(value); value[best] > value[mine])
      chosen_[place] = static_cast<std::uint16_t>(best);
  }

  void gone(std::size_t root) {
    std::fill_n(&fits_[root * kQualityClasses], kQualityClasses, kGone);
    for (std::size_t c = kTableChords; c < kPool; ++c)
      if (pool_.root[c] == root) fits_[c] = kGone;
  }
  void take(std::size_t c) {
    chosen_.push_back(static_cast<std::uint16_t>(c));
    const std::size_t root = pool_.root[c], label = this->label(c);
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
    if (pool_.cls[c] == kDiminishedClass)  // the same keys on another root
      for (const std::size_t step : {3u, 6u, 9u})
        fits_[(root + step) % 12 * kQualityClasses + kDiminishedClass] = kGone;
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
  std::array<float, kPool> fits_, new_root_, new_cell_, at_first_;
  std::array<int, 12> on_root_{};
  int doubled_ = 0;
  std::size_t slash_ = 0;
};

// The usual chords of this place, each in its plain form under the held notes, rise.
void add_functions(const Terms& terms, Scores& score) {
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
    // A suspension can replace its plain chord anywhere; the songs that the table was learnt from hardly have
    // any.
    of_function[kSuspension] =
        std::max(of_function[kSuspension], std::max(of_function[0], of_function[1]) - kSuspendedInstead);
    const auto& plain = known.plain[static_cast<std::size_t>(ascending(root, melody[0].pitch_class()))];
    for (std::size_t cls = 0; cls < kQualityClasses; ++cls) {
      if (plain[cls] == Offered::kNone) continue;
      const std::size_t at = r * kPadded + plain[cls];
      if (score[at] <= kClashes) continue;
      const float above = (1 - kOwnShare) * of_function[function_of(cls)] + kOwnShare * usual[cls] - mean;
      score[at] += kFunction * std::clamp(above, 0.0f, kFunctionSpan);
      // At home: apart from the held notes, all its tones lie in the key.
      const PitchClassSet tones = known.in_key[terms.key][at].tones;
      const bool at_home = terms.question.key && (tones - held - scale).empty();
      score[at] += tones.size() == 3 ? kBareTriad : at_home ? kAtHome : 0;
    }
  }
}

// The places after the dozen. Each chord that is listed lowers others like it.
class Rest {
 public:
  Rest(const Candidates& candidates, const Terms& terms, const Scores& scores)
      : slash_(candidates.slash), newest_(terms.question.melody[0].pitch_class()), tops_(scores) {}

  // `at` stands in the list already.
  UNDERSONG_WIDE void listed(std::size_t at, bool in_dozen) {
    const Offered& known = offered();
    const std::size_t q = at % kPadded;
    float* mine = tops_.row(at / kPadded);
    mine[q] = kGone;
    if (at >= kOverRoot) {
      for (std::size_t s = 0; s < kSlashPadded; ++s) mine[s] -= kAfterSlash;
      tops_.refresh(12);
      const auto root = static_cast<std::size_t>(slash_[q].chord.root.value());
      float* others = tops_.row(root);
      for (std::size_t i = 0; i < kPadded; i += kLane) store(others + i, load(others + i) - kOnSameRoot);
      tops_.refresh(root);
      return;
    }
    const std::size_t root = at / kPadded;
    const auto& kin = known.of_family[known.family[q]];
    for (std::size_t i = 0; i < kPadded; i += kLane)
      store(mine + i, load(mine + i) - kOnSameRoot - kInSameFamily * load(&kin[i]));
    const std::size_t plain =
        known.plain[static_cast<std::size_t>(ascending(PitchClass(static_cast<int>(root)), newest_))]
                   [known.cls[q]];
    if (in_dozen && plain != q && plain != Offered::kNone) mine[plain] += kPlainSibling;
    tops_.refresh(root);
    for (unsigned steps = known.same_keys[q]; steps; steps &= steps - 1) {
      const std::size_t other = (root + static_cast<std::size_t>(std::countr_zero(steps))) % 12;
      tops_.row(other)[q] -= kSameKeys;
      tops_.refresh(other);
    }
  }

  // Writes the scores of the next places, and of what is left.
  void fill(std::size_t places, Candidates& candidates) {
    auto& next = candidates.order;
    const std::size_t dozen = next.size();
    std::array<float, kMaxAlternatives> value;
    for (; places > 0; --places) {
      const std::size_t at = tops_.best();
      if (tops_.score(at) <= kClashes) break;
      value[next.size()] = tops_.score(at);
      next.push_back(static_cast<std::uint16_t>(at));
      listed(at, false);
    }
    candidates.score = tops_.left();
    for (std::size_t i = dozen; i < next.size(); ++i) candidates.score[next[i]] = value[i];
  }

 private:
  const SlashChords& slash_;
  PitchClass newest_;
  Tops tops_;
};

}  // namespace

Tops::Tops(const Scores& scores) : left_(scores) {
  top_.fill(kGone);
  for (std::size_t row = 0; row < kRows; ++row) refresh(row);
}

UNDERSONG_WIDE std::size_t Tops::best() const {
  return at_[greatest(top_)];
}

UNDERSONG_WIDE void Tops::refresh(std::size_t row) {
  const std::size_t from = row * kPadded;
  const std::size_t at =
      from + (row < 12 ? greatest<kPadded>(&left_[from]) : greatest<kSlashPadded>(&left_[from]));
  at_[row] = static_cast<std::uint16_t>(at);
  top_[row] = left_[at];
}

UNDERSONG_WIDE void make_places(Candidates& candidates, const Terms& terms) {
  const float highest = candidates.score[greatest(candidates.score)];
  const Pool pool(candidates);
  Dozen dozen(candidates, terms, pool);
  dozen.by_score();
  dozen.by_variety();
  dozen.refine();
  const auto& chosen = dozen.chosen();
  Scores with_functions = candidates.score;
  add_functions(terms, with_functions);
  Rest rest(candidates, terms, with_functions);
  for (const std::size_t c : chosen) rest.listed(pool.best[c], true);
  candidates.order.clear();
  for (const std::size_t c : chosen) candidates.order.push_back(pool.best[c]);
  rest.fill(kMaxAlternatives - chosen.size(), candidates);
  // Only the order matters without wishes. The scores end where they ended before, and the steps between them
  // are made smaller, so that wishes move them; the chosen ones go above them, in their order.
  const float top = candidates.score[greatest(candidates.score)];
  float place = highest;
  for (float& score : candidates.score) score = score > kClashes ? highest - kStep * (top - score) : score;
  for (std::size_t i = chosen.size(); i-- > 0;)
    candidates.score[pool.best[chosen[i]]] = place = place + kStepOfPlace;
}

}  // namespace undersong::harmony
