#include "daemon/harmony/voicing.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

constexpr int kLowestBass = 28, kHighestBass = 55, kLowestInner = 45;
constexpr std::size_t kMaxInner = 4;
using Notes = FixedVector<int, 2 * kNotesInHand>;  // lowest first

// What the fingers can't or shouldn't do between two neighbouring notes.
int neighbour_price(int lower, int upper, bool upper_is_top) {
  const int gap = upper - lower;
  if (gap <= 12 && lower < kLowIntervals[static_cast<std::size_t>(gap)])
    return 8 + 2 * (kLowIntervals[static_cast<std::size_t>(gap)] - lower);
  int price = 0;
  if (gap == 1) price += upper_is_top ? 14 : 5;  // a semitone under the melody hides it
  if (gap == 2 && upper_is_top) price += 2;
  return price;
}

// The place between left and right hand: the widest gap that leaves both hands playable. 0 if there is none.
std::size_t split(const Notes& notes) {
  std::size_t best = 0;
  int widest = -1;
  for (std::size_t s = 1; s < notes.size(); ++s) {
    if (s > kNotesInHand || notes.size() - s > kNotesInHand) continue;
    if (notes[s - 1] - notes[0] > kHandSpan || notes.back() - notes[s] > kHandSpan) continue;
    const int gap = notes[s] - notes[s - 1];
    if (gap > widest) widest = gap, best = s;
  }
  return best;
}

class Search {
 public:
  Search(std::span<const int> tones, const Notes& melody, const Hands& hands)
      : tones_(tones), melody_(melody), hands_(hands) {}

  void with_bass(int bass) {
    bass_ = bass;
    notes_ = {};
    notes_.push_back(bass);
    for (int note : melody_) notes_.push_back(note);
    // Each tone costs at least its cheapest key: the bound that prunes.
    const int base = note_price(bass) + 2 * std::max(0, bass - 50);
    std::array<int, kMaxInner + 1> least{};
    for (std::size_t i = tones_.size(); i-- > 0;) {
      int cheapest = kImpossible;
      for_each_key(tones_[i], [&](int key) { cheapest = std::min(cheapest, note_price(key)); });
      if (cheapest == kImpossible) return;
      least[i] = least[i + 1] + cheapest;
    }
    least_ = least;
    place(0, base);
  }

  bool found() const { return best_price_ < kImpossible; }
  const Notes& best() const { return best_; }
  int price() const { return best_price_; }

 private:
  static constexpr int kImpossible = std::numeric_limits<int>::max() / 2;

  int note_price(int key) const { return 2 * hands_.way(key) + std::abs(key - 58) / 6; }

  template <class Each>
  void for_each_key(int pitch_class, Each each) const {
    const int top = melody_[melody_.size() - 1];
    const int from = std::max(kLowestInner, bass_ + 1);
    for (int key = from + (((pitch_class - from) % 12) + 12) % 12; key < top; key += 12)
      if (key <= bass_ + kHandSpan || key >= top - kHandSpan) each(key);
  }

  void place(std::size_t i, int price) {
    if (price + least_[i] >= best_price_) return;
    if (i == tones_.size()) return finish(price);
    for_each_key(tones_[i], [&](int key) {
      std::size_t at = 0;
      while (at < notes_.size() && notes_[at] < key) ++at;
      if (at < notes_.size() && notes_[at] == key) return;
      notes_.insert(at, key);
      place(i + 1, price + note_price(key));
      notes_.erase(at);
    });
  }

  void finish(int price) {
    for (std::size_t i = 1; i < notes_.size(); ++i)
      price += neighbour_price(notes_[i - 1], notes_[i], i + 1 == notes_.size());
    if (price >= best_price_) return;
    const std::size_t s = split(notes_);
    if (s == 0) return;
    // A hole of more than an octave between the hands sounds hollow, but a high melody can force it.
    price += std::max(0, notes_[s] - notes_[s - 1] - 12) / 2;
    if (price >= best_price_) return;
    best_price_ = price;
    best_ = notes_;
  }

  std::span<const int> tones_;
  const Notes& melody_;
  const Hands& hands_;
  int bass_ = 0;
  Notes notes_;
  std::array<int, kMaxInner + 1> least_{};
  Notes best_;
  int best_price_ = kImpossible;
};

// Pitch classes to be placed between bass and melody, the telling ones first.
FixedVector<int, kMaxInner> inner_tones(const Chord& chord, PitchClassSet present) {
  const QualityRow& made = row(chord.quality);
  FixedVector<int, kMaxInner> out;
  const auto take = [&](int interval) {
    const PitchClass tone = transpose(chord.root, interval);
    if (present.contains(tone)) return;
    present.insert(tone);
    out.push_back(tone.value());
  };
  for (Degree degree : made.degrees)
    if (made.essential.contains(PitchClass(semitones(degree))) && degree.number != 1) take(pitch_class_offset(degree));
  // One or two of the tones that may be left out, so that the chord is neither bare nor crowded.
  for (std::size_t i = made.degrees.size(); i-- > 1 && out.size() < 2;) take(pitch_class_offset(made.degrees[i]));
  if (chord.bass != chord.root && out.size() < kMaxInner) take(0);
  if (out.size() < 2) take(0);
  return out;
}

}  // namespace

Hands::Hands() {
  constexpr std::array<Pitch, 4> kRest{Pitch(43), Pitch(55), Pitch(60), Pitch(67)};
  *this = Hands(kRest);
}

Hands::Hands(std::span<const Pitch> held) {
  if (held.empty()) {
    *this = Hands();
    return;
  }
  for (int key = 0; key < 128; ++key) {
    int nearest = 127;
    for (Pitch note : held) nearest = std::min(nearest, std::abs(note.value() - key));
    way_[static_cast<std::size_t>(key)] = static_cast<std::uint8_t>(nearest);
  }
}

Voicing voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands) {
  int top = 0;
  for (Pitch note : melody) top = std::max(top, note.value());
  Notes kept;
  PitchClassSet present;
  for (Pitch note : melody) {
    if (top - note.value() > kHandSpan || kept.size() == kNotesInHand) continue;
    std::size_t at = 0;
    while (at < kept.size() && kept[at] < note.value()) ++at;
    if (at < kept.size() && kept[at] == note.value()) continue;
    kept.insert(at, note.value());
    present.insert(note.pitch_class());
  }
  present.insert(chord.bass);
  auto tones = inner_tones(chord, present);

  Notes notes = kept;
  for (;;) {  // each round without a playable layout gives up the least telling tone
    Search search({tones.begin(), tones.size()}, kept, hands);
    for (int bass = kLowestBass + ascending(PitchClass(kLowestBass), chord.bass);
         bass <= kHighestBass && bass < kept[0]; bass += 12)
      search.with_bass(bass);
    if (search.found()) {
      notes = search.best();
      break;
    }
    if (tones.empty()) break;
    tones.pop_back();
  }

  Voicing out;
  const std::size_t s = split(notes);
  int move = 0;
  for (std::size_t i = 0; i < notes.size(); ++i) {
    (i < s ? out.left : out.right).push_back(Pitch(notes[i]));
    move += hands.way(notes[i]);
  }
  out.hands_move = static_cast<std::uint8_t>(std::min(move, 255));
  return out;
}

}  // namespace undersong::harmony
