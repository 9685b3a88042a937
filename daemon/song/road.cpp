#include "daemon/song/road.h"

#include <algorithm>

namespace undersong::song {
namespace {

constexpr int kSlowingBars = 2;
constexpr double kSlowed = .65, kHeld = .5;  // of the tempo
constexpr Ticks kSlowingStep{240};

// The part to which a jump leads, if there is one.
std::optional<std::size_t> goal_of(const Form& form, const Signs& signs) {
  if (signs.jump == Jump::kNone) return std::nullopt;
  if (signs.jump == Jump::kDaCapo) return 0;
  for (std::size_t i = 0; i < form.parts.size(); ++i)
    if (form.parts[i].signs.segno) return i;
  return std::nullopt;
}

}  // namespace

std::vector<Turn> road(const Form& form) {
  std::vector<Turn> out;
  Ticks now;
  std::optional<Until> jumped;
  const auto play = [&](std::size_t i, int time) {
    out.push_back({i, time, now, false});
    now += length_at(form.parts[i], time);
  };
  for (std::size_t i = 0; i < form.parts.size();) {
    const Part& part = form.parts[i];
    for (int time = jumped ? part.times : 1; time <= part.times; ++time) play(i, time);
    const auto goal = jumped ? std::nullopt : goal_of(form, part.signs);
    if (goal) {
      jumped = part.signs.until;
      i = *goal;
      continue;
    }
    if (jumped == Until::kFine && part.signs.fine) break;
    if (jumped == Until::kCoda && part.signs.to_coda) {
      const auto coda = std::find_if(form.parts.begin() + static_cast<std::ptrdiff_t>(i), form.parts.end(),
                                     [](const Part& p) { return p.signs.coda; });
      if (coda != form.parts.end()) {
        i = static_cast<std::size_t>(coda - form.parts.begin());
        continue;
      }
    }
    ++i;
  }
  std::vector<bool> seen(form.parts.size(), false);
  for (auto turn = out.rbegin(); turn != out.rend(); ++turn) {
    turn->last = !seen[turn->part];
    seen[turn->part] = true;
  }
  return out;
}

Ticks ritardando_from(const Form& form, const Part& part) {
  const Ticks length = length_at(part, part.times), bars = kSlowingBars * meter_of(form, part).bar();
  return length > bars ? length - bars : Ticks(0);
}

Ticks fermata_from(const Part& part) {
  Ticks out;
  for (const WrittenChord& chord : chords_at(part, part.times)) out = std::max(out, chord.at);
  for (const WrittenNote& note : melody_at(part, part.times)) out = std::max(out, note.at);
  return out;
}

std::vector<TempoStep> tempo_steps(const Form& form, const std::vector<Turn>& road) {
  std::vector<TempoStep> out;
  const auto add = [&](Ticks at, double tempo) {
    tempo = as_tempo_mark(tempo);
    if (!out.empty() && out.back().at == at) out.back().tempo = tempo;
    if (out.empty() || (out.back().at < at && out.back().tempo != tempo)) out.push_back({at, tempo});
  };
  for (const Turn& turn : road) {
    const Part& part = form.parts[turn.part];
    const double tempo = tempo_of(form, part);
    add(turn.at, tempo);
    if (!turn.last) continue;
    const Ticks end = length_at(part, turn.time), held = part.fermata ? fermata_from(part) : end,
                from = ritardando_from(form, part);
    const auto slowed = [&](Ticks at) {
      if (!part.ritardando || at <= from) return tempo;
      return tempo * (1 - (1 - kSlowed) * (at - from).beats() / (end - from).beats());
    };
    if (part.ritardando)
      for (Ticks at = from; at < held; at += kSlowingStep) add(turn.at + at, slowed(at + kSlowingStep));
    if (part.fermata) add(turn.at + held, slowed(held) * kHeld);
  }
  return out;
}

double seconds_until(const std::vector<TempoStep>& steps, Ticks at) {
  double out = 0;
  for (std::size_t i = 0; i < steps.size() && steps[i].at < at; ++i) {
    const Ticks end = i + 1 < steps.size() ? std::min(at, steps[i + 1].at) : at;
    out += (end - steps[i].at).beats() * 60 / steps[i].tempo;
  }
  return out;
}

}  // namespace undersong::song
