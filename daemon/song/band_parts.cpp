#include "daemon/song/band_parts.h"

#include <algorithm>
#include <array>
#include <utility>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/song/bass_voice.h"
#include "daemon/song/comping.h"
#include "daemon/song/sheet.h"
#include "daemon/song/slashes.h"

namespace undersong::song {
namespace {

using harmony::kStrings;

constexpr int kLowestLeft = 40;  // E2, for the left hand of the reduction
constexpr Velocity kLeftSoft{60}, kChordsSoft{52};
constexpr int kMostAccidentals = 6;

WrittenNote note_of(const WrittenChord& chord, Pitch pitch, Velocity velocity) {
  WrittenNote note;
  note.pitch = pitch;
  note.name = harmony::plain_name(harmony::name_in(chord.chord, chord.root, pitch.pitch_class()));
  note.at = chord.at;
  note.length = chord.length;
  note.velocity = velocity;
  return note;
}

// The form with other notes in place of the melody: `play` makes those of a row of chords.
template <class Play>
Form with_notes(const Form& form, bool Layers::*layer, const Play& play) {
  Form out = form;
  for (Part& part : out.parts) {
    const bool silent = !(part.layers.*layer);
    part.melody = silent ? std::vector<WrittenNote>() : play(part.chords);
    for (Ending& ending : part.endings)
      ending.melody = silent ? std::vector<WrittenNote>() : play(ending.chords);
  }
  return out;
}

Form low_notes(const Form& form, bool Layers::*layer, int lowest) {
  return with_notes(form, layer, [lowest](const std::vector<WrittenChord>& chords) {
    std::vector<WrittenNote> out;
    for (const WrittenChord& chord : chords) {
      if (chord.length <= Ticks(0)) continue;
      WrittenNote note =
          note_of(chord, Pitch(lowest + ascending(PitchClass(lowest), chord.chord.bass)), kLeftSoft);
      note.name = harmony::bass_name(chord.chord, chord.root);
      out.push_back(std::move(note));
    }
    return out;
  });
}

}  // namespace

Form bass_part(const Form& form) {
  Form out = form;
  for (Part& part : out.parts) {
    const Meter meter = meter_of(form, part);
    const auto play = [&](const std::vector<WrittenChord>& chords, const BassLine& line) {
      return part.layers.bass ? bass_voice(chords, line, meter, true) : std::vector<WrittenNote>();
    };
    // What stands before the endings and what is the part's own end are read one without the other.
    const Ticks from = part.endings.empty() ? part.length : part.endings.front().from;
    std::vector<WrittenChord> before, after;
    for (WrittenChord chord : part.chords) {
      if (chord.at >= from) {
        after.push_back(chord);
        continue;
      }
      chord.length = std::min(chord.length, from - chord.at);
      before.push_back(chord);
    }
    BassLine first, last;
    for (const WrittenNote& note : part.bass.notes) (note.at < from ? first : last).notes.push_back(note);
    for (const Ticks at : part.bass.slashes) (at < from ? first : last).slashes.push_back(at);
    part.melody = play(before, first);
    const auto end = play(after, last);
    part.melody.insert(part.melody.end(), end.begin(), end.end());
    for (Ending& ending : part.endings) ending.melody = play(ending.chords, ending.bass);
  }
  return out;
}

Form piano_left_hand(const Form& form) {
  Form out = low_notes(form, &Layers::chords, kLowestLeft);
  for (Part& part : out.parts) part.dynamic.clear();  // the right hand has it for both
  return out;
}

Form piano_right_hand(const Form& form) {
  return with_notes(form, &Layers::chords, [](const std::vector<WrittenChord>& chords) {
    std::vector<harmony::Chord> row;
    for (const WrittenChord& chord : chords) row.push_back(chord.chord);
    const auto keys = close_chords(row);
    std::vector<WrittenNote> out;
    for (std::size_t i = 0; i < chords.size(); ++i) {
      if (chords[i].length <= Ticks(0) || keys[i].empty()) continue;
      WrittenNote note = note_of(chords[i], keys[i].front(), kChordsSoft);
      for (std::size_t k = 1; k < keys[i].size(); ++k) {
        const WrittenNote upper = note_of(chords[i], keys[i][k], kChordsSoft);
        note.above.push_back({upper.pitch, upper.name});
      }
      out.push_back(std::move(note));
    }
    return out;
  });
}

Form transposed(const Form& form, int semitones) {
  Form out = form;
  // On the circle of fifths a semitone up is seven steps; of the enharmonic keys, the one with fewer
  // accidentals.
  const auto signature = [&](int before) {
    int after = before + 7 * semitones;
    while (after > kMostAccidentals) after -= 12;
    while (after < -kMostAccidentals) after += 12;
    return after;
  };
  const auto change = [&](WrittenKey& key) {
    key.signature = signature(key.signature);
    if (key.key) key.key->tonic = transpose(key.key->tonic, semitones);
  };
  WrittenKey whole{form.key, form.signature};
  change(whole);
  out.key = whole.key;
  out.signature = whole.signature;
  for (Part& part : out.parts) {
    const int before = key_of(form, part).signature;
    if (part.own_key) change(*part.own_key);
    const int by = signature(before) - before;  // in fifths, for every name in the part
    const auto name = [by](harmony::NoteName was) {
      return harmony::plain_name(harmony::NoteName(was.fifths() + by));
    };
    const auto chords = [&](std::vector<WrittenChord>& all) {
      for (WrittenChord& chord : all) {
        chord.root = name(chord.root);
        chord.chord.root = transpose(chord.chord.root, semitones);
        chord.chord.bass = transpose(chord.chord.bass, semitones);
      }
    };
    const auto notes = [&](std::vector<WrittenNote>& all) {
      for (WrittenNote& note : all) {
        note.pitch = Pitch(std::min(127, note.pitch.value() + semitones));
        note.name = name(note.name);
        for (WrittenPitch& above : note.above)
          above = {Pitch(std::min(127, above.pitch.value() + semitones)), name(above.name)};
      }
    };
    chords(part.chords);
    notes(part.melody);
    notes(part.bass.notes);
    for (Ending& ending : part.endings) {
      chords(ending.chords);
      notes(ending.melody);
      notes(ending.bass.notes);
    }
  }
  return out;
}

BandFiles band_files(const Form& form, const StringsWish& wish) {
  BandFiles out;
  out.strings = string_parts(form, wish);
  const auto& voices = out.strings.voices;
  const Form bass = bass_part(form), right = piano_right_hand(form), left = piano_left_hand(form),
             in_b_flat = with_slashes(transposed(form, 2), true),
             in_e_flat = with_slashes(transposed(form, 9), true), changes = with_slashes(form, false);
  const Staff bass_staff{.name = "Bass",
                         .abbreviation = "B.",
                         .clef = Clef::kBass,
                         .sounds = {.octaves = -1},
                         .kicks = true,
                         .form = &bass};
  const std::array<Staff, kStrings> strings{{
      {.name = "Violin I", .abbreviation = "Vln. I", .group = Group::kBracket, .form = &voices[3]},
      {.name = "Violin II", .abbreviation = "Vln. II", .group = Group::kBracket, .form = &voices[2]},
      {.name = "Viola",
       .abbreviation = "Vla.",
       .clef = Clef::kAlto,
       .group = Group::kBracket,
       .form = &voices[1]},
      {.name = "Cello",
       .abbreviation = "Vc.",
       .clef = Clef::kBass,
       .group = Group::kBracket,
       .form = &voices[0]},
  }};
  const auto add = [&](const char* name, std::span<const Staff> staves) {
    out.files.push_back({name, bytes_of(write_sheet(form.title, staves))});
  };
  const auto add_one = [&](const char* name, Staff staff) {
    staff.group = Group::kNone;
    add(name, {&staff, 1});
  };
  add_one("bass.musicxml", bass_staff);
  constexpr std::array<const char*, kStrings> kFiles{"violin_1.musicxml", "violin_2.musicxml",
                                                     "viola.musicxml", "cello.musicxml"};
  std::vector<Staff> section(strings.begin(), strings.end());
  for (Staff& staff : section) staff.chord_symbols = false;
  for (std::size_t i = 0; i < kStrings; ++i) add_one(kFiles[i], section[i]);
  add("strings.musicxml", section);
  std::vector<Staff> score{{.name = "Melody", .abbreviation = "Mel.", .form = &form},
                           {.name = "Piano, right hand",
                            .abbreviation = "Pno.",
                            .group = Group::kBrace,
                            .chord_symbols = false,
                            .form = &right},
                           {.name = "Piano, left hand",
                            .abbreviation = "Pno.",
                            .clef = Clef::kBass,
                            .group = Group::kBrace,
                            .chord_symbols = false,
                            .form = &left}};
  add("piano.musicxml", score);
  score.push_back(bass_staff);
  score.back().chord_symbols = false;
  score.back().kicks = false;
  score.insert(score.end(), section.begin(), section.end());
  add("score.musicxml", score);
  add_one("chords.musicxml", {.name = "Chords", .bars_a_line = 4, .form = &changes});
  add_one("lead_sheet_b_flat.musicxml",
          {.name = "Melody in B flat", .sounds = {.steps = -1, .semitones = -2}, .form = &in_b_flat});
  add_one("lead_sheet_e_flat.musicxml",
          {.name = "Melody in E flat", .sounds = {.steps = -5, .semitones = -9}, .form = &in_e_flat});
  return out;
}

}  // namespace undersong::song
