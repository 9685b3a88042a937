#include "daemon/takes/section.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

namespace undersong::takes {
namespace {

constexpr double kSameMelody = .5;  // melodies that agree this much are the same
constexpr double kAltered = .28;    // melodies that agree this much are variations of each other
constexpr double kDenser = 1.5;     // passes whose densities differ by this factor are played differently

struct SungNote {
  double place = 0;  // seconds from the beginning of a cycle of the usual length
  int pitch = 0;
};

struct SungLine {
  std::vector<SungNote> notes;
  double per_beat = 0;
  double length = 0;
};

double sung_agreement(const SungLine& a, const SungLine& b) {
  if (a.notes.size() < 2 || b.notes.size() < 2) return 0;
  std::vector<bool> taken(b.notes.size(), false);
  double hits = 0;
  for (const SungNote& note : a.notes) {
    std::size_t best = b.notes.size();
    for (std::size_t i = 0; i < b.notes.size(); ++i) {
      if (taken[i] || b.notes[i].pitch != note.pitch || std::abs(b.notes[i].place - note.place) > .14)
        continue;
      if (best == b.notes.size() ||
          std::abs(b.notes[i].place - note.place) < std::abs(b.notes[best].place - note.place))
        best = i;
    }
    if (best < b.notes.size()) taken[best] = true, hits += 1;
  }
  return 2 * hits / static_cast<double>(a.notes.size() + b.notes.size());
}

SungLine line_of(const HeardTake& take, const Loop& loop, const LoopPass& pass) {
  SungLine line;
  double start = 0, beats = 0;
  for (std::size_t p = 0; p < loop.chords.size(); ++p) {
    const auto& place = pass.places[p];
    const double length = seconds(loop.chords[p].length);
    if (place.end > place.begin) {
      auto it = std::lower_bound(take.melody.begin(), take.melody.end(), place.begin - Micros(60'000),
                                 [](const HeardNote& n, Micros t) { return n.at < t; });
      for (; it != take.melody.end() && it->at < place.end - Micros(60'000); ++it) {
        const double within = seconds(it->at - place.begin) / seconds(place.end - place.begin);
        line.notes.push_back({start + within * length, it->pitch.value() - pass.transposed});
      }
      beats += loop.chords[p].beats > 0 ? loop.chords[p].beats : seconds(place.end - place.begin);
    }
    start += length;
  }
  line.length = beats;
  if (beats > 0) line.per_beat = static_cast<double>(line.notes.size()) / beats;
  return line;
}

std::string letter(std::size_t index) {
  std::string out;
  for (++index; index > 0; index = (index - 1) / 26)
    out.insert(out.begin(), static_cast<char>('A' + (index - 1) % 26));
  return out;
}

// How many notes the melody has, as a musician would say it. `unit`: "beat" or "second".
std::string how_dense(double notes, const char* unit) {
  if (notes < .4) return "only now and then a note";
  if (notes < .75) return fmt::format("about one note every two {}s", unit);
  if (notes < 1.25) return fmt::format("about one note every {}", unit);
  if (notes < 1.75) return fmt::format("about three notes every two {}s", unit);
  return fmt::format("about {} notes every {}", std::lround(notes), unit);
}

std::string against_usual(double relative) {
  return relative > 1.35 ? "busier than usual" : relative < .74 ? "calmer than usual" : "as busy as usual";
}

}  // namespace

std::string_view text(SectionKind kind) {
  switch (kind) {
    case SectionKind::kTheme: return "theme";
    case SectionKind::kDeveloped: return "developed melody";
    case SectionKind::kSparse: return "sparse";
    case SectionKind::kSolo: return "solo";
    case SectionKind::kAccompaniment: return "no melody";
  }
  return "";
}

std::size_t letters_of(const Sections& sections) {
  std::vector<std::string> known;
  for (const Section& section : sections.sections) {
    const std::string letter = section.label.substr(0, section.label.find('\''));
    if (std::find(known.begin(), known.end(), letter) == known.end()) known.push_back(letter);
  }
  return known.size();
}

Sections find_sections(const HeardTake& take, const Loop& loop, std::size_t letters) {
  Sections found;
  const std::size_t n = loop.passes.size();
  std::vector<SungLine> lines;
  for (const LoopPass& pass : loop.passes) lines.push_back(line_of(take, loop, pass));
  std::vector<std::size_t> group(n);
  std::iota(group.begin(), group.end(), std::size_t{0});
  const auto join = [&](std::size_t a, std::size_t b) {
    const std::size_t from = group[b], to = group[a];
    for (std::size_t& g : group)
      if (g == from) g = to;
  };
  // Join passes with the same melody, near or far. In long takes only the last kReach passes are compared.
  constexpr std::size_t kReach = 64;
  std::vector<bool> repeats(n, false);
  for (std::size_t b = 0; b < n; ++b)
    for (std::size_t a = b > kReach ? b - kReach : 0; a < b; ++a)
      if (sung_agreement(lines[a], lines[b]) >= kSameMelody) {
        join(a, b);
        repeats[a] = repeats[b] = true;
      }
  // Join neighbours that repeat nothing, as long as their densities are similar.
  for (std::size_t i = 1; i < n; ++i) {
    if (repeats[i] || repeats[i - 1]) continue;
    double density = 0, count = 0;
    for (std::size_t k = i; k-- > 0 && group[k] == group[i - 1];) density += lines[k].per_beat, ++count;
    density /= count;
    const double here = lines[i].per_beat, low = std::min(here, density), high = std::max(here, density);
    if (high < kDenser * low + .12) join(i - 1, i);
  }
  // Labels, in the order of first occurrence.
  std::vector<std::size_t> known;
  std::vector<std::string> labels;
  std::vector<std::string> label_of(n);
  double usual = 0;
  for (std::size_t i = 0; i < n; ++i) usual += lines[i].per_beat / static_cast<double>(n);
  for (std::size_t i = 0; i < n; ++i) {
    const auto it = std::find(known.begin(), known.end(), group[i]);
    if (it != known.end()) {
      label_of[i] = labels[static_cast<std::size_t>(it - known.begin())];
      continue;
    }
    double best = 0;
    std::size_t of = 0;
    for (std::size_t a = i > kReach ? i - kReach : 0; a < i; ++a)
      for (std::size_t b = i; b < n && b < i + kReach && group[b] == group[i]; ++b)
        if (const double value = sung_agreement(lines[a], lines[b]); value > best) best = value, of = a;
    std::string label;
    if (best >= kAltered) {
      label = label_of[of];
      while (std::find(labels.begin(), labels.end(), label) != labels.end()) label += '\'';
    } else {
      label = letter(letters++);
    }
    known.push_back(group[i]);
    labels.push_back(label);
    label_of[i] = label;
  }
  const bool pulse = !loop.chords.empty() && loop.chords.front().beats > 0;
  for (std::size_t i = 0; i < n; ++i) {
    if (i == 0 || group[i] != group[i - 1]) {
      found.sections.push_back({});
      found.sections.back().label = label_of[i];
      found.sections.back().first = i;
    }
    ++found.sections.back().count;
    found.of_pass.push_back(found.sections.size() - 1);
  }
  for (Section& section : found.sections) {
    double notes = 0, length = 0, alike = 0;
    int pairs = 0;
    bool again = false;
    for (std::size_t i = section.first; i < section.first + section.count; ++i) {
      notes += static_cast<double>(lines[i].notes.size());
      length += lines[i].length;
      for (std::size_t a = i > kReach ? i - kReach : 0; a < i; ++a) {
        if (group[a] != group[i]) continue;
        again = again || a < section.first;
        alike += sung_agreement(lines[a], lines[i]);
        ++pairs;
      }
    }
    section.notes_per_beat = length > 0 ? notes / length : 0;
    section.agreement = pairs > 0 ? alike / pairs : 0;
    const double relative = usual > 0 ? section.notes_per_beat / usual : 0;
    const bool same = pairs > 0 ? section.agreement >= kSameMelody : repeats[section.first];
    if (notes == 0)
      section.kind = SectionKind::kAccompaniment;
    else if (relative < .5)
      section.kind = SectionKind::kSparse;
    else if (same)
      section.kind = SectionKind::kTheme;
    else if (relative > 1.35)
      section.kind = SectionKind::kSolo;
    else if (section.first == 0)
      section.kind = SectionKind::kTheme;
    else
      section.kind = SectionKind::kDeveloped;
    const std::string density = how_dense(section.notes_per_beat, pulse ? "beat" : "second");
    if (section.kind == SectionKind::kAccompaniment)
      section.reason = "No melody above the chords.";
    else if (again)
      section.reason =
          fmt::format("The melody of {} comes again ({:.0f} % of its notes in the same place); {}.",
                      section.label, 100 * section.agreement, density);
    else if (same && section.count > 1)
      section.reason = fmt::format("The same melody each time ({:.0f} % of its notes in the same place); {}.",
                                   100 * section.agreement, density);
    else if (section.label.back() == '\'')
      section.reason = fmt::format("Part of the melody of {} is kept; {}.",
                                   section.label.substr(0, section.label.size() - 1), density);
    else if (section.count > 1)
      section.reason = fmt::format("A new melody each time; {}, {}.", density, against_usual(relative));
    else
      section.reason = fmt::format("A melody that comes once; {}, {}.", density, against_usual(relative));
  }
  return found;
}

}  // namespace undersong::takes
