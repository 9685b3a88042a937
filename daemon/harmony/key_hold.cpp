#include "daemon/harmony/key_hold.h"

#include <algorithm>
#include <bit>

#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// Chosen on songs held out of training, on playing that tries twelve roots under a held note, and on loops
// that move to another key.
constexpr float kMargin = 0.7F;     // log-probability by which a new key must lead
constexpr float kNewer = 0.9F;      // weight of each harmony relative to the next newer one
constexpr float kInAKey = 0.85F;    // share of tones in the best key below which no key is being played
constexpr std::size_t kFewest = 3;  // harmonies needed before kInAKey is applied
constexpr float kBrief = 0.12F;     // seconds below which a chord name was only on the way to the next
constexpr std::size_t kPlain = 5;   // harmonies that together can make a new key certain
constexpr int kPlainRoots = 4;
constexpr float kWhole = 0.98F, kNoLonger = 0.92F, kAhead = 0.1F;

// The share of a chord's tones that lie in a scale: [major or minor key][kind][root above the tonic].
constexpr auto kInside = [] {
  constexpr unsigned kTones[kKeyChordKinds] = {0b10010001, 0b10001001, 0b10010010001, 0b1001001};
  std::array<std::array<std::array<float, 12>, kKeyChordKinds>, 2> out{};
  for (std::size_t mode = 0; mode < 2; ++mode)
    for (std::size_t kind = 0; kind < kKeyChordKinds; ++kind)
      for (unsigned root = 0; root < 12; ++root) {
        const unsigned tones = (kTones[kind] << root | kTones[kind] << root >> 12) & 0xFFFU;
        const unsigned inside = tones & (mode == 0 ? kMajorScale : kMinorScale);
        out[mode][kind][root] =
            static_cast<float>(std::popcount(inside)) / static_cast<float>(std::popcount(tones));
      }
  return out;
}();

}  // namespace

void KeyHold::end_harmony() {
  if (root_ < 0 || lasted_ < kBrief) return;
  Harmony made{root_, {}};
  float all = 0;
  for (const auto& roots : now_)
    for (const float p : roots) all += p;
  if (all <= 0) return;
  for (std::size_t key = 0; key < 24; ++key)
    for (std::size_t kind = 0; kind < kKeyChordKinds; ++kind)
      for (std::size_t root = 0; root < 12; ++root)
        made.inside[key] += now_[kind][root] / all * kInside[key / 12][kind][(root + 12 - key % 12) % 12];
  // The same root again counts as one harmony.
  if (!recent_.empty() && recent_[0].root == root_) recent_.erase(0);
  if (recent_.full()) recent_.pop_back();
  recent_.insert(0, made);
  inside_.fill(0);
  float counts = 1, total = 0;
  for (const Harmony& harmony : recent_) {
    for (std::size_t key = 0; key < 24; ++key) inside_[key] += counts * harmony.inside[key];
    total += counts;
    counts *= kNewer;
  }
  for (float& share : inside_) share /= total;
}

int KeyHold::plainly_new(const std::array<float, 24>& belief) const {
  if (recent_.size() < kPlain || inside_[static_cast<std::size_t>(key_)] >= kNoLonger) return -1;
  unsigned roots = 0;
  Shares inside{};
  for (std::size_t i = 0; i < kPlain; ++i) {
    roots |= 1U << recent_[i].root;
    for (std::size_t key = 0; key < 24; ++key)
      inside[key] += recent_[i].inside[key] / static_cast<float>(kPlain);
  }
  if (std::popcount(roots) < kPlainRoots) return -1;
  int best = -1;
  for (std::size_t key = 0; key < 24; ++key)
    if (inside[key] >= kWhole && inside[key] > inside[static_cast<std::size_t>(key_)] + kAhead &&
        (best < 0 || belief[key] > belief[static_cast<std::size_t>(best)]))
      best = static_cast<int>(key);
  return best;
}

bool KeyHold::judge(const KeyChords& heard, float seconds, const std::array<float, 24>& belief) {
  std::array<float, 12> roots{};
  for (const auto& kind : heard)
    for (std::size_t root = 0; root < 12; ++root) roots[root] += kind[root];
  const int root = static_cast<int>(std::max_element(roots.begin(), roots.end()) - roots.begin());
  if (root != root_) {
    end_harmony();
    now_ = {};
    lasted_ = 0;
    root_ = root;
  }
  for (std::size_t kind = 0; kind < kKeyChordKinds; ++kind)
    for (std::size_t r = 0; r < 12; ++r) now_[kind][r] += heard[kind][r] * seconds;
  lasted_ += seconds;

  int best = static_cast<int>(std::max_element(belief.begin(), belief.end()) - belief.begin());
  if (key_ < 0) {
    key_ = best;
    return true;
  }
  if (const int plain = plainly_new(belief); plain >= 0 && plain != key_) {
    key_ = plain;
    return true;
  }
  if (best == key_ ||
      belief[static_cast<std::size_t>(best)] - belief[static_cast<std::size_t>(key_)] < kMargin)
    return false;
  if (recent_.size() >= kFewest && *std::max_element(inside_.begin(), inside_.end()) < kInAKey) return false;
  key_ = best;
  return true;
}

}  // namespace undersong::harmony
