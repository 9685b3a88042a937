#include "daemon/takes/find_chords.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace undersong::takes {
namespace {

// Learnt; see the header. kByChance is what an agreeing chord says more than one found by chance.
constexpr float kByChance = 1.5f;
constexpr float kSameTones = 0.47f, kSameThird = -0.13f, kOpenThird = -0.37f, kOtherThird = -1.02f,
                kSharedTones = -1.95f, kOtherRoot = -2.0f, kToneApart = -0.56f;
constexpr float kUneven = -2.58f, kMerged = -0.13f, kOtherTempo = -2.04f;
constexpr std::size_t kMostMerged = 4;
constexpr float kNearlyAsGood = 1;  // places that are worse by more are not looked for in full
constexpr double kMostUneven = 0.7, kWidestTempo = 1.1;  // as logarithms of proportions

int third_of_tones(harmony::PitchClassSet tones) {
  return tones.contains(PitchClass(4)) ? 1 : tones.contains(PitchClass(3)) ? 2 : 0;
}

constexpr std::size_t kKindsOfChord = 12 * 4096;

float compared(const FindChord& asked, int roots_apart, harmony::PitchClassSet tones) {
  const auto a = asked.tones, b = tones.transposed(roots_apart);
  const int shared = (a & b).size();
  const float apart = kToneApart * static_cast<float>((a | b).size() - shared);
  if (roots_apart != 0)
    return apart + (shared >= std::min({a.size(), b.size(), 3}) ? kSharedTones : kOtherRoot);
  if (a == b) return kSameTones;
  const int x = third_of_tones(a), y = third_of_tones(b);
  return apart + (x == y ? kSameThird : x == 0 || y == 0 ? kOpenThird : kOtherThird);
}

// Logarithms of lengths, which are asked for millions of times.
double log_of(FindTime length) {
  static const std::vector<double> kLogs = [] {
    std::vector<double> out(1 << 13);
    for (std::size_t i = 0; i < out.size(); ++i)
      out[i] = std::log(static_cast<double>(std::max<std::size_t>(1, i)));
    return out;
  }();
  const auto at = static_cast<std::size_t>(std::max(1, length));
  return at < kLogs.size() ? kLogs[at] : std::log(static_cast<double>(length));
}

}  // namespace

ProgressionFinder::ProgressionFinder(std::span<const FindChord> progression) {
  progression = progression.first(std::min(progression.size(), kLongestProgression));
  asked_.assign(progression.begin(), progression.end());
  ways_ = std::min(kMostWays, kMostMerged * asked_.size() + 1);
  agreements_.assign(asked_.size() * kKindsOfChord, std::nanf(""));
}

float ProgressionFinder::agreement(std::size_t asked, const FindChord& heard) {
  const int apart = (heard.root - asked_[asked].root - shift_ + 24) % 12;
  float& known =
      agreements_[asked * kKindsOfChord + static_cast<std::size_t>(apart) * 4096 + heard.tones.bits()];
  if (std::isnan(known)) known = compared(asked_[asked], apart, heard.tones);
  return known;
}

// A quick look: are enough of the roots there, in order, with at most one chord of the take between them?
bool ProgressionFinder::roots_there(std::size_t begin, int shift) {
  ++steps_;
  std::size_t missing = 0, at = begin;
  // No more than make the place too bad to be wanted.
  const float allowed =
      (kByChance + kSameTones) * static_cast<float>(asked_.size()) - (best_ - kNearlyAsGood);
  if (allowed < 0) return false;
  const std::size_t most = std::min<std::size_t>(
      1 + asked_.size() / 6, 1 + static_cast<std::size_t>(allowed / (kSameTones - kSharedTones)));
  for (std::size_t i = 0; i < asked_.size(); ++i) {
    const int root = (asked_[i].root + shift) % 12;
    std::size_t j = at;
    const std::size_t last = std::min(heard_.size(), at + (i == 0 ? 1 : 3));
    while (j < last && heard_[j].root != root) ++j;
    if (j < last)
      at = j + 1;
    else if (++missing > most)
      return false;
    else
      ++at;
  }
  return true;
}

// `log_rate`: the mean of `known` chords so far.
void ProgressionFinder::go(std::size_t i, std::size_t k, float score, double log_rate, int known) {
  ++steps_;
  if (i == asked_.size()) {
    score += kOtherTempo * static_cast<float>(std::abs(log_rate));
    if (!here_ || score > here_->score)
      here_ = ChordFit{score, shift_, std::exp(log_rate), heard_[begin_].at,
                       heard_[k - 1].at + heard_[k - 1].length};
    return;
  }
  // Even if all that is left agreed, it would not be better. And another way that got here was better.
  const float most = score + (kByChance + kSameTones) * static_cast<float>(asked_.size() - i);
  if (most <= best_ - kNearlyAsGood || (here_ && most <= here_->score)) return;
  float& reached = reached_[i * ways_ + (k - begin_)];
  if (score <= reached - 0.3f) return;
  reached = std::max(reached, score);
  FindTime length = 0;
  float weighted = 0;
  const std::size_t last = std::min({heard_.size(), k + kMostMerged, begin_ + ways_ - 1});
  for (std::size_t end = k + 1; end <= last; ++end) {
    const FindChord& joined = heard_[end - 1];
    length += joined.length;
    weighted += agreement(i, joined) * static_cast<float>(joined.length);
    float now = score + kByChance + weighted / static_cast<float>(std::max(1, length)) +
                kMerged * static_cast<float>(end - k - 1);
    const double ratio = log_of(length) - log_of(asked_[i].length);
    double rate = ratio;
    if (known == 0) {
      if (std::abs(ratio) > kWidestTempo) continue;
    } else {
      const double off = std::abs(ratio - log_rate);
      const bool final_chord = i + 1 == asked_.size();  // it may be held as long as one likes
      if (off > kWidestTempo && !final_chord) continue;
      now += kUneven * static_cast<float>(std::min(off, kMostUneven)) * (final_chord ? 0.5f : 1.0f);
      rate = off < 0.4 ? (log_rate * known + ratio) / (known + 1) : log_rate;
    }
    go(i + 1, end, now, rate, known + 1);
  }
}

void ProgressionFinder::from(std::size_t begin, int shift) {
  begin_ = begin;
  shift_ = shift;
  reached_.assign(asked_.size() * ways_, -1e9f);
  go(0, begin, 0, 0, 0);
}

std::vector<ChordFit> ProgressionFinder::find(std::span<const FindChord> chords, float floor) {
  std::vector<ChordFit> out;
  heard_ = chords;
  best_ = floor + kNearlyAsGood;
  if (asked_.size() < 2) return out;
  for (std::size_t k = 0; k + 1 < chords.size(); ++k) {
    int tried = -1;
    here_.reset();
    for (std::size_t i = 0; i < 2; ++i) {  // the key in which the first chord agrees, or the second
      const int shift = (chords[k + i].root - asked_[i].root + 12) % 12;
      if (shift == tried || !roots_there(k, shift)) continue;
      tried = shift;
      from(k, shift);
    }
    if (!here_) continue;
    best_ = std::max(best_, here_->score);
    out.push_back(*here_);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const ChordFit& a, const ChordFit& b) { return a.score > b.score; });
  return out;
}

}  // namespace undersong::takes
