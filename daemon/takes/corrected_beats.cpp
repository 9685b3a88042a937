#include "daemon/takes/corrected_beats.h"

#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <cmath>

#include "daemon/takes/loop.h"

namespace undersong::takes {
namespace {

namespace json = boost::json;

constexpr std::array<std::string_view, 7> kWords{"tap", "clock", "one", "twice", "half", "meter", "undo"};  // stored: never change

Micros middle_interval(const Beats& beats) {
  std::vector<Micros> all;
  for (std::size_t i = 1; i < beats.beats.size(); ++i)
    if (!beats.beats[i].begins) all.push_back(beats.beats[i].at - beats.beats[i - 1].at);
  if (all.empty()) return Micros(0);
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return all[all.size() / 2];
}

std::size_t nearest(const Beats& beats, Micros at) {
  std::size_t best = 0;
  for (std::size_t i = 0; i < beats.beats.size(); ++i)
    if (std::chrono::abs(beats.beats[i].at - at) < std::chrono::abs(beats.beats[best].at - at)) best = i;
  return best;
}

Beats at_level(Beats beats, const BeatLine& tap) {
  for (int step = 0; step < 2 && !beats.beats.empty(); ++step) {
    // The interval where it was tapped; a take may change its tempo elsewhere.
    const std::size_t i = nearest(beats, tap.at);
    Micros here = middle_interval(beats);
    if (i + 1 < beats.beats.size() && !beats.beats[i + 1].begins) here = beats.beats[i + 1].at - beats.beats[i].at;
    if (here <= Micros(0)) return beats;
    const double octaves = std::log2(static_cast<double>(here.count()) / static_cast<double>(tap.interval.count()));
    if (octaves > .6) {
      beats = twice_as_fast(beats);
    } else if (octaves < -.6) {
      // Of every two the one that was tapped stays.
      if (!beats.beats.empty()) beats = with_beat_one(beats, tap.at, beats.meter);
      beats = half_as_fast(beats);
    } else {
      return beats;
    }
  }
  return beats;
}

// Beats of the clocked stretches take the place of what was found there.
Beats clocked(Beats beats, const std::vector<BeatLine>& bars) {
  std::vector<Beat> made;
  std::vector<std::pair<Micros, Micros>> stretches;
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const BeatLine& bar = bars[i];
    const int meter = std::clamp(bar.meter, 1, 16);
    const int left = meter - std::clamp(bar.place, 0, meter - 1);  // beats of the bar from here on
    const Micros usual = bar.interval * left;
    // The next bar follows this one, or the clock was lost in between.
    const bool goes_on = i + 1 < bars.size() && bars[i + 1].at - bar.at < usual + bar.interval * meter / 2 && bars[i + 1].at > bar.at;
    const Micros end = goes_on ? bars[i + 1].at : bar.at + usual;
    const bool follows = !stretches.empty() && stretches.back().second == bar.at;
    for (int b = 0; b < left; ++b) made.push_back({bar.at + (end - bar.at) * b / left, left == meter && b == 0, b == 0 && !follows, true});
    if (follows) stretches.back().second = end;
    else stretches.emplace_back(bar.at, end);
  }
  std::vector<Beat> out;
  for (const Beat& beat : beats.beats) {
    const bool inside = std::any_of(stretches.begin(), stretches.end(), [&](const auto& s) { return beat.at > s.first - Micros(120'000) && beat.at < s.second; });
    if (!inside) out.push_back(beat);
  }
  for (Beat& beat : out)
    for (const auto& s : stretches)
      if (beat.at >= s.second && (&beat == out.data() || (&beat)[-1].at < s.first)) beat.begins = true;
  out.insert(out.end(), made.begin(), made.end());
  std::sort(out.begin(), out.end(), [](const Beat& a, const Beat& b) { return a.at < b.at; });
  beats.beats = std::move(out);
  beats.meter = bars.back().meter;
  beats.confidence = 1;
  return beats;
}

}  // namespace

std::string beat_data(const BeatLine& line) {
  json::object data{{"what", kWords[static_cast<std::size_t>(line.what)]}};
  if (line.interval > Micros(0)) data["interval_us"] = line.interval.count();
  if (line.meter > 0) data["meter"] = line.meter;
  if (line.place > 0) data["place"] = line.place;
  return json::serialize(data);
}

Entry beat_said(const BeatLine& line) { return {line.at, LineKind::kBeat, beat_data(line), {}}; }

std::optional<BeatLine> beat_line(const Line& line) {
  if (line.kind != LineKind::kBeat) return std::nullopt;
  boost::system::error_code error;
  const json::value read = json::parse(line.data, error);
  if (error || !read.is_object()) return std::nullopt;
  const auto& data = read.get_object();
  const auto* what = data.if_contains("what");
  if (!what || !what->is_string()) return std::nullopt;
  const auto word = std::find(kWords.begin(), kWords.end(), std::string_view(what->get_string()));
  if (word == kWords.end()) return std::nullopt;
  const auto number = [&](std::string_view name) -> std::int64_t {
    const auto* value = data.if_contains(name);
    return value && value->is_int64() ? value->get_int64() : 0;
  };
  BeatLine out{line.at, static_cast<BeatWord>(word - kWords.begin()), Micros(number("interval_us")), static_cast<int>(std::clamp<std::int64_t>(number("meter"), 0, 16)), 0};
  if (out.what == BeatWord::kClock) out.place = static_cast<int>(std::clamp<std::int64_t>(number("place"), 0, 15));
  if ((out.what == BeatWord::kTap || out.what == BeatWord::kClock) && out.interval < Micros(50'000)) return std::nullopt;
  if ((out.what == BeatWord::kMeter || out.what == BeatWord::kClock) && out.meter < 1) return std::nullopt;
  return out;
}

Beats corrected(Beats beats, const std::vector<Line>& lines) {
  std::vector<BeatLine> said, bars;
  for (const Line& line : lines) {
    const auto one = beat_line(line);
    if (!one) continue;
    if (one->what == BeatWord::kClock) bars.push_back(*one);
    else if (one->what == BeatWord::kTap && !said.empty() && said.back().what == BeatWord::kTap) said.back() = *one;  // tapped on
    else if (one->what != BeatWord::kUndo) said.push_back(*one);
    else if (!said.empty()) said.pop_back();
  }
  if (!bars.empty()) beats = clocked(std::move(beats), bars);
  for (const BeatLine& line : said) {
    switch (line.what) {
      case BeatWord::kTap: beats = at_level(std::move(beats), line); break;
      case BeatWord::kOne: beats = with_beat_one(beats, line.at, line.meter > 0 ? line.meter : beats.meter); break;
      case BeatWord::kTwice: beats = twice_as_fast(beats); break;
      case BeatWord::kHalf: beats = half_as_fast(beats); break;
      case BeatWord::kMeter: {
        // From the bar in which it was said: the downbeat before.
        Micros one = line.at;
        for (const Beat& beat : beats.beats)
          if (beat.downbeat && beat.at <= line.at) one = beat.at;
        beats = with_beat_one(beats, one, line.meter);
        break;
      }
      case BeatWord::kClock:
      case BeatWord::kUndo: break;
    }
  }
  return beats;
}

Beats corrected_beats(const HeardTake& take, const std::vector<Line>& lines) { return corrected(revised_beats(take), lines); }

}  // namespace undersong::takes
