#include "daemon/song/chart.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/song/signs.h"

namespace undersong::song {
namespace {

constexpr int kBarsALine = 4;
constexpr std::size_t kWidest = 20;  // longer bars push the following ones to the right

// The text of one bar: symbols and dots for its beats, or groups of eighth notes.
std::string bar_text(const std::vector<WrittenChord>& chords, Ticks from, Ticks length, const Meter& meter) {
  std::vector<std::pair<Ticks, std::string>> here;
  bool goes_on = false;
  for (const WrittenChord& chord : chords) {
    if (chord.at >= from && chord.at < from + length)
      here.emplace_back(chord.at - from, harmony::symbol(chord.chord, chord.root));
    goes_on = goes_on || (chord.at < from && chord.at + chord.length > from);
  }
  if (here.empty()) return goes_on ? "%" : "N.C.";
  if (here.size() == 1 && here[0].first == Ticks(0)) return here[0].second;
  std::string out;
  const auto add = [&](const std::string& word) { out += (out.empty() ? "" : " ") + word; };
  const auto edges = meter.edges(length);
  for (std::size_t i = 0; i + 1 < edges.size(); ++i) {
    const Ticks beat = edges[i];
    bool any = false;
    for (const auto& [at, symbol] : here)
      if (at >= beat && at < edges[i + 1]) {
        add(at == beat ? symbol : "-" + symbol);  // between two beats
        any = true;
      }
    if (!any) add(".");
  }
  return out;
}

std::vector<std::string> bars_text(const std::vector<WrittenChord>& chords, Ticks from, Ticks to,
                                   const Meter& meter) {
  std::vector<std::string> out;
  for (Ticks at = from, length; at < to; at += length) {
    length = meter.next_bar(to - at);
    std::string text = bar_text(chords, at, length, meter);
    if (length != meter.bar()) text += fmt::format(" ({})", song::text(meter.signature(length)));
    out.push_back(std::move(text));
  }
  return out;
}

// What is said at the end of a part.
std::string way_out(const Part& part) {
  std::string out;
  const auto say = [&](std::string_view word) { out.append(out.empty() ? "" : ", ").append(word); };
  if (part.ritardando) say("ritardando");
  if (part.fermata) say("fermata");
  if (const std::string sign = ends_text(part.signs); !sign.empty()) say(sign);
  return out.empty() ? out : fmt::format("{:<8}{}\n", "", out);
}

void add_lines(std::string& out, const std::vector<std::string>& bars, std::size_t width, bool repeat_begin,
               bool repeat_end, const std::string& prefix) {
  for (std::size_t i = 0; i < bars.size(); i += kBarsALine) {
    out += i == 0 ? fmt::format("{:<8}", prefix) : std::string(8, ' ');
    out += i == 0 && repeat_begin ? "|:" : "| ";
    for (std::size_t k = i; k < std::min(bars.size(), i + kBarsALine); ++k) {
      out += fmt::format(" {:<{}} ", bars[k], width);
      out += k + 1 == bars.size() && repeat_end ? ":|" : "|";
    }
    out += '\n';
  }
}

}  // namespace

std::string tempo_text(const Form& form, double tempo) {
  return form.steady ? fmt::format("{:g}", std::round(tempo * 100) / 100)
                     : std::to_string(std::lround(tempo));
}

std::string times_text(const std::vector<int>& times) {
  std::string out;
  for (std::size_t i = 0; i < times.size();) {
    std::size_t to = i + 1;
    while (to < times.size() && times[to] == times[to - 1] + 1) ++to;
    if (!out.empty()) out += ", ";
    out += to - i > 1 ? fmt::format("{}.-{}.", times[i], times[to - 1]) : fmt::format("{}.", times[i]);
    i = to;
  }
  return out;
}

std::vector<int> usual_times(const Part& part) {
  std::vector<int> out;
  for (int t = 1; t <= part.times; ++t)
    if (std::none_of(part.endings.begin(), part.endings.end(), [&](const Ending& e) {
          return std::find(e.times.begin(), e.times.end(), t) != e.times.end();
        }))
      out.push_back(t);
  return out;
}

std::string chart(const Form& form) {
  std::string out = form.title + "\n";
  if (form.key) out += "Key of " + harmony::text(*form.key) + ", ";
  if (form.pulse)
    out += fmt::format("{}, {} = {}\n", text(form.meter.signature()), text(form.meter.value),
                       tempo_text(form, form.tempo));
  else if (form.steady)
    out += fmt::format("no pulse: each bar is one chord change of four beats, quarter = {}\n",
                       tempo_text(form, form.tempo));
  else
    out += "no pulse: each bar is one chord change, lengths are free\n";
  std::size_t width = 4;
  for (const Part& part : form.parts)
    for (const auto& bar : bars_text(part.chords, Ticks(0), part.length, meter_of(form, part)))
      width = std::max(width, std::min(kWidest, bar.size()));
  WrittenKey key{form.key, form.signature};
  std::optional<Meter> meter_before;
  BeatValue value_before = form.meter.value;
  std::string tempo = tempo_text(form, form.tempo), dynamic;
  Feel feel = Feel::kStraight;
  for (const Part& part : form.parts) {
    const Meter meter = meter_of(form, part);
    if (part.pickup && part.chords.empty()) continue;
    out += '\n';
    std::string head = part.name;
    if (!part.label.empty()) head += fmt::format("{}{}", head.empty() ? "" : ", ", takes::text(part.kind));
    if (part.times > 1) head += fmt::format(", {} times", part.times);
    if (part.free && form.pulse) head += head.empty() ? "free time" : ", free time";
    if (!part.free && meter != meter_before) {
      if (meter_before) head += fmt::format("{}{}", head.empty() ? "" : ", ", text(meter.signature()));
      meter_before = meter;
    }
    if (const WrittenKey here = key_of(form, part); here != key) {
      key = here;
      if (here.key) head += (head.empty() ? "key of " : ", key of ") + harmony::text(*here.key);
    }
    const auto say = [&](const std::string& word) { head += (head.empty() ? "" : ", ") + word; };
    if (!part.free && form.pulse)
      if (const std::string here = tempo_text(form, tempo_of(form, part));
          here != tempo || meter.value != value_before) {
        tempo = here;
        value_before = meter.value;
        say(fmt::format("{} = {}", text(meter.value), here));
      }
    if (part.feel != feel) {
      feel = part.feel;
      say(feel == Feel::kSwing ? "swing" : "straight");
    }
    if (!part.dynamic.empty() && part.dynamic != dynamic) say(dynamic = part.dynamic);
    if (part.signs.segno || part.signs.coda) say(part.signs.segno ? "segno" : "coda");
    if (!part.layers.chords && part.layers.bass) say("bass only");
    if (!head.empty()) out += head + "\n";
    const bool again = part.times > 1;
    if (!part.layers.chords && !part.layers.bass) {  // nothing for those who read chords
      Ticks rest;
      for (int time = 1; time <= part.times; ++time) rest += length_at(part, time);
      const std::int64_t bars = (rest.count() + meter.bar().count() - 1) / meter.bar().count();
      out += fmt::format("{:<8}tacet, {} {}\n", "", bars, bars == 1 ? "bar" : "bars");
      out += way_out(part);
      continue;
    }
    if (part.endings.empty()) {
      add_lines(out, bars_text(part.chords, Ticks(0), part.length, meter), width, again, again, "");
      out += way_out(part);
      continue;
    }
    const Ticks from = part.endings.front().from;
    add_lines(out, bars_text(part.chords, Ticks(0), from, meter), width, true, false, "");
    add_lines(out, bars_text(part.chords, from, part.length, meter), width, false, true,
              times_text(usual_times(part)));
    for (const Ending& ending : part.endings)
      add_lines(out, bars_text(ending.chords, from, from + ending.length, meter), width, false,
                ending.times.back() != part.times || ending.times.size() > 1, times_text(ending.times));
    out += way_out(part);
  }
  // Explain the signs that were used, because readers of the page may not know them.
  std::string signs;
  const auto sign = [&](std::string_view used, std::string_view says) {
    if (out.find(used) != std::string::npos) signs.append(signs.empty() ? "" : "; ").append(says);
  };
  sign(" . ", ". the chord continues for a beat");
  sign("| % ", "% for a bar");
  sign(" -", "- before a chord: between two beats");
  if (!signs.empty()) out += "\n" + signs + "\n";
  return out;
}

}  // namespace undersong::song
