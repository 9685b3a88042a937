#include "daemon/takes/along.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/cycle_voicing.h"

namespace undersong::takes {
namespace {

namespace json = boost::json;

constexpr int kBassLowest = 31;  // G1 .. F#2
constexpr int kMiddle = 69;      // the top of the chords lies around here
constexpr int kTopLowest = 62, kTopHighest = 76;
constexpr Micros kGap{25'000};        // between the end of a note and the next note of its layer
constexpr Micros kEarlyNote{90'000};  // a note at most this early belongs to the chord that follows
constexpr double kUsualTempo = 90;

Pitch bass_pitch(PitchClass c) {
  return Pitch(kBassLowest + (c.value() - kBassLowest % 12 + 12) % 12);
}

// The top note of each chord: a chord tone near the top note before and near the middle.
std::vector<Pitch> tops(const std::vector<harmony::Chord>& chords) {
  std::vector<Pitch> out;
  int before = kMiddle;
  for (const auto& chord : chords) {
    const auto tones = harmony::row(chord.quality).tones;
    int best = kMiddle, price = 1000;
    for (int key = kTopLowest; key <= kTopHighest; ++key) {
      if (!tones.contains(PitchClass(key - chord.root.value()))) continue;
      const int here = 2 * std::abs(key - before) + std::abs(key - kMiddle);
      if (here < price) price = here, best = key;
    }
    out.emplace_back(best);
    before = best;
  }
  return out;
}

void strike(midi::Score& score, std::uint8_t channel, Pitch pitch, int velocity, Micros at, Micros end) {
  score.events.push_back(midi::note_on(at, channel, pitch, Velocity(std::clamp(velocity, 1, 127))));
  score.events.push_back(midi::note_off(std::max(at + Micros(1), end), channel, pitch));
}

// Plays given notes, low to high and without duplicates. The outer notes are a little louder than the inner
// ones, as bass and melody are.
void strike_given(midi::Score& score, std::vector<Pitch> notes, const AlongWish& wish, Micros from,
                  Micros end) {
  std::sort(notes.begin(), notes.end());
  notes.erase(std::unique(notes.begin(), notes.end()), notes.end());
  const int loud = wish.velocity.value();
  for (std::size_t i = 0; i < notes.size(); ++i) {
    const bool alone = notes.size() == 1, lowest = !alone && i == 0,
               highest = !alone && i + 1 == notes.size();
    if (!(lowest ? wish.bass : highest ? wish.melody : wish.chords || alone)) continue;
    strike(score, 0, notes[i], lowest || highest ? loud : loud - 8, from, end);
  }
}

Micros beat_of_take(const Loop& loop, const Beats& beats) {
  std::vector<Micros> all;
  for (std::size_t i = 1; i < beats.beats.size(); ++i) {
    const Micros at = beats.beats[i].at;
    if (beats.beats[i].begins || loop.passes.empty() || at < loop.passes.front().begin ||
        at > loop.passes.back().end)
      continue;
    all.push_back(at - beats.beats[i - 1].at);
  }
  if (all.empty()) return Micros(0);
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return all[all.size() / 2];
}

double number_in(const json::object& data, std::string_view name) {
  const auto* value = data.if_contains(name);
  return value && value->is_number() ? value->to_number<double>() : 0;
}

std::optional<json::object> object(const std::string& text) {
  boost::system::error_code error;
  json::value read = json::parse(text, error);
  if (error || !read.is_object()) return std::nullopt;
  return std::move(read.get_object());
}

}  // namespace

Result<Along> accompaniment(const Loop& loop, const Beats& beats, const AlongWish& wish) {
  Along out;
  out.meter = std::clamp(beats.meter, 1, 16);
  // With a pulse, chords last a whole number of half beats. Without one they last as long as they were
  // played, and the length of a beat comes from the usual tempo.
  const Micros taken = beats.pulse() ? beat_of_take(loop, beats) : Micros(0);
  const bool counted = taken > Micros(0) && std::all_of(loop.chords.begin(), loop.chords.end(),
                                                        [](const LoopChord& c) { return c.beats > 0; });
  const Micros natural = counted ? taken : Micros(static_cast<std::int64_t>(60e6 / kUsualTempo));
  out.tempo = wish.tempo.value_or(60e6 / static_cast<double>(natural.count()));
  const double beat = 60e6 / out.tempo;  // microseconds
  if (!wish.given.empty() && wish.given.size() != loop.chords.size())
    return invalid_input(fmt::format("{} {} given, but the loop has {}.", wish.given.size(),
                                     wish.given.size() == 1 ? "chord is" : "chords are", loop.chords.size()));
  out.given = !wish.given.empty();
  out.rounds = std::clamp(wish.rounds, 0, kMostRounds);
  std::vector<harmony::Chord> chords;
  std::vector<const std::vector<Pitch>*> notes;
  std::vector<Micros> begins;
  const std::vector<Pitch> laid_out_here;
  double at = 0;  // beats
  for (std::size_t i = 0; i < loop.chords.size(); ++i) {
    const LoopChord& chord = loop.chords[i];
    const double length =
        counted ? std::max(.5, std::round(2 * chord.beats) / 2)
                : static_cast<double>(chord.length.count()) / static_cast<double>(natural.count());
    if (length <= 0) continue;
    chords.push_back(out.given ? wish.given[i].chord : chord.chord);
    notes.push_back(out.given ? &wish.given[i].notes : &laid_out_here);
    begins.emplace_back(std::llround(at * beat));
    out.chords.push_back(
        {begins.back(), harmony::harte(chords.back(), out.given ? wish.given[i].root : chord.root)});
    at += length;
  }
  if (chords.empty()) return invalid_input("No chord in the loop of this take has a length.");
  out.cycle = Micros(std::llround(at * beat));
  out.count_in = Micros(std::llround(wish.count_in * out.meter * beat));
  begins.push_back(out.cycle);

  midi::Score& score = out.score;
  const int loud = wish.velocity.value();
  const Pitch first = bass_pitch(chords.front().root);
  for (int i = 0; i < wish.count_in * out.meter; ++i) {
    const bool one = i % out.meter == 0;
    const Micros from(std::llround(i * beat));
    strike(score, 0, one ? Pitch(first.value() + 24) : Pitch(first.value() + 12), one ? loud + 10 : loud,
           from, from + Micros(std::llround(std::min(.25 * beat, 150e3))));
  }
  const std::size_t counted_in = score.events.size();
  const auto voicing = harmony::voice_cycle(chords, tops(chords));
  for (std::size_t i = 0; i < chords.size(); ++i) {
    const Micros from = out.count_in + begins[i], end = out.count_in + begins[i + 1] - kGap;
    if (!notes[i]->empty()) {
      strike_given(score, *notes[i], wish, from, end);
      continue;
    }
    const Pitch low = bass_pitch(chords[i].bass);
    if (wish.bass)
      for (int bar = 0;; ++bar) {
        const Micros again = from + Micros(std::llround(bar * out.meter * beat));
        if (again >= end - Micros(std::llround(beat / 2))) {
          if (bar > 0) break;
          strike(score, 0, low, loud, from, end);
          break;
        }
        strike(score, 0, low, loud, again,
               std::min(end, from + Micros(std::llround((bar + 1) * out.meter * beat)) - kGap));
      }
    if (wish.chords) {
      const auto& laid = voicing.voicings[i];
      std::vector<Pitch> keys(laid.left.begin(), laid.left.end());
      keys.insert(keys.end(), laid.right.begin(), laid.right.end());
      for (const Pitch note : keys) {
        // The bass layer plays the bass note, and no chord note may lie at or below it.
        if (note.pitch_class() == chords[i].bass && note == keys.front() && keys.size() > 2) continue;
        if (wish.bass && note <= low) continue;
        strike(score, 0, note, loud - 8, from, end);
      }
    }
  }
  // A fixed number of rounds is written out, so that the last note ends by itself and no further round
  // begins.
  const std::size_t one_round = score.events.size();
  for (int round = 1; round < out.rounds; ++round)
    for (std::size_t i = counted_in; i < one_round; ++i) {
      midi::Event event = score.events[i];
      event.at += out.cycle * round;
      score.events.push_back(event);
    }
  std::stable_sort(score.events.begin(), score.events.end(), [](const midi::Event& a, const midi::Event& b) {
    // At equal times, notes end before others begin.
    return a.at != b.at ? a.at < b.at : a.kind() == midi::kNoteOff && b.kind() != midi::kNoteOff;
  });
  score.length = out.count_in + out.cycle * std::max(1, out.rounds);
  if (out.rounds == 0) score.repeat_from = out.count_in;
  return out;
}

Entry along_begins(Micros at, TakeId of, const Along& along) {
  json::array chords;
  for (const AlongChord& chord : along.chords)
    chords.push_back(json::object{{"at_us", chord.at.count()}, {"harte", chord.harte}});
  const json::object data{{"take", of},
                          {"tempo", std::round(along.tempo * 1000) / 1000},
                          {"meter", along.meter},
                          {"cycle_us", along.cycle.count()},
                          {"chords", std::move(chords)}};
  return {at, LineKind::kAlong, json::serialize(data), {}};
}

Entry pass_begins(Micros at, int number) {
  return {at, LineKind::kPass, json::serialize(json::object{{"number", number}}), {}};
}

std::optional<LoggedAlong> read_along(const std::vector<Line>& lines) {
  std::optional<LoggedAlong> out;
  for (const Line& line : lines) {
    if (line.kind == LineKind::kAlong && !out) {
      const auto data = object(line.data);
      if (!data) continue;
      out.emplace();
      out->of = static_cast<TakeId>(number_in(*data, "take"));
      out->tempo = number_in(*data, "tempo");
      out->meter = static_cast<int>(number_in(*data, "meter"));
      out->cycle = Micros(static_cast<std::int64_t>(number_in(*data, "cycle_us")));
      if (const auto* chords = data->if_contains("chords"); chords && chords->is_array())
        for (const auto& each : chords->get_array())
          if (each.is_object())
            if (const auto* harte = each.get_object().if_contains("harte"); harte && harte->is_string())
              out->chords.push_back({Micros(static_cast<std::int64_t>(number_in(each.get_object(), "at_us"))),
                                     std::string(harte->get_string())});
    } else if (line.kind == LineKind::kPass && out) {
      const auto data = object(line.data);
      if (!data) continue;
      if (out->passes.empty()) out->first_pass = static_cast<int>(number_in(*data, "number"));
      out->passes.push_back(line.at);
    }
  }
  return out;
}

std::vector<PlacedNote> place_notes(const std::vector<PlayedNote>& notes, const LoggedAlong& along) {
  std::vector<PlacedNote> out;
  for (const PlayedNote& note : notes) {
    PlacedNote placed{note.at, note.pitch, 0, Micros(0), -1};
    const auto next = std::upper_bound(along.passes.begin(), along.passes.end(), note.at + kEarlyNote);
    if (next != along.passes.begin()) {
      placed.pass = along.first_pass + static_cast<int>(next - along.passes.begin()) - 1;
      placed.place = std::max(Micros(0), note.at - *(next - 1));
      for (std::size_t i = 0; i < along.chords.size(); ++i)
        if (along.chords[i].at <= placed.place + kEarlyNote) placed.chord = static_cast<int>(i);
    }
    out.push_back(placed);
  }
  return out;
}

}  // namespace undersong::takes
