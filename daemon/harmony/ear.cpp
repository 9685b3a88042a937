#include "daemon/harmony/ear.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace undersong::harmony {
namespace {

// The log-probability by which a new name must lead the one in force. Chosen on songs held out of training.
constexpr float kMarginRoot = 0.3F, kMarginClass = 0.4F, kMarginBass = 0.8F, kMarginExtension = 0.8F;

constexpr std::array<std::string_view, 12> kNames = {"C",  "Db", "D",  "Eb", "E",  "F",
                                                     "Gb", "G",  "Ab", "A",  "Bb", "B"};
constexpr std::array<std::string_view, 12> kDegrees = {"1",  "b2", "2",  "b3", "3",  "4",
                                                       "b5", "5",  "b6", "6",  "b7", "7"};

}  // namespace

bool Ear::note_on(Micros t, Pitch p, Velocity v) {
  const bool settled = advance(t);
  const bool opens = features_.note_on(t, p, v);
  if (opens && heard_) key_changed_ |= tonality_.hear(t, net_.scores());
  const bool is_bass = features_.sounding_bass() == p.value() && p.value() < 60;
  tonality_.note_on(t, p, v, is_bass);
  melody_.note_on(t, p, v);
  features_.write(t, x_);
  if (opens) net_.commit();
  net_.update(x_);
  heard_ = true;
  return choose(t) || settled;
}

bool Ear::note_off(Micros t, Pitch p) {
  const bool settled = advance(t);
  features_.note_off(t, p);
  melody_.note_off(t, p);
  return settled;
}

bool Ear::pedal(Micros t, bool down) {
  const bool settled = advance(t);
  features_.pedal(t, down);
  return settled;
}

std::optional<Micros> Ear::next_deadline() const {
  auto due = melody_.next_deadline();
  if (pending_ && (!due || pending_->named_at < *due)) due = pending_->named_at;
  if (const auto ready = ready_at(); ready && (!due || *ready < *due)) due = ready;
  return due;
}

std::optional<Micros> Ear::ready_at() const {
  if (!heard_ || net_.is_committed()) return std::nullopt;
  return features_.cluster_end();
}

bool Ear::settle(Micros t) {
  if (!pending_ || pending_->named_at > t) return false;
  harmony_ = std::exchange(pending_, std::nullopt);
  return true;
}

bool Ear::advance(Micros t) {
  if (const auto ready = ready_at(); ready && *ready <= t) net_.commit();
  while (const auto note = melody_.decide(t, features_)) {
    if (note->is_melody) tonality_.sing(note->onset, note->pitch);
    if (queue_size_ == kQueue) queue_first_ = (queue_first_ + 1) % kQueue, --queue_size_;
    queue_[(queue_first_ + queue_size_++) % kQueue] = *note;
  }
  return settle(t);
}

std::optional<EarMelodyNote> Ear::take_melody() {
  if (queue_size_ == 0) return std::nullopt;
  const EarMelodyNote note = queue_[queue_first_];
  queue_first_ = (queue_first_ + 1) % kQueue;
  --queue_size_;
  return note;
}

EarChord Ear::describe(int root, int cls, std::uint8_t had) const {
  std::array<float, 12> bass;
  std::array<float, kEarExtensions> extensions;
  net_.details(root, bass, extensions);
  EarChord chord{PitchClass(root), cls, 0, PitchClass(root)};
  int at = static_cast<int>(std::max_element(bass.begin(), bass.end()) - bass.begin());
  if (harmony_ && harmony_->chord.root == chord.root && harmony_->chord.cls == cls) {
    const int now = ascending(chord.root, harmony_->chord.bass);
    if (bass[static_cast<std::size_t>(at)] - bass[static_cast<std::size_t>(now)] < kMarginBass) at = now;
  }
  chord.bass = transpose(chord.root, at);
  for (std::size_t i = 0; i < extensions.size(); ++i)
    if (extensions[i] > ((had >> i & 1U) != 0 ? -kMarginExtension : kMarginExtension))
      chord.extensions = static_cast<std::uint8_t>(chord.extensions | 1U << i);
  return chord;
}

std::array<EarReading, Ear::kReadings> Ear::readings() const {
  const auto& scores = net_.scores();
  std::array<int, kReadings> top{};
  top.fill(-1);
  for (int k = 0; k < 12 * kEarClasses; ++k) {
    int rank = static_cast<int>(kReadings);
    while (rank > 0 && (top[static_cast<std::size_t>(rank - 1)] < 0 ||
                        scores[static_cast<std::size_t>(k)] >
                            scores[static_cast<std::size_t>(top[static_cast<std::size_t>(rank - 1)])]))
      --rank;
    for (int j = static_cast<int>(kReadings) - 1; j > rank; --j)
      top[static_cast<std::size_t>(j)] = top[static_cast<std::size_t>(j - 1)];
    if (rank < static_cast<int>(kReadings)) top[static_cast<std::size_t>(rank)] = k;
  }
  std::array<EarReading, kReadings> out;
  for (std::size_t i = 0; i < kReadings; ++i) {
    const int k = top[i], root = k / kEarClasses, cls = k % kEarClasses;
    const bool now = harmony_ && harmony_->chord.root.value() == root && harmony_->chord.cls == cls;
    out[i] = {now ? harmony_->chord : describe(root, cls, 0), std::exp(scores[static_cast<std::size_t>(k)])};
  }
  return out;
}

bool Ear::choose(Micros t) {
  const auto& scores = net_.scores();
  int best = static_cast<int>(std::max_element(scores.begin(), scores.end()) - scores.begin());
  std::uint8_t had = 0;
  if (harmony_) {
    const int now = harmony_->chord.root.value() * kEarClasses + harmony_->chord.cls;
    const float margin = now / kEarClasses == best / kEarClasses ? kMarginClass : kMarginRoot;
    if (scores[static_cast<std::size_t>(best)] - scores[static_cast<std::size_t>(now)] < margin) best = now;
    if (best == now) had = harmony_->chord.extensions;
  }
  const EarChord chord = describe(best / kEarClasses, best % kEarClasses, had);
  const float confidence = std::exp(scores[static_cast<std::size_t>(best)]);
  pending_.reset();
  if (harmony_ && harmony_->chord == chord) {
    harmony_->confidence = confidence;
    return false;
  }
  const EarHarmony next{chord, confidence, features_.cluster_start(), t};
  if (confidence < kSure) {
    pending_ = next;
    pending_->named_at = t + kSettle;
    return false;
  }
  harmony_ = next;
  return true;
}

std::string harte_text(const EarChord& chord) {
  std::string out(kNames[static_cast<std::size_t>(chord.root.value())]);
  out += ':';
  out += kEarClassText[static_cast<std::size_t>(chord.cls)];
  std::string inner;
  for (std::size_t i = 0; i < kEarExtensionText.size(); ++i)
    if ((chord.extensions >> i & 1U) != 0)
      inner += (inner.empty() ? "" : ",") + std::string(kEarExtensionText[i]);
  if (!inner.empty()) {
    if (out.back() == ')')
      out.back() = ',';
    else
      out += '(';
    out += inner + ')';
  }
  if (chord.bass != chord.root)
    out += "/" + std::string(kDegrees[static_cast<std::size_t>(ascending(chord.root, chord.bass))]);
  return out;
}

}  // namespace undersong::harmony
