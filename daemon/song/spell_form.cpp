#include "daemon/song/spell_form.h"

#include <algorithm>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::song {
namespace {

// The chords and notes of the form in order, with pointers back to where they came from.
struct Row {
  std::vector<harmony::WrittenChord> chords;
  std::vector<harmony::WrittenNote> melody, bass;
  std::vector<WrittenChord*> chord_of;
  std::vector<WrittenNote*> note_of, bass_of;
  std::vector<bool> free;  // for each chord: was it played freely

  void add(std::vector<WrittenChord>& from, std::vector<WrittenNote>& notes, BassLine& line, double at,
           bool in_free_time) {
    for (WrittenChord& chord : from) {
      chords.push_back({at + chord.at.beats(), at + (chord.at + chord.length).beats(), chord.chord});
      chord_of.push_back(&chord);
      free.push_back(in_free_time);
    }
    for (WrittenNote& note : notes) {
      melody.push_back({at + note.at.beats(), at + (note.at + note.length).beats(), note.pitch});
      note_of.push_back(&note);
    }
    for (WrittenNote& note : line.notes) {
      bass.push_back({at + note.at.beats(), at + (note.at + note.length).beats(), note.pitch});
      bass_of.push_back(&note);
    }
  }
};

// Chooses between a major key and its relative minor: by `heard` if it is one of them, else by which tonic
// chord lasts longer.
harmony::Key key_of(const Row& row, int signature, std::optional<harmony::Key> heard) {
  const harmony::Key major{harmony::NoteName(signature).pitch_class(), harmony::Mode::kMajor};
  const harmony::Key minor{harmony::NoteName(signature + 3).pitch_class(), harmony::Mode::kMinor};
  if (heard && (*heard == major || *heard == minor)) return *heard;
  double weight = 0;
  for (const auto& chord : row.chords) {
    const auto& tones = harmony::row(chord.chord.quality).tones;
    if (chord.chord.root == major.tonic && tones.contains(PitchClass(4))) weight += chord.end - chord.begin;
    if (chord.chord.root == minor.tonic && tones.contains(PitchClass(3))) weight -= chord.end - chord.begin;
  }
  return weight >= 0 ? major : minor;
}

// By how much each part is transposed. A shift of less than four bars is no other key.
std::vector<int> shifts_of(const Form& form) {
  constexpr int kFewestBars = 4;
  std::vector<int> out;
  for (std::size_t i = 0; i < form.parts.size();) {
    std::size_t to = i;
    double bars = 0;
    for (; to < form.parts.size() && form.parts[to].transposed == form.parts[i].transposed; ++to) {
      const Part& part = form.parts[to];
      bars += part.length.beats() * part.times / meter_of(form, part).beats;
    }
    out.resize(to, bars < kFewestBars ? 0 : form.parts[i].transposed);
    i = to;
  }
  return out;
}

}  // namespace

std::vector<harmony::NoteName> spell_changes(std::span<const harmony::WrittenChord> chords, int signature,
                                             const std::vector<bool>& free) {
  auto roots = harmony::spell_roots(chords, signature);
  for (std::size_t i = 0; i < roots.size(); ++i) {
    int fifths = roots[i].fifths();
    while (fifths < (free[i] ? std::min(-6, signature - 1) : -8)) fifths += 12;
    while (fifths > (free[i] ? std::max(6, signature + 1) : 12)) fifths -= 12;
    roots[i] = harmony::NoteName(fifths);
  }
  return roots;
}

void spell_form(Form& form, std::optional<harmony::Key> heard, bool pinned) {
  const auto shifts = shifts_of(form);
  std::vector<int> known{0};  // the shift of each region
  std::vector<std::size_t> region_of;
  Form home = form;
  home.parts.clear();
  for (std::size_t i = 0; i < form.parts.size(); ++i) {
    auto found = std::find(known.begin(), known.end(), shifts[i]);
    if (found == known.end()) found = known.insert(found, shifts[i]);
    region_of.push_back(static_cast<std::size_t>(found - known.begin()));
    if (shifts[i] == 0) home.parts.push_back(form.parts[i]);
  }
  std::vector<HeardKey> keys{{heard, pinned}};
  if (known.size() > 1 && !home.parts.empty()) {
    const std::vector<std::size_t> whole(home.parts.size(), 0);
    spell_form_by_regions(home, whole, keys);
    for (std::size_t region = 1; region < known.size(); ++region)
      keys.push_back({harmony::Key{transpose(home.key->tonic, known[region]), home.key->mode}, true});
  } else {
    std::fill(region_of.begin(), region_of.end(), 0);
  }
  spell_form_by_regions(form, region_of, keys);
}

void spell_form_by_regions(Form& form, std::span<const std::size_t> region_of,
                           std::span<const HeardKey> heard) {
  std::vector<WrittenKey> keys(heard.size());
  for (std::size_t region = 0; region < heard.size(); ++region) {
    Row row;
    double at = 0;
    for (std::size_t i = 0; i < form.parts.size(); ++i) {
      if (region_of[i] != region) continue;
      Part& part = form.parts[i];
      row.add(part.chords, part.melody, part.bass, at, part.free);
      at += part.length.beats();
      for (Ending& ending : part.endings) {
        row.add(ending.chords, ending.melody, ending.bass, at - ending.from.beats(), part.free);
        at += ending.length.beats();
      }
    }
    const auto& [key, pinned] = heard[region];
    const int signature =
        pinned && key ? harmony::signature(*key) : harmony::signature_of(row.chords, row.melody);
    keys[region] = {key_of(row, signature, key), signature};
    const auto roots = spell_changes(row.chords, signature, row.free);
    const auto names = harmony::spell_melody(row.melody, row.chords, roots, signature);
    for (std::size_t i = 0; i < roots.size(); ++i) row.chord_of[i]->root = roots[i];
    for (std::size_t i = 0; i < names.size(); ++i) row.note_of[i]->name = names[i];
    const auto low = harmony::spell_melody(row.bass, row.chords, roots, signature);
    for (std::size_t i = 0; i < low.size(); ++i) {
      row.bass_of[i]->name = low[i];
      for (std::size_t k = 0; k < row.chords.size();
           ++k) {  // the bass of a chord is named as its symbol names it
        const auto& chord = row.chords[k];
        if (chord.begin <= row.bass[i].begin && row.bass[i].begin < chord.end &&
            chord.chord.bass == row.bass[i].pitch.pitch_class())
          row.bass_of[i]->name = harmony::bass_name(chord.chord, roots[k]);
      }
    }
  }
  if (form.parts.empty()) return;
  form.key = keys[region_of[0]].key;
  form.signature = keys[region_of[0]].signature;
  for (std::size_t i = 0; i < form.parts.size(); ++i)
    if (keys[region_of[i]] != keys[region_of[0]]) form.parts[i].own_key = keys[region_of[i]];
}

}  // namespace undersong::song
