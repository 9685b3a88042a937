#include "daemon/takes/corrected_beats.h"

#include <spdlog/fmt/fmt.h>
#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <cmath>

#include "daemon/listen/tempo.h"
#include "daemon/takes/loop.h"

namespace undersong::takes {
namespace {

namespace json = boost::json;

// Stored; they never change.
constexpr std::array<std::string_view, 7> kWords{"tap", "clock", "one", "twice", "half", "meter", "undo"};

std::size_t nearest(const Beats& beats, Micros at) {
  std::size_t best = 0;
  for (std::size_t i = 0; i < beats.beats.size(); ++i)
    if (std::chrono::abs(beats.beats[i].at - at) < std::chrono::abs(beats.beats[best].at - at)) best = i;
  return best;
}

Beats at_level(Beats beats, const BeatLine& tap) {
  for (int step = 0; step < 2 && !beats.beats.empty(); ++step) {
    // Use the beat length where the player tapped; the tempo may differ elsewhere in the take.
    const std::size_t i = nearest(beats, tap.at);
    Micros here = usual_length(beats);
    if (i + 1 < beats.beats.size() && !beats.beats[i + 1].begins)
      here = beats.beats[i + 1].at - beats.beats[i].at;
    if (here <= Micros(0)) return beats;
    const double octaves =
        std::log2(static_cast<double>(here.count()) / static_cast<double>(tap.interval.count()));
    if (octaves > .6) {
      beats = twice_as_fast(beats);
    } else if (octaves < -.6) {
      // Of each pair of beats keep the one that was tapped.
      if (!beats.beats.empty()) beats = with_beat_one(beats, tap.at, beats.meter);
      beats = half_as_fast(beats);
    } else {
      return beats;
    }
  }
  return beats;
}

// The beat length after beats of length `usual` are brought to the tapped level.
Micros tapped_level(Micros usual, Micros tapped) {
  for (int step = 0; step < 2 && usual > Micros(0); ++step) {
    const double octaves =
        std::log2(static_cast<double>(usual.count()) / static_cast<double>(tapped.count()));
    const Micros wanted = octaves > .6 ? usual / 2 : octaves < -.6 ? usual * 2 : usual;
    if (!listen::is_tempo(wanted)) break;
    usual = wanted;
  }
  return usual;
}

// Replaces the beats of the clocked stretches with those of the clock.
Beats clocked(Beats beats, const std::vector<BeatLine>& bars) {
  std::vector<Beat> made;
  std::vector<std::pair<Micros, Micros>> stretches;
  for (std::size_t i = 0; i < bars.size(); ++i) {
    const BeatLine& bar = bars[i];
    const int meter = std::clamp(bar.meter, 1, 16);
    const int left = meter - std::clamp(bar.place, 0, meter - 1);  // beats from here to the end of the bar
    const Micros usual = bar.interval * left;
    // If the next clock line is too far away, the clock was lost in between.
    const bool goes_on = i + 1 < bars.size() && bars[i + 1].at - bar.at < usual + bar.interval * meter / 2 &&
                         bars[i + 1].at > bar.at;
    const Micros end = goes_on ? bars[i + 1].at : bar.at + usual;
    const bool follows = !stretches.empty() && stretches.back().second == bar.at;
    for (int b = 0; b < left; ++b)
      made.push_back({bar.at + (end - bar.at) * b / left, left == meter && b == 0, b == 0 && !follows, true});
    if (follows)
      stretches.back().second = end;
    else
      stretches.emplace_back(bar.at, end);
  }
  std::vector<Beat> out;
  for (const Beat& beat : beats.beats) {
    const bool inside = std::any_of(stretches.begin(), stretches.end(), [&](const auto& s) {
      return beat.at > s.first - Micros(120'000) && beat.at < s.second;
    });
    if (!inside) out.push_back(beat);
  }
  for (Beat& beat : out)
    for (const auto& s : stretches)
      if (beat.at >= s.second && (&beat == out.data() || (&beat)[-1].at < s.first)) beat.begins = true;
  out.insert(out.end(), made.begin(), made.end());
  std::sort(out.begin(), out.end(), [](const Beat& a, const Beat& b) { return a.at < b.at; });
  beats.beats = std::move(out);
  beats.meter = bars.back().meter;
  beats.barred = true;
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

Entry beat_said(const BeatLine& line) {
  return {line.at, LineKind::kBeat, beat_data(line), {}};
}

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
  BeatLine out{listen::near_enough(line.at), static_cast<BeatWord>(word - kWords.begin()),
               Micros(number("interval_us")),
               static_cast<int>(std::clamp<std::int64_t>(number("meter"), 0, 16)), 0};
  if (out.what == BeatWord::kClock)
    out.place = static_cast<int>(std::clamp<std::int64_t>(number("place"), 0, 15));
  if ((out.what == BeatWord::kTap || out.what == BeatWord::kClock) && !listen::is_tempo(out.interval))
    return std::nullopt;
  if ((out.what == BeatWord::kMeter || out.what == BeatWord::kClock) && out.meter < 1) return std::nullopt;
  return out;
}

std::optional<Error> refused(const Beats& beats, BeatWord what, TakeId take) {
  const Micros usual = usual_length(beats);
  if (usual <= Micros(0)) return unavailable(fmt::format("Take {} has no beats to correct.", take));
  const bool twice = what == BeatWord::kTwice;
  if (listen::is_tempo(twice ? usual / 2 : usual * 2)) return std::nullopt;
  const double minute = 60e6 / static_cast<double>(usual.count());
  return invalid_input(fmt::format(
      "{} as fast, take {} would have {:.0f} beats a minute; a tempo is {} to {}.", twice ? "Twice" : "Half",
      take, twice ? 2 * minute : minute / 2, listen::kSlowest, listen::kFastest));
}

Beats corrected(Beats beats, const std::vector<Line>& lines) {
  std::vector<BeatLine> all, bars;
  for (const Line& line : lines)
    if (const auto one = beat_line(line)) (one->what == BeatWord::kClock ? bars : all).push_back(*one);
  if (!bars.empty()) beats = clocked(std::move(beats), bars);
  // The corrections in force, and the beat length before each. A correction that cannot be applied is not
  // kept here, so undo skips it.
  std::vector<BeatLine> said;
  std::vector<Micros> before;
  Micros usual = usual_length(beats);
  for (const BeatLine& line : all) {
    if (line.what == BeatWord::kUndo) {
      if (said.empty()) continue;
      usual = before.back();
      said.pop_back(), before.pop_back();
      continue;
    }
    if (line.what == BeatWord::kTap && !said.empty() &&
        said.back().what == BeatWord::kTap) {  // more taps: they replace the last
      usual = before.back();
      said.pop_back(), before.pop_back();
    }
    const Micros was = usual;
    if (line.what == BeatWord::kTwice || line.what == BeatWord::kHalf) {
      const Micros wanted = line.what == BeatWord::kTwice ? usual / 2 : usual * 2;
      if (!listen::is_tempo(wanted)) continue;
      usual = wanted;
    } else if (line.what == BeatWord::kTap) {
      usual = tapped_level(usual, line.interval);
    }
    said.push_back(line);
    before.push_back(was);
  }
  for (const BeatLine& line : said) {
    switch (line.what) {
      case BeatWord::kTap: beats = at_level(std::move(beats), line); break;
      case BeatWord::kOne:
        beats = with_beat_one(beats, line.at, line.meter > 0 ? line.meter : beats.meter);
        beats.barred = true;
        break;
      case BeatWord::kTwice: beats = twice_as_fast(beats); break;
      case BeatWord::kHalf: beats = half_as_fast(beats); break;
      case BeatWord::kMeter: {
        // Bars count from the downbeat before, the bar in which it was said.
        Micros one = line.at;
        for (const Beat& beat : beats.beats)
          if (beat.downbeat && beat.at <= line.at) one = beat.at;
        beats = with_beat_one(beats, one, line.meter);
        beats.barred = true;
        break;
      }
      case BeatWord::kClock:
      case BeatWord::kUndo: break;
    }
  }
  return beats;
}

}  // namespace undersong::takes
