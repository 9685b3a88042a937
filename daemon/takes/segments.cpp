// Over 400 lines: frames, course of chords and what becomes of it share one model of what sounds.
#include "daemon/takes/segments.h"

#include <algorithm>
#include <cmath>
#include <unordered_map>

namespace undersong::takes {
namespace {

constexpr float kBass = .6f;               // weight of the bass against all tones
constexpr float kStruck = .15f;            // seconds that a note counts for being struck, however short
constexpr float kMelody = .35f;            // weight of a melody note
constexpr Micros kEarlyInSegment{60'000};  // a note this little before a chord belongs to it
constexpr int kLowest = 60;                // a bass lies below middle C
constexpr int kTenor = 50;                 // from here on the lowest note is often no bass
constexpr float kHighBass = .5f;
constexpr int kBroken = 69;         // notes below may belong to a broken chord
constexpr double kCompletes = .66;  // how much the tones of a triad and of the one on its third agree

void add_note(Profile& to, const PlayedNote& note, Micros begin, Micros end, float weight) {
  const Micros from = std::max(begin, note.at), until = std::min(end, note.at + note.length);
  if (until <= from) return;
  const bool struck = note.at >= begin - kEarlyInSegment;
  const float length = std::min(1.5f, static_cast<float>(seconds(until - from))) + (struck ? kStruck : 0.f);
  to.tones[static_cast<std::size_t>(note.pitch.pitch_class().value())] += weight * length;
}

// Notes that last longer than this are looked for from their beginning only that far back.
constexpr Micros kLongestSegment{12'000'000};

}  // namespace

Profile profile_of(const harmony::Chord& chord) {
  Profile out;
  for (int t = 0; t < 12; ++t)
    if (harmony::row(chord.quality).tones.contains(PitchClass(t)))
      out.tones[static_cast<std::size_t>((chord.root.value() + t) % 12)] = 1;
  out.bass[static_cast<std::size_t>(chord.bass.value())] = 1;
  out.normalise();
  return out;
}

Profile& Profile::operator+=(const Profile& other) {
  for (std::size_t i = 0; i < 12; ++i) tones[i] += other.tones[i], bass[i] += other.bass[i];
  return *this;
}

void Profile::normalise() {
  float all = 0, low = 0;
  for (std::size_t i = 0; i < 12; ++i) all += tones[i] * tones[i], low += bass[i] * bass[i];
  all = std::sqrt(all), low = std::sqrt(low);
  for (std::size_t i = 0; i < 12; ++i) {
    if (all > 0) tones[i] /= all;
    if (low > 0) bass[i] *= kBass / low;
  }
  const float both = std::sqrt((all > 0 ? 1.f : 0.f) + (low > 0 ? kBass * kBass : 0.f));
  if (both > 0)
    for (std::size_t i = 0; i < 12; ++i) tones[i] /= both, bass[i] /= both;
}

double likeness(const Profile& a, const Profile& b, int up) {
  float tones = 0, bass = 0, low_a = 0, low_b = 0;
  for (std::size_t i = 0; i < 12; ++i) {
    const std::size_t k = (i + static_cast<std::size_t>(12 - up)) % 12;
    tones += a.tones[i] * b.tones[k];
    bass += a.bass[i] * b.bass[k];
    low_a += a.bass[i] * a.bass[i];
    low_b += b.bass[k] * b.bass[k];
  }
  // Where one of them has no bass, the tones decide.
  if (low_a > 0 && low_b > 0) return static_cast<double>(tones + bass);
  const float scale = std::sqrt((1 - low_a) * (1 - low_b));
  return scale > 0 ? static_cast<double>(tones / scale) : 0;
}

Profile profile_between(const HeardTake& take, Micros begin, Micros end) {
  Profile out;
  const auto before = [](const auto& n, Micros t) { return n.at < t; };
  auto sung = std::lower_bound(take.melody.begin(), take.melody.end(), begin - kLongestSegment, before);
  const auto is_sung = [&](const PlayedNote& note) {
    while (sung != take.melody.end() && sung->at < note.at) ++sung;
    for (auto it = sung; it != take.melody.end() && it->at == note.at; ++it)
      if (it->pitch == note.pitch) return true;
    return false;
  };
  auto it = std::lower_bound(take.notes.begin(), take.notes.end(), begin - kLongestSegment, before);
  for (; it != take.notes.end() && it->at < end - kEarlyInSegment; ++it)
    if (it->at + it->length > begin) add_note(out, *it, begin, end, is_sung(*it) ? kMelody : 1.f);
  for (float& tone : out.tones) tone = std::sqrt(tone);
  auto low = std::lower_bound(take.bass.begin(), take.bass.end(), begin - kEarlyInSegment, before);
  for (; low != take.bass.end() && low->at < end - kEarlyInSegment; ++low) {
    if (low->pitch.value() >= kLowest) continue;
    const auto next = low + 1;
    const Micros until = next != take.bass.end() ? std::min(next->at, end) : end;
    out.bass[static_cast<std::size_t>(low->pitch.pitch_class().value())] +=
        static_cast<float>(seconds(until - std::max(begin, low->at)));
  }
  out.normalise();
  return out;
}

namespace {

// Stretches with a pulse.
std::vector<std::pair<Micros, Micros>> pulsed(const Beats& beats) {
  std::vector<std::pair<Micros, Micros>> runs;
  for (std::size_t i = 0; i < beats.beats.size(); ++i) {
    if (i == 0 || beats.beats[i].begins) runs.emplace_back(beats.beats[i].at, beats.beats[i].at);
    runs.back().second = beats.beats[i].at;
  }
  return runs;
}

bool struck_in_bass(const HeardTake& take, Micros begin, Micros end, int root) {
  auto low = std::lower_bound(take.bass.begin(), take.bass.end(), begin - kEarlyInSegment,
                              [](const HeardNote& n, Micros t) { return n.at < t; });
  for (; low != take.bass.end() && low->at < end - kEarlyInSegment; ++low)
    if (low->pitch.value() < kTenor && low->pitch.pitch_class().value() == root) return true;
  return false;
}

}  // namespace

void join(Segment& to, const Segment& next) {
  Profile both;
  for (std::size_t i = 0; i < 12; ++i) {
    const auto a = static_cast<float>(to.length()), b = static_cast<float>(next.length());
    both.tones[i] = a * to.profile.tones[i] + b * next.profile.tones[i];
    both.bass[i] = a * to.profile.bass[i] + b * next.profile.bass[i];
  }
  both.normalise();
  to.profile = both;
  to.last = next.last;
  to.end = next.end;
}

namespace {

// ---- hearing the whole take again, where it is known what follows

// Kinds of chords that are told apart here, as tones above the root.
struct Kind {
  harmony::Family family;
  int tones;  // bit set
};
constexpr int tones(std::initializer_list<int> list) {
  int out = 0;
  for (const int tone : list) out |= 1 << tone;
  return out;
}
using harmony::Family;
constexpr std::array<Kind, 12> kKinds{{{Family::kMajor, tones({0, 4, 7})},
                                       {Family::kMinor, tones({0, 3, 7})},
                                       {Family::kDominant, tones({0, 4, 7, 10})},
                                       {Family::kMajor, tones({0, 4, 7, 11})},
                                       {Family::kMinor, tones({0, 3, 7, 10})},
                                       {Family::kMinor, tones({0, 3, 7, 11})},
                                       {Family::kHalfDiminished, tones({0, 3, 6, 10})},
                                       {Family::kDiminished, tones({0, 3, 6, 9})},
                                       {Family::kDiminished, tones({0, 3, 6})},
                                       {Family::kAugmented, tones({0, 4, 8})},
                                       {Family::kSuspended, tones({0, 5, 7})},
                                       {Family::kSuspended, tones({0, 5, 7, 10})}}};
constexpr std::size_t kLabels = 12 * kKinds.size();

// Logarithms of probabilities per second of sound.
constexpr float kInChord = .84f;     // share of what sounds that belongs to the chord
constexpr float kBassWeight = .08f;  // of the lowest note now,
constexpr float kGround = .1f;       // and of the one at the beginning of the bar
constexpr float kEarWeight = .5f, kEarFamily = .15f;
// What a change costs, and how much less it does on a beat, on a bar line and with a bass note.
constexpr float kChange = 1.3f, kChangeOnBeat = .35f, kChangeOnBar = .5f, kChangeOnBass = .25f;
constexpr float kKindChange = .3f;  // another kind of chord on the same root
// Notes that come one by one go on in the ear: how strong, and for how long, in beats or in seconds.
constexpr float kEcho = .5f, kFadeBeats = 2.5f, kFades = 1.f;
constexpr float kUsualBeat = .55f, kTempoPower = .5f;  // seconds; chords change faster in faster music

struct Frame {
  Micros begin{}, end{};
  std::array<float, 12> tones{};  // shares
  int bass = -1, ground = -1;     // the lowest note now, and at the beginning of the bar
  float low = 1;                  // less than 1 if the lowest note is hardly a bass
  std::size_t span = 0;
  float change = kChange;
};

std::vector<Frame> frames_of(const HeardTake& take, const Beats& beats) {
  std::vector<Frame> out;
  const Micros from = take.spans.front().begin, to = take.spans.back().end;
  std::vector<Micros> at{from};
  for (const PlayedNote& note : take.notes)
    if (note.at > at.back() + kChordTogether && note.at < to) at.push_back(note.at);
  std::size_t first = 0, low = 0, span = 0, beat = 0;
  std::size_t sung = 0;
  int ground = -1;
  std::array<float, 12> memory{};
  const Micros beat_length = usual_length(beats);
  const auto usual = static_cast<float>(seconds(beat_length));
  const float fades = usual > 0 ? std::clamp(kFadeBeats * usual, .5f, 2.f) : kFades;
  std::vector<bool> melody(take.notes.size(), false);
  for (std::size_t i = 0; i < take.notes.size(); ++i) {
    while (sung < take.melody.size() && take.melody[sung].at < take.notes[i].at) ++sung;
    for (std::size_t m = sung; m < take.melody.size() && take.melody[m].at == take.notes[i].at; ++m)
      if (take.melody[m].pitch == take.notes[i].pitch) melody[i] = true;
  }
  for (std::size_t f = 0; f < at.size(); ++f) {
    Frame frame;
    frame.begin = at[f];
    frame.end = f + 1 < at.size() ? at[f + 1] : to;
    while (first < take.notes.size() && take.notes[first].at + kLongestSegment < frame.begin) ++first;
    Profile sounds;
    for (std::size_t i = first; i < take.notes.size() && take.notes[i].at < frame.end - kEarlyInSegment; ++i)
      if (take.notes[i].at + take.notes[i].length > frame.begin)
        add_note(sounds, take.notes[i], frame.begin, frame.end, melody[i] ? kMelody : 1.f);
    // A broken chord goes on in the ear while its notes come one by one.
    const auto length = static_cast<float>(seconds(frame.end - frame.begin));
    const float fading = std::exp(-length / fades);
    const auto together = std::count_if(sounds.tones.begin(), sounds.tones.end(),
                                        [&](float tone) { return tone > .2f * length; });
    for (std::size_t t = 0; t < 12; ++t) {
      const float echo = (together > 1 ? 0.f : kEcho) * std::min(1.5f, length) * memory[t];
      memory[t] = std::max(memory[t] * fading, std::min(1.f, sounds.tones[t] / std::max(.05f, length)));
      sounds.tones[t] = std::max(sounds.tones[t], echo);
    }
    float all = 0;
    for (const float tone : sounds.tones) all += tone;
    if (all > 0)
      for (std::size_t t = 0; t < 12; ++t) frame.tones[t] = sounds.tones[t] / all;
    while (low + 1 < take.bass.size() && take.bass[low + 1].at <= frame.begin + kEarlyInSegment) ++low;
    const bool struck = low < take.bass.size() && take.bass[low].at >= frame.begin - kEarlyInSegment;
    if (low < take.bass.size() && take.bass[low].at <= frame.begin + kEarlyInSegment &&
        take.bass[low].pitch.value() < kLowest)
      frame.bass = take.bass[low].pitch.pitch_class().value();
    if (frame.bass >= 0) frame.low = take.bass[low].pitch.value() < kTenor ? 1.f : kHighBass;
    while (span + 1 < take.spans.size() && take.spans[span + 1].begin <= frame.begin + kEarlyInSegment)
      ++span;
    frame.span = span;
    while (beat + 1 < beats.beats.size() && beats.beats[beat + 1].at <= frame.begin + kEarlyInSegment) ++beat;
    if (struck) frame.change -= kChangeOnBass;
    // Without beats any moment may be one.
    if (beats.beats.empty() || std::chrono::abs(beats.beats[beat].at - frame.begin) > 2 * beat_length)
      frame.change -= kChangeOnBeat;
    for (std::size_t b = beat; b < std::min(beat + 2, beats.beats.size()); ++b)
      if (std::chrono::abs(beats.beats[b].at - frame.begin) <= kEarlyInSegment + kEarlyInSegment / 2) {
        frame.change -= kChangeOnBeat;
        if (beats.beats[b].downbeat) {
          frame.change -= kChangeOnBar;
          ground = struck ? frame.bass : -1;
        }
        break;
      }
    frame.ground = ground >= 0 ? ground : frame.bass;
    out.push_back(frame);
  }
  return out;
}

// The most probable chord of each frame, by Viterbi's algorithm.
std::vector<std::size_t> labels_of(const HeardTake& take, const std::vector<Frame>& frames, float beat) {
  const float tempo = beat > 0 ? std::pow(kUsualBeat / std::clamp(beat, .25f, 1.5f), kTempoPower) : 1.f;
  std::vector<std::uint8_t> back(frames.size() * kLabels);
  std::vector<float> now(kLabels, 0), next(kLabels);
  static const auto logs = [] {
    std::array<std::array<float, 12>, kKinds.size()> out{};
    for (std::size_t k = 0; k < kKinds.size(); ++k) {
      const int count = __builtin_popcount(static_cast<unsigned>(kKinds[k].tones));
      for (int t = 0; t < 12; ++t)
        out[k][static_cast<std::size_t>(t)] =
            std::log(kKinds[k].tones >> t & 1 ? kInChord / static_cast<float>(count)
                                              : (1 - kInChord) / static_cast<float>(12 - count));
    }
    return out;
  }();
  for (std::size_t f = 0; f < frames.size(); ++f) {
    const Frame& frame = frames[f];
    const float length = tempo * static_cast<float>(std::min(2., seconds(frame.end - frame.begin)));
    const ChordSpan& heard = take.spans[frame.span];
    const auto best = static_cast<std::size_t>(std::max_element(now.begin(), now.end()) - now.begin());
    for (std::size_t label = 0; label < kLabels; ++label) {
      const std::size_t root = label % 12, kind = label / 12;
      float value = 0;
      for (std::size_t t = 0; t < 12; ++t) value += frame.tones[(root + t) % 12] * logs[kind][t];
      if (frame.bass >= 0) {
        for (const bool ground : {false, true}) {
          const int above = ((ground ? frame.ground : frame.bass) + 12 - static_cast<int>(root)) % 12;
          value += (ground ? kGround : frame.low * kBassWeight) * std::log(above == 0 ? .7f
                                                                           : kKinds[kind].tones >> above & 1
                                                                               ? .1f
                                                                               : .02f);
        }
      }
      if (static_cast<std::size_t>(heard.chord.root.value()) == root)
        value +=
            (heard.said ? 20 : 1) *
            (kEarWeight + (harmony::row(heard.chord.quality).family == kKinds[kind].family ? kEarFamily : 0));
      // Another kind on the same root is hardly a change.
      std::size_t from = label;
      float most = now[label];
      if (f > 0 && now[best] - frame.change > most) most = now[best] - frame.change, from = best;
      for (std::size_t k = 0; f > 0 && k < kKinds.size(); ++k)
        if (now[12 * k + root] - kKindChange > most)
          most = now[12 * k + root] - kKindChange, from = 12 * k + root;
      next[label] = most + length * value;
      back[f * kLabels + label] = static_cast<std::uint8_t>(from);
    }
    std::swap(now, next);
  }
  std::vector<std::size_t> out(frames.size());
  auto label = static_cast<std::size_t>(std::max_element(now.begin(), now.end()) - now.begin());
  for (std::size_t f = frames.size(); f-- > 0;) {
    out[f] = label;
    label = back[f * kLabels + label];
  }
  return out;
}

}  // namespace

namespace {

// The share of the lower notes from `begin` to `end` that are struck alone.
double one_by_one(const HeardTake& take, Micros begin, Micros end) {
  auto it = std::lower_bound(take.notes.begin(), take.notes.end(), begin - kEarlyInSegment,
                             [](const PlayedNote& n, Micros t) { return n.at < t; });
  double alone = 0, all = 0;
  std::vector<Micros> at;
  for (; it != take.notes.end() && it->at < end - kEarlyInSegment; ++it)
    if (it->pitch.value() < kBroken) at.push_back(it->at);
  for (std::size_t i = 0; i < at.size(); ++i) {
    ++all;
    alone += (i == 0 || at[i] - at[i - 1] > kEarlyInSegment) &&
             (i + 1 == at.size() || at[i + 1] - at[i] > kEarlyInSegment);
  }
  return all > 0 ? alone / all : 0;
}

// A seventh chord that is broken up from its root is first heard as the triad on the root and then as the
// one on its third, with the same notes: F, Am instead of Fmaj7.
bool completes(const HeardTake& take, const Segment& a, const Segment& b, double longest) {
  const int up = (b.root - a.root + 12) % 12;
  if ((up != 3 && up != 4) || b.length() + a.length() > longest) return false;
  double tones = 0, one = 0, other = 0;
  for (std::size_t t = 0; t < 12; ++t) {
    tones += static_cast<double>(a.profile.tones[t] * b.profile.tones[t]);
    one += static_cast<double>(a.profile.tones[t] * a.profile.tones[t]);
    other += static_cast<double>(b.profile.tones[t] * b.profile.tones[t]);
  }
  return one > 0 && other > 0 && tones / std::sqrt(one * other) >= kCompletes &&
         one_by_one(take, a.begin, b.end) >= .75;
}

}  // namespace

std::vector<Segment> segments_of(const HeardTake& take, const Beats& beats) {
  std::vector<Segment> out;
  if (take.spans.empty()) return out;
  const auto runs = pulsed(beats);
  Micros covered{};
  for (const auto& run : runs) covered += run.second - run.first;
  const bool steady = covered * 2 > take.spans.back().end - take.spans.front().begin;
  constexpr Micros kSlack{400'000};
  // Where hardly anything sounds below the melody, the names of the spans say all there is.
  const bool named = take.notes.size() < take.melody.size() + take.spans.size();
  const auto add = [&](Micros begin, Micros end, std::size_t first, std::size_t last, int root,
                       Family family) {
    Segment made{first, last, begin, end, root, family, {}, steady};
    made.profile = named ? profile_of(take.spans[first].chord) : profile_between(take, begin, end);
    for (const auto& run : runs)
      if (begin >= run.first - kSlack && begin <= run.second + kSlack) made.free = false;
    made.based = named || struck_in_bass(take, begin, end, root);
    out.push_back(made);
  };
  if (named) {
    for (std::size_t i = 0; i < take.spans.size(); ++i) {
      const ChordSpan& span = take.spans[i];
      add(span.begin, span.end, i, i, span.chord.root.value(), harmony::row(span.chord.quality).family);
    }
    return out;
  }
  const auto frames = frames_of(take, beats);
  const auto labels = labels_of(take, frames, static_cast<float>(seconds(usual_length(beats))));
  struct Stretch {
    Micros begin, end;
    std::size_t first, last;
    int root;
    Family family;
  };
  std::vector<Stretch> stretches;
  std::vector<Micros> lengths;
  for (std::size_t f = 0; f < frames.size();) {
    std::size_t g = f;
    std::array<double, kKinds.size()> kinds{};
    while (g < frames.size() && labels[g] % 12 == labels[f] % 12) {
      kinds[labels[g] / 12] += seconds(frames[g].end - frames[g].begin);
      ++g;
    }
    const auto kind = std::max_element(kinds.begin(), kinds.end()) - kinds.begin();
    stretches.push_back({frames[f].begin, frames[g - 1].end, frames[f].span, frames[g - 1].span,
                         static_cast<int>(labels[f] % 12), kKinds[static_cast<std::size_t>(kind)].family});
    lengths.push_back(stretches.back().end - stretches.back().begin);
    f = g;
  }
  std::nth_element(lengths.begin(), lengths.begin() + static_cast<std::ptrdiff_t>(lengths.size() / 2),
                   lengths.end());
  const Micros usual = lengths[lengths.size() / 2];
  for (const Stretch& s : stretches) {
    // A chord that is stated twice in full is two segments; struck anew more often, or sooner, it is one.
    std::vector<std::size_t> anew;
    for (std::size_t i = s.first + 1; i <= s.last; ++i)
      if (take.spans[i].chord.root.value() == s.root && take.spans[i - 1].chord.root.value() == s.root)
        anew.push_back(i);
    const Micros middle = anew.size() == 1 ? take.spans[anew[0]].begin : s.begin;
    if (anew.size() == 1 && std::min(middle - s.begin, s.end - middle) * 10 >= usual * 6) {
      add(s.begin, middle, s.first, anew[0] - 1, s.root, s.family);
      add(middle, s.end, anew[0], s.last, s.root, s.family);
    } else {
      add(s.begin, s.end, s.first, s.last, s.root, s.family);
    }
  }
  if (!beats.pulse()) return out;
  const double bar = seconds(usual_length(beats)) * std::max(3, beats.meter);
  std::vector<Segment> joined;
  for (const Segment& next : out) {
    if (!joined.empty() && (completes(take, joined.back(), next, std::min(std::max(2.3 * bar, 2.2), 5.5))))
      join(joined.back(), next);
    else
      joined.push_back(next);
  }
  return joined;
}

}  // namespace undersong::takes
