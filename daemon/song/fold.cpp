#include "daemon/song/fold.h"

#include <algorithm>

#include "daemon/song/bass_voice.h"
#include "daemon/song/consensus.h"

namespace undersong::song {
namespace {

constexpr double kSameTune = .5;
constexpr Ticks kFoldSlack{120};

using FoldGroup = std::vector<const Strain*>;

bool same_chord(const WrittenChord& a, const WrittenChord& b) {
  return a.at == b.at && a.chord == b.chord;
}

// The first position at which the chords differ; the length if they do not.
Ticks first_difference(const Strain& a, const Strain& b) {
  for (std::size_t i = 0; i < std::min(a.chords.size(), b.chords.size()); ++i)
    if (!same_chord(a.chords[i], b.chords[i])) return std::min(a.chords[i].at, b.chords[i].at);
  if (a.chords.size() > b.chords.size()) return a.chords[b.chords.size()].at;
  if (b.chords.size() > a.chords.size()) return b.chords[a.chords.size()].at;
  return a.length;
}

bool may_fold(const FoldGroup& group, const Strain& strain, Ticks bar) {
  if (!strain.whole || !group.front()->whole || strain.length != group.front()->length ||
      strain.transposed != group.front()->transposed)
    return false;
  bool alike = false;
  for (const Strain* other : group) {
    alike = alike || agreement(other->melody, strain.melody) >= kSameTune;
    const Ticks differs = first_difference(*other, strain);
    if (differs < strain.length &&
        ((differs - differs % bar) == Ticks(0) || 2 * (differs - differs % bar) < strain.length))
      return false;
  }
  return alike;
}

// The number of the melody that agrees best with the others; the first of equals.
std::size_t representative(const std::vector<std::vector<WrittenNote>>& melodies) {
  std::size_t best = 0;
  double most = -1;
  constexpr std::size_t kCompared = 64;
  for (std::size_t i = 0; i < melodies.size(); ++i) {
    double sum = 0;
    for (std::size_t k = 0; k < std::min(kCompared, melodies.size()); ++k)
      if (k != i) sum += agreement(melodies[i], melodies[k]);
    if (sum > most + 1e-9) most = sum, best = i;
  }
  return best;
}

template <class T>
std::vector<T> within(const std::vector<T>& all, Ticks begin, Ticks end) {
  std::vector<T> out;
  for (T item : all) {
    if (item.at >= end) continue;
    item.length = std::min(item.length, end - item.at);
    if (item.at >= begin) out.push_back(item);
  }
  return out;
}

// The chords from `begin` on. A chord that is already sounding there is written again.
std::vector<WrittenChord> chords_from(const std::vector<WrittenChord>& all, Ticks begin, Ticks end) {
  std::vector<WrittenChord> out;
  for (WrittenChord chord : all) {
    if (chord.at + chord.length <= begin || chord.at >= end) continue;
    if (chord.at < begin) chord.length = chord.at + chord.length - begin, chord.at = begin;
    out.push_back(chord);
  }
  return out;
}

std::vector<WrittenNote> common_melody(const FoldGroup& group, const std::vector<std::size_t>& members,
                                       Ticks begin, Ticks end, std::span<const Strain> elsewhere) {
  std::vector<std::vector<WrittenNote>> melodies;
  for (const std::size_t i : members) melodies.push_back(within(group[i]->melody, begin, end));
  const std::size_t doubts = representative(melodies);
  // Passes elsewhere that have the same melody vote, too.
  for (const Strain& strain : elsewhere) {
    auto melody = within(strain.melody, begin, end);
    if (agreement(melodies[doubts], melody) >= kSameTune) melodies.push_back(std::move(melody));
  }
  return consensus(melodies, doubts);
}

// The bass on which these members agree.
BassLine common_bass(const FoldGroup& group, const std::vector<std::size_t>& members, Ticks begin, Ticks end,
                     Ticks bar, std::span<const Strain> elsewhere) {
  std::vector<std::vector<WrittenNote>> lines;
  for (const std::size_t i : members) lines.push_back(within(group[i]->bass, begin, end));
  for (const Strain& strain : elsewhere) {
    if (first_difference(*group.front(), strain) < end) continue;  // other chords have another bass
    auto line = within(strain.bass, begin, end);
    if (agreement(lines.front(), line) >= kSameTune) lines.push_back(std::move(line));
  }
  return agreed_bass(lines, begin, end, bar);
}

Part part_of(const FoldGroup& group, Ticks bar, const std::vector<Strain>& elsewhere) {
  Part part;
  const Strain& front = *group.front();
  part.length = front.length;
  part.free = front.free;
  part.transposed = front.transposed;
  part.times = static_cast<int>(group.size());
  part.begin = front.begin;
  part.end = group.back()->end;
  Ticks from = part.length;
  for (const Strain* a : group) from = std::min(from, first_difference(front, *a));
  from = from - from % bar;
  std::vector<std::size_t> all;
  for (std::size_t i = 0; i < group.size(); ++i) all.push_back(i);
  if (from == part.length - part.length % bar &&
      std::all_of(group.begin(), group.end(),
                  [&](const Strain* s) { return first_difference(front, *s) == s->length; }))
    from = part.length;
  // Group the times by how they end.
  std::vector<std::vector<std::size_t>> ends;
  for (const std::size_t i : all) {
    const auto like = std::find_if(ends.begin(), ends.end(), [&](const auto& e) {
      return first_difference(*group[e.front()], *group[i]) == part.length;
    });
    if (like != ends.end())
      like->push_back(i);
    else
      ends.push_back({i});
  }
  // The most frequent ending becomes the part's own.
  std::stable_sort(ends.begin(), ends.end(),
                   [](const auto& a, const auto& b) { return a.size() > b.size(); });
  part.melody = common_melody(group, all, Ticks(0), from, elsewhere);
  part.bass = common_bass(group, all, Ticks(0), from, bar, elsewhere);
  part.chords = within(front.chords, Ticks(0), from);
  for (std::size_t e = 0; e < ends.size() && from < part.length; ++e) {
    auto chords = chords_from(group[ends[e].front()]->chords, from, part.length);
    auto melody = common_melody(group, ends[e], from, part.length, {});
    auto bass = common_bass(group, ends[e], from, part.length, bar, {});
    if (e == 0) {
      part.bass.notes.insert(part.bass.notes.end(), bass.notes.begin(), bass.notes.end());
      part.bass.slashes.insert(part.bass.slashes.end(), bass.slashes.begin(), bass.slashes.end());
      part.chords.insert(part.chords.end(), chords.begin(), chords.end());
      part.melody.insert(part.melody.end(), melody.begin(), melody.end());
      continue;
    }
    Ending ending{{}, from, part.length - from, std::move(chords), std::move(melody), {}, std::move(bass)};
    for (const std::size_t i : ends[e]) ending.times.push_back(static_cast<int>(i) + 1);
    part.endings.push_back(std::move(ending));
  }
  return part;
}

}  // namespace

double agreement(std::span<const WrittenNote> a, std::span<const WrittenNote> b) {
  if (a.empty() && b.empty()) return 1;
  std::size_t hits = 0, from = 0;
  std::vector<bool> taken(b.size(), false);
  for (const WrittenNote& note : a) {
    while (from < b.size() && b[from].at + kFoldSlack < note.at) ++from;
    for (std::size_t i = from; i < b.size() && b[i].at <= note.at + kFoldSlack; ++i)
      if (!taken[i] && b[i].pitch == note.pitch) {
        taken[i] = true;
        ++hits;
        break;
      }
  }
  return 2. * static_cast<double>(hits) / static_cast<double>(a.size() + b.size());
}

std::vector<Part> fold(std::span<const Strain> strains, Ticks bar, std::span<const Strain> also) {
  std::vector<Part> out;
  for (std::size_t i = 0; i < strains.size();) {
    FoldGroup group{&strains[i++]};
    while (i < strains.size() && may_fold(group, strains[i], bar)) group.push_back(&strains[i++]);
    std::vector<Strain> elsewhere;
    for (const Strain& strain : also)
      if (strain.whole && strain.length == group.front()->length &&
          strain.transposed == group.front()->transposed &&
          (strain.end <= group.front()->begin || strain.begin >= group.back()->end))
        elsewhere.push_back(strain);
    out.push_back(part_of(group, bar, elsewhere));
  }
  return out;
}

}  // namespace undersong::song
