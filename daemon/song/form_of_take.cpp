// The form of a take: the sections over its loop, folded, and what lies outside the loop.
#include <algorithm>
#include <cmath>
#include <map>

#include "daemon/song/feel.h"
#include "daemon/song/fold.h"
#include "daemon/song/form.h"
#include "daemon/song/pickup.h"
#include "daemon/song/spell_form.h"
#include "daemon/song/strain.h"
#include "daemon/song/take_study.h"

namespace undersong::song {
namespace {

Part plain_part(Strain strain) {
  Part part;
  part.free = strain.free;
  part.transposed = strain.transposed;
  part.length = strain.length;
  part.chords = std::move(strain.chords);
  part.melody = std::move(strain.melody);
  part.bass.notes = std::move(strain.bass);
  part.begin = strain.begin;
  part.end = strain.end;
  return part;
}

// By how many semitones a row of chords lies above the loop, from -5 to 6; 0 if it is not the loop, begun
// anywhere, all the way through.
int shift_from(const takes::Loop& home, std::span<const harmony::Chord> chords) {
  const std::size_t k = home.chords.size();
  if (k < 2 || chords.size() < k) return 0;
  for (std::size_t start = 0; start < k; ++start) {
    const int up = ascending(home.chords[start].chord.root, chords[0].root);
    bool same = true;
    for (std::size_t i = 0; i < chords.size() && same; ++i) {
      harmony::Chord moved = home.chords[(start + i) % k].chord;
      moved.root = transpose(moved.root, up);
      moved.bass = transpose(moved.bass, up);
      same = chords[i] == moved;
    }
    if (same) return up > 6 ? up - 12 : up;
  }
  return 0;
}

void add_outside(Form& form, const Heard& heard, const takes::Loop* loop, std::size_t first, std::size_t last,
                 bool front, std::string name) {
  if (first >= last) return;
  const int before = form.parts.empty() ? 0 : form.parts.back().transposed;
  Part part = plain_part(write_stretch(heard, first, last, front));
  part.name = std::move(name);
  std::vector<harmony::Chord> chords;
  for (const WrittenChord& chord : part.chords) chords.push_back(chord.chord);
  const int shift = loop && !chords.empty() ? shift_from(*loop, chords) : 0;
  part.transposed = shift != 0 ? shift : before;  // else it goes on in the key of what came before
  part.kind = part.melody.empty() ? takes::SectionKind::kAccompaniment : takes::SectionKind::kDeveloped;
  form.parts.push_back(std::move(part));
}

// A pass of any loop of the take.
struct Round {
  const takes::Loop* loop;
  const takes::Section* section;
  const takes::LoopPass* pass;
  const Cycle* cycle;
  int shift;  // of its loop from the first one
};

std::vector<Round> rounds_of(const TakeStudy& study) {
  std::vector<Round> out;
  const auto add = [&](const takes::Loop& loop, const takes::Sections& sections, const Cycle& cycle) {
    std::vector<harmony::Chord> chords;
    for (const auto& chord : loop.chords) chords.push_back(chord.chord);
    const int shift = chords.size() == study.loop->chords.size() ? shift_from(*study.loop, chords) : 0;
    for (std::size_t i = 0; i < loop.passes.size(); ++i)
      out.push_back({&loop, &sections.sections[sections.of_pass[i]], &loop.passes[i], &cycle, shift});
  };
  add(*study.loop, study.sections, study.cycle);
  for (std::size_t i = 0; i < study.others.size(); ++i)
    add(study.others[i].loop, study.others[i].sections, study.other_cycles[i]);
  std::stable_sort(out.begin(), out.end(),
                   [](const Round& a, const Round& b) { return a.pass->begin < b.pass->begin; });
  return out;
}

// The names of the strains of a take: A, A', A'' for those of one letter in the order in which they first
// come. A strain that comes back has its name again. One that would need a fourth prime goes on without a
// name.
class StrainNames {
 public:
  std::string name(const std::string& label, const Part& part) {
    constexpr double kSameStrain = .5;
    const std::string letter = label.substr(0, label.find('\''));
    // What is the same in another key has the same name.
    const Part home = moved_home(part);
    const auto same = [&](const Part& other) {
      return other.length == home.length &&
             std::equal(other.chords.begin(), other.chords.end(), home.chords.begin(), home.chords.end(),
                        [](const WrittenChord& a, const WrittenChord& b) {
                          return a.chord == b.chord && a.at == b.at && a.length == b.length;
                        }) &&
             agreement(other.melody, home.melody) >= kSameStrain;
    };
    if (part.transposed != 0)
      for (const auto& [other, parts] : known_)
        if (const auto found = std::find_if(parts.begin(), parts.end(), same); found != parts.end())
          return named(other, found - parts.begin());
    auto& known = known_[letter];
    const auto found = std::find_if(known.begin(), known.end(), same);
    const auto primes = found - known.begin();
    if (found == known.end()) known.push_back(home);
    return named(letter, primes);
  }

 private:
  static std::string named(const std::string& letter, std::ptrdiff_t primes) {
    constexpr std::ptrdiff_t kMostPrimes = 3;
    return primes > kMostPrimes ? "" : letter + std::string(static_cast<std::size_t>(primes), '\'');
  }
  static Part moved_home(Part part) {
    for (WrittenChord& chord : part.chords) {
      chord.chord.root = transpose(chord.chord.root, -part.transposed);
      chord.chord.bass = transpose(chord.chord.bass, -part.transposed);
    }
    for (WrittenNote& note : part.melody)
      note.pitch = Pitch(std::clamp(note.pitch.value() - part.transposed, 0, 127));
    return part;
  }
  std::map<std::string, std::vector<Part>> known_;
};

void add_sections(Form& form, const Heard& heard, const TakeStudy& study) {
  const auto& spans = heard.take.spans;
  const auto span_at = [&](Micros t) {
    return static_cast<std::size_t>(
        std::lower_bound(spans.begin(), spans.end(), t,
                         [](const takes::ChordSpan& s, Micros at) { return s.begin < at; }) -
        spans.begin());
  };
  const auto rounds = rounds_of(study);
  // If somebody said that bars begin elsewhere than the loop does, the notes before the first bar become a
  // pickup.
  const Bars& bars = heard.bars;
  if (bars.barred && bars.bars.size() > 1 && bars.bars[0].beats < bars.meter &&
      rounds.front().pass->begin < bars.map.time_at(bars.bars[1].at)) {
    form.parts.push_back(plain_part(write_bars(heard, Ticks(0), bars.bars[1].at)));
    form.parts.back().name = "Pickup";
    form.parts.back().pickup = true;
  }
  std::size_t done = 0;  // number of spans already written
  // What stands alone before the first pass.
  if (form.parts.empty()) {
    const Ticks first(480 * std::llround(bars.map.beats_at(rounds.front().pass->begin)));
    if (auto pickup = pickup_before(heard, first)) {
      form.parts.push_back(std::move(*pickup));
      done = span_at(rounds.front().pass->begin);
    }
  }
  const takes::Section* section = nullptr;
  // A melody that returns later is voted on by all its passes.
  std::map<std::string, std::vector<Strain>> of_label;
  for (const Round& round : rounds) {
    auto& strains_of = of_label[round.section->label];
    strains_of.push_back(write_pass(heard, *round.loop, *round.pass, *round.cycle));
    strains_of.back().transposed += round.shift;
  }
  std::map<std::string, std::size_t> used;
  std::vector<Strain> strains;
  int strain_number = 0;
  StrainNames names;
  const auto flush = [&] {
    for (Part& part : fold(strains, form.meter.bar(), of_label[section->label])) {
      if (part.length <= Ticks(0)) continue;
      part.kind = section->kind;
      part.name = names.name(section->label, part);
      part.label = part.name.empty() ? section->label : part.name;
      if (++strain_number > 1) part.label = section->label;
      form.parts.push_back(std::move(part));
    }
    strains.clear();
  };
  for (const Round& round : rounds) {
    if (round.section != section) {
      if (section) flush();
      section = round.section;
      strain_number = 0;
    }
    const std::size_t first = span_at(round.pass->begin);
    if (first > done) {
      if (!strains.empty()) flush();
      add_outside(form, heard, &*study.loop, done, first, true, done == 0 ? "Intro" : "Interlude");
    }
    const std::string& label = round.section->label;
    strains.push_back(of_label[label][used[label]++]);
    done = std::max(done, span_at(round.pass->end));
  }
  flush();
  add_outside(form, heard, &*study.loop, done, spans.size(), false, "Outro");
}

// The number of bars to write. Bars at the end in which only a pedal moves are left out.
std::size_t written_bars(const Heard& heard, const takes::Beats& beats) {
  const Bars& bars = heard.bars;
  Micros end{};
  for (const takes::PlayedNote& note : heard.take.notes) end = std::max(end, note.at + note.length);
  const double last =
      std::max(std::ceil(bars.map.beats_at(end)), std::round(bars.map.beats_at(beats.beats.back().at)) + 1);
  std::size_t count = bars.bars.size();
  while (count > 1 && bars.bars[count - 1].at.beats() >= last) --count;
  return count;
}

// Without a loop: write from bar line to bar line. A new part begins where a bar is incomplete, and where the
// pulse stops or starts.
void add_linear(Form& form, const Heard& heard, const takes::Beats& beats) {
  const auto& spans = heard.take.spans;
  const Bars& bars = heard.bars;
  if (!bars.pulse) {
    add_outside(form, heard, nullptr, 0, spans.size(), false, "");
    return;
  }
  const std::size_t count = written_bars(heard, beats);
  std::size_t b = 0, s = 0;
  const auto span_before = [&](Ticks end) {
    while (s < spans.size() && Ticks(480 * std::llround(bars.map.beats_at(spans[s].begin))) < end) ++s;
  };
  std::size_t whole = 0;  // the first whole bar
  while (whole < count && (bars.free[whole] || bars.bars[whole].beats != form.meter.beats)) ++whole;
  if (whole < count)
    if (auto pickup = pickup_before(heard, bars.bars[whole].at)) {
      form.parts.push_back(std::move(*pickup));
      b = whole;
      span_before(bars.bars[whole].at);
    }
  while (b < count) {
    std::size_t to = b + 1;
    while (to < count && bars.free[to] == bars.free[b] && bars.bars[to - 1].beats == form.meter.beats) ++to;
    const Ticks begin = bars.bars[b].at, end = to < bars.bars.size() ? bars.bars[to].at : bars.end();
    const std::size_t first = s;
    span_before(end);
    Strain strain;
    if (!bars.free[b])
      strain = write_bars(heard, begin, end);
    else if (s > first)
      strain = write_stretch(heard, first, s, true);
    if (strain.length > Ticks(0)) form.parts.push_back(plain_part(std::move(strain)));
    b = to;
  }
}

}  // namespace

Result<Form> form_of_take(const TakeStudy& study) {
  const takes::HeardTake& take = study.take;
  if (take.notes.empty()) return invalid_input("There are no notes in this take.");
  if (take.notes.size() == 1)
    return invalid_input("There is only one note in this take; a form needs chords and a melody.");
  if (take.spans.empty())
    return invalid_input("No chord was heard in this take, so there are no changes to write down.");
  const Heard heard{take, study.melody, study.bars, &study.bass};
  Form form;
  form.meter = study.bars.written();
  form.pulse = study.bars.pulse;
  if (form.pulse) form.tempo = as_tempo_mark(60 / study.bars.seconds_a_beat);
  if (study.carries && !study.sections.sections.empty())
    add_sections(form, heard, study);
  else
    add_linear(form, heard, study.beats);
  for (Part& part : form.parts)
    if (part.melody.empty()) part.layers.melody = false;
  if (swings(study.bars.swing))
    for (Part& part : form.parts) straighten(part);
  spell_form(form, take.key, take.key_pinned);
  return form;
}

}  // namespace undersong::song
